//! What the outputs of `check` show.

use schema::Day;
use trace::delta::ExistingFindings;
use trace::finding::OffCheck;
use trace::git::OffSince;
use trace::history::Past;
use trace::since::Beginnings;
use trace::{Filters, Report, Study};

use super::delta::FindingChanges;

/// The report of `check`, with what surrounds it.
pub(crate) struct CheckView<'t> {
    pub(crate) study: &'t Study,
    /// The findings that are shown.
    pub(crate) report: &'t Report,
    /// The findings that existed before, with `--staged`.
    pub(crate) older: Option<&'t ExistingFindings>,
    /// What the next commit does besides, with `--staged`.
    pub(crate) next: Option<FindingChanges<'t>>,
    pub(crate) filters: &'t Filters,
    /// The date until which findings are due.
    pub(crate) due: Option<Day>,
    /// The number of findings before the filters.
    pub(crate) unfiltered: usize,
    /// The checks that the settings switch off.
    pub(crate) off: Vec<(&'t OffCheck, OffSince)>,
    /// Since when the findings are open, or why that is not known; `None` if it was not asked for.
    pub(crate) since: Option<Result<Beginnings, String>>,
    /// The day of the last commit, if it should be used as today.
    pub(crate) last_commit: Option<Day>,
    /// The command without a choice of checks.
    pub(crate) command: String,
    /// Whether only counts are shown.
    pub(crate) summary: bool,
}

/// The checks that the settings switch off, in one line; `None` if there are none.
pub(crate) fn off_text(past: &Past, off: &[(&OffCheck, OffSince)]) -> Option<String> {
    let one = |(off, since): &(&OffCheck, OffSince)| {
        let since = match since {
            OffSince::Day(day) => format!("since {day}, "),
            OffSince::Uncommitted => "not committed yet, ".to_owned(),
            OffSince::Unknown => String::new(),
        };
        let findings = crate::screen::count(off.findings, "finding");
        format!("{} ({since}{findings} not reported)", off.check.name)
    };
    let history = matches!(past, Past::Off).then(|| "the history checks (`history: off`)".to_owned());
    let all: Vec<String> = history.into_iter().chain(off.iter().map(one)).collect();
    (!all.is_empty()).then(|| format!("switched off in {}: {}", schema::settings::FILE, all.join("; ")))
}

/// The checks that are off, as JSON.
pub(crate) fn off_json(off: &[(&OffCheck, OffSince)]) -> serde_json::Value {
    let one = |(off, since): &(&OffCheck, OffSince)| {
        let day = match since {
            OffSince::Day(day) => Some(day.to_string()),
            OffSince::Uncommitted | OffSince::Unknown => None,
        };
        serde_json::json!({"check": off.check.name, "since": day, "findings": off.findings})
    };
    off.iter().map(one).collect()
}
