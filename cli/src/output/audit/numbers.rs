//! The numbers that several forms of the audit tell.

use trace::RecordId;
use trace::audit::{Group, TargetAudit, Verdict};
use trace::values::Origin;

use super::Told;

impl Told<'_> {
    /// How many targets were met, missed, never verified, and are not due yet.
    pub(super) fn verdicts(&self) -> [usize; 4] {
        [Verdict::Met, Verdict::Missed, Verdict::NeverVerified, Verdict::NotDue]
            .map(|verdict| self.audit.targets.iter().filter(|target| target.verdict == verdict).count())
    }

    /// The growth allowance that the settings add on a basis.
    pub(super) fn used(&self, group: &Group) -> Option<f64> {
        let growth = self.study.loaded.settings().growth.get(group.quantity.as_str())?;
        Some(growth.get(group.basis.as_str())?.si())
    }

    /// The measured value of a target in SI, where it has one.
    pub(super) fn measured(&self, target: &TargetAudit) -> Option<f64> {
        matches!(self.study.values().origin(target.standing.index), Origin::Result(_))
            .then_some(target.standing.value)
            .flatten()
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
        let mut all = Vec::new();
        for group in trace::audit::groups(&self.audit.pairs) {
            let used = self.used(&group);
            match (group.allowance, used) {
                (Some(covering), Some(used)) if covering > used + 0.005 => all.push(format!(
                    "allow {:.0} % on {} {}, not {:.0} %: that would have covered nine of ten ({} pairs)",
                    covering * 100.0,
                    group.basis,
                    group.quantity,
                    used * 100.0,
                    group.size
                )),
                (Some(covering), Some(used)) if covering + 0.02 < used => all.push(format!(
                    "{:.0} % on {} {} would have been enough, and {:.0} % was allowed ({} pairs)",
                    covering * 100.0,
                    group.basis,
                    group.quantity,
                    used * 100.0,
                    group.size
                )),
                _ => {}
            }
            let used_of_targets = used.is_none() && group.size >= 3 && group.bias.abs() > 0.02;
            if used_of_targets {
                all.push(format!(
                    "{} by {} came out {:+.1} % on the mean of {}: ask the method why",
                    group.quantity,
                    group.basis,
                    group.bias * 100.0,
                    group.size
                ));
            }
        }
        let ids = |verdict: Verdict| {
            let targets = self.audit.targets.iter().filter(|target| target.verdict == verdict);
            targets.map(|target| self.id(target.standing.index).to_owned()).collect::<Vec<_>>()
        };
        let mut list = |what: &str, ids: Vec<String>| {
            /// So many are named; the tables have them all.
            const MOST: usize = 12;
            if !ids.is_empty() {
                let more = ids.len().saturating_sub(MOST);
                let more = if more > 0 { format!(" and {more} more") } else { String::new() };
                all.push(format!("{what}: {}{more}", ids[..ids.len().min(MOST)].join(", ")));
            }
        };
        list("missed, so set anew with what was measured", ids(Verdict::Missed));
        list("not verified, so plan a result or drop the target", ids(Verdict::NeverVerified));
        let open: Vec<String> = self
            .audit
            .at_risk_periods
            .iter()
            .filter(|one| !one.closed())
            .map(|one| self.id(one.index).to_owned())
            .collect();
        list("at risk still, with nothing revised on record", open);
        list(
            "analyses that informed nothing",
            self.audit.unused_analyses.iter().map(|index| self.id(*index).to_owned()).collect(),
        );
        all
    }
}
