//! The limits that changed: one line per change, with the revision that records it.

use schema::Day;
use schema::quantity::same_number;
use schema::records::Revision;

use super::season::PastLimit;
use super::targets::TargetAudit;
use crate::history::{ends, same_limit};
use crate::ids::RecordId;
use crate::study::Study;

/// A change of a limit.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitMove {
    /// The target's record.
    pub target: RecordId,
    /// The day of the commit that changed it; without a history the date of the revision.
    pub day: Option<Day>,
    /// The full id of the commit.
    pub commit: Option<String>,
    /// The limit before, as text; `None` if it was set for the first time.
    pub before: Option<String>,
    /// The limit after, as text.
    pub after: String,
    /// The same next to the limit before: `205 kg` after `at most 200 kg`.
    pub after_in_short: String,
    /// The revision that records it: who agreed, and why.
    pub revision: Option<RecordId>,
    /// How it is recorded.
    pub record: LimitRecord,
    /// Whether the target had a result before.
    pub after_result: bool,
}

/// How a change of a limit is recorded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimitRecord {
    /// By a revision.
    Revised,
    /// By no revision, although one is needed.
    Missing,
    /// It was set for the first time.
    First,
    /// It is the first limit again, or it changed up to the start of the history checks: no revision is needed.
    NotNeeded,
}

impl LimitRecord {
    /// The word in JSON.
    pub fn key(self) -> &'static str {
        match self {
            Self::Revised => "revision",
            Self::Missing => "missing",
            Self::First => "first limit",
            Self::NotNeeded => "not needed",
        }
    }

    /// The words in outputs, for a change without a revision; empty for one with a revision.
    pub fn words(self) -> &'static str {
        match self {
            Self::Revised => "",
            Self::Missing => "no revision",
            Self::First => "first set",
            Self::NotNeeded => "first limit, or before the history checks",
        }
    }
}

/// The changes of the limits of all targets: by day, then in the order of the records.
pub(super) fn all(study: &Study, targets: &[TargetAudit]) -> Vec<LimitMove> {
    let mut all: Vec<LimitMove> = targets.iter().flat_map(|target| of_target(study, target)).collect();
    all.sort_by_key(|own| (own.day, own.target));
    all
}

fn of_target(study: &Study, audit: &TargetAudit) -> Vec<LimitMove> {
    let loaded = &study.loaded;
    let target = audit.status.index;
    let mut free: Vec<(RecordId, &Revision)> =
        audit.revisions.iter().filter_map(|id| Some((*id, loaded.revision(*id)?))).collect();
    let mut all = Vec::new();
    for (at, after) in audit.limits.iter().enumerate() {
        let before = at.checked_sub(1).map(|before| &audit.limits[before]);
        if before.is_none() && !after.is_after_result() {
            continue;
        }
        let found = before.filter(|_| after.recorded).and_then(|before| closest(&free, before, after));
        let revision = found.map(|at| free.remove(at).0);
        let record = match (before, revision) {
            (None, _) => LimitRecord::First,
            (_, Some(_)) => LimitRecord::Revised,
            (_, None) if after.recorded => LimitRecord::NotNeeded,
            (_, None) => LimitRecord::Missing,
        };
        all.push(LimitMove {
            target,
            day: Some(after.day),
            commit: after.commit.clone(),
            before: before.map(|before| before.words.text()),
            after: after.words.text(),
            after_in_short: match before.filter(|before| before.words.key == after.words.key) {
                Some(_) => after.words.quantities.join(" to "),
                None => after.words.text(),
            },
            revision,
            record,
            after_result: after.is_after_result(),
        });
    }
    // What git does not have: changes from before its first commit, or all of them without a history.
    all.extend(free.into_iter().map(|(id, revision)| {
        let after = revision.to.as_ref().map(ToString::to_string).unwrap_or_default();
        LimitMove {
            target,
            day: revision.date,
            commit: None,
            before: revision.from.as_ref().map(ToString::to_string),
            after_in_short: after.clone(),
            after,
            revision: Some(id),
            record: LimitRecord::Revised,
            after_result: false,
        }
    }));
    all
}

/// The revision of a change: one with the end that changed, or if an end was only removed with one that remains; of several
/// the one with the closest date.
fn closest(revisions: &[(RecordId, &Revision)], before: &PastLimit, after: &PastLimit) -> Option<usize> {
    if same_limit(&before.limit, &after.limit) {
        return None;
    }
    let is_new = |end: &f64| !ends(&before.limit).any(|old| same_number(old, *end));
    let changed: Vec<f64> = ends(&after.limit).filter(is_new).collect();
    let wanted: Vec<f64> = if changed.is_empty() { ends(&after.limit).collect() } else { changed };
    let records = |revision: &Revision| {
        revision.to.as_ref().is_some_and(|to| wanted.iter().any(|end| same_number(to.si(), *end)))
    };
    let away = |revision: &Revision| revision.date.map_or(i32::MAX, |date| date.days_until(after.day).abs());
    let fitting = revisions.iter().enumerate().filter(|(_, (_, revision))| records(revision));
    fitting.min_by_key(|(_, (_, revision))| away(revision)).map(|(at, _)| at)
}
