//! The numbers and phrases that several formats of the audit show.

use schema::number;
use trace::RecordId;
use trace::audit::{Group, Lesson, TargetAudit, Verdict};

use super::AuditView;

impl AuditView<'_> {
    /// How many targets were met, missed, never verified, and are not due yet.
    pub(super) fn verdicts(&self) -> [usize; 4] {
        [Verdict::Met, Verdict::Missed, Verdict::NeverVerified, Verdict::NotDue]
            .map(|verdict| self.audit.with_verdict(verdict).count())
    }

    /// The growth allowance in the settings for a basis.
    pub(super) fn used(&self, group: &Group) -> Option<f64> {
        group.used(self.study.settings())
    }

    /// The planned verification methods of a record.
    pub(super) fn methods(&self, index: RecordId) -> Vec<&'static str> {
        let verify = self.study.loaded.verify(index);
        verify.into_iter().flat_map(|verify| verify.value.0.iter().map(|method| method.by.word())).collect()
    }

    /// The files of evidence of the latest result.
    pub(super) fn evidence(&self, target: &TargetAudit) -> &[String] {
        target.result.map_or(&[], |result| self.study.loaded.record(result).evidence())
    }

    /// What to do differently next season, in short phrases.
    pub(super) fn next_season(&self) -> Vec<String> {
        self.audit.next_season(self.study.settings()).iter().map(|lesson| self.phrase(lesson)).collect()
    }

    fn phrase(&self, lesson: &Lesson) -> String {
        let percent = |share: f64| number::percent(share, 0);
        match lesson {
            Lesson::AllowMore { group, covering, used } => format!(
                "use a growth allowance of {} for {} {} instead of {}: it would have covered nine of ten results ({} pairs)",
                percent(*covering),
                group.basis,
                group.quantity,
                percent(*used),
                group.size
            ),
            Lesson::AllowLess { group, covering, used } => format!(
                "a growth allowance of {} for {} {} would have been enough; {} was used ({} pairs)",
                percent(*covering),
                group.basis,
                group.quantity,
                percent(*used),
                group.size
            ),
            Lesson::Biased(group) => format!(
                "{} {}: results were {} {} the estimates on average ({} pairs); check the method",
                group.basis,
                group.quantity,
                number::percent(group.bias.abs(), 1),
                if group.bias < 0.0 { "below" } else { "above" },
                group.size
            ),
            Lesson::Missed(ids) => self.list("missed; set the limit again from the measured value", ids),
            Lesson::NotVerified(ids) => self.list("not verified; plan a result or remove the target", ids),
            Lesson::StillAtRisk(ids) => self.list("still at risk", ids),
            Lesson::LimitChanged(ids) => self.list("limit changed while at risk; add the revision", ids),
            Lesson::UnusedAnalyses(ids) => {
                self.list("unused analyses (they inform no decision or part, and change no points)", ids)
            }
        }
    }

    fn list(&self, what: &str, ids: &[RecordId]) -> String {
        /// The largest number of ids; the tables have all of them.
        const MOST: usize = 12;
        let names: Vec<&str> = ids.iter().take(MOST).map(|id| self.id(*id)).collect();
        let more = ids.len().saturating_sub(MOST);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        format!("{what}: {}{more}", names.join(", "))
    }
}
