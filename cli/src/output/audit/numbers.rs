//! The numbers and phrases that several forms of the audit show.

use trace::RecordId;
use trace::audit::{Group, Lesson, TargetAudit, Verdict};

use super::AuditView;

impl AuditView<'_> {
    /// How many targets were met, missed, never verified, and are not due yet.
    pub(super) fn verdicts(&self) -> [usize; 4] {
        [Verdict::Met, Verdict::Missed, Verdict::NeverVerified, Verdict::NotDue]
            .map(|verdict| self.audit.with_verdict(verdict).count())
    }

    /// The growth allowance that the settings add on a basis.
    pub(super) fn used(&self, group: &Group) -> Option<f64> {
        group.used(self.study.settings())
    }

    /// The methods by which a record is to be verified.
    pub(super) fn methods(&self, index: RecordId) -> Vec<&'static str> {
        let verify = self.study.loaded.record(index).verify();
        verify.into_iter().flat_map(|verify| verify.0.iter().map(|one| one.by.word())).collect()
    }

    /// The files that show the latest result.
    pub(super) fn evidence(&self, target: &TargetAudit) -> &[String] {
        target.result.map_or(&[], |result| self.study.loaded.record(result).evidence())
    }

    /// What to take into the next season, in short phrases.
    pub(super) fn next_season(&self) -> Vec<String> {
        self.audit.next_season(self.study.settings()).iter().map(|lesson| self.phrase(lesson)).collect()
    }

    fn phrase(&self, lesson: &Lesson) -> String {
        let percent = |share: f64| format!("{:.0} %", share * 100.0);
        match lesson {
            Lesson::AllowMore { group, covering, used } => format!(
                "allow {} on {} {}, not {}: that would have covered nine of ten ({} pairs)",
                percent(*covering),
                group.basis,
                group.quantity,
                percent(*used),
                group.size
            ),
            Lesson::AllowLess { group, covering, used } => format!(
                "{} on {} {} would have been enough, and {} was allowed ({} pairs)",
                percent(*covering),
                group.basis,
                group.quantity,
                percent(*used),
                group.size
            ),
            Lesson::Biased(group) => format!(
                "{} by {} came out {:+.1} % on the mean of {}: ask the method why",
                group.quantity,
                group.basis,
                group.bias * 100.0,
                group.size
            ),
            Lesson::Missed(ids) => self.list("missed, so set anew with what was measured", ids),
            Lesson::NotVerified(ids) => self.list("not verified, so plan a result or drop the target", ids),
            Lesson::StillAtRisk(ids) => self.list("at risk still, with nothing revised on record", ids),
            Lesson::UnusedAnalyses(ids) => self.list("analyses that informed nothing", ids),
        }
    }

    fn list(&self, what: &str, ids: &[RecordId]) -> String {
        /// So many are named; the tables have them all.
        const MOST: usize = 12;
        let names: Vec<&str> = ids.iter().take(MOST).map(|id| self.id(*id)).collect();
        let more = ids.len().saturating_sub(MOST);
        let more = if more > 0 { format!(" and {more} more") } else { String::new() };
        format!("{what}: {}{more}", names.join(", "))
    }
}
