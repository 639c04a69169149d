//! The value and the status of a record as text, for drawings and trees.

use schema::records::Body;
use schema::settings::Level;
use trace::conclusion::Conclusion;
use trace::values::Status;
use trace::{RecordId, Study};

use super::numbers::spread;
use super::table::Paint;
use super::values::limit_text;

/// What a record's status asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Need {
    /// Nothing: it was shown to be met.
    Done,
    /// Nothing yet: it is expected to be met.
    Expected,
    /// A look: at risk, or not certain.
    Attention,
    /// An answer: it is not met.
    Failed,
    /// A value or a result.
    Unknown,
}

impl Need {
    /// How it is painted on a terminal.
    pub(crate) fn paint(self) -> Paint {
        match self {
            Self::Done | Self::Expected => Paint::Plain,
            Self::Attention => Paint::Level(Level::Warning),
            Self::Failed => Paint::Level(Level::Error),
            Self::Unknown => Paint::Faint,
        }
    }
}

/// The value and the status of a record as text.
pub(crate) struct ShownStatus {
    /// Its value with the limit, its points, or the amounts of a part; empty without one.
    pub(crate) value: String,
    /// The word for its status, and what it asks for; none for records that are not verified.
    pub(crate) status: Option<(&'static str, Need)>,
}

impl ShownStatus {
    /// Those of a record.
    pub(crate) fn of(study: &Study, index: RecordId) -> Self {
        Self { value: value(study, index), status: status(study, index) }
    }

    /// Both as one text: `4.278 ± 0.028 s (≤ 4.27 s), at risk`; empty if there is neither.
    pub(crate) fn text(&self) -> String {
        let status = self.status.map(|(word, _)| word).unwrap_or_default();
        [self.value.as_str(), status].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join(", ")
    }
}

fn value(study: &Study, index: RecordId) -> String {
    let values = study.values();
    if let Body::Part(part) = &study.loaded.record(index).body {
        let count = part.count.filter(|count| *count > 1).map(|count| format!("{count} × ")).unwrap_or_default();
        let amount = part.amounts.iter().find_map(|(_, amount)| amount.value.quantity());
        return amount.map(|amount| format!("{count}{}", amount.unit().show(amount.si(), 0.0))).unwrap_or_default();
    }
    let Some(node) = values.record_node(index) else { return String::new() };
    let now = values.spread(node).map(|own| spread(&own, values.unit(node)));
    match (now, limit_text(&study.loaded, index)) {
        (Some(now), limit) if limit.is_empty() => now,
        (Some(now), limit) => format!("{now} ({limit})"),
        (None, limit) => limit,
    }
}

/// The status of a target, otherwise what its results say, if it is to be verified.
pub(crate) fn status(study: &Study, index: RecordId) -> Option<(&'static str, Need)> {
    if let Some(target) = study.target_status(index) {
        let status = target.status;
        let need = match status {
            Status::Met => Need::Done,
            Status::OnTarget => Need::Expected,
            Status::AtRisk | Status::Uncertain => Need::Attention,
            Status::Missed => Need::Failed,
            Status::NoValue => Need::Unknown,
        };
        return Some((status.word(), need));
    }
    study.loaded.verify(index)?;
    Some(match study.conclusion(index, None) {
        None => ("no result", Need::Unknown),
        Some(Conclusion::Passed) => ("passed", Need::Done),
        Some(Conclusion::Failed) => ("failed", Need::Failed),
        Some(Conclusion::Uncertain) => ("uncertain", Need::Attention),
        Some(Conclusion::Contradicted) => ("contradicted", Need::Attention),
        Some(Conclusion::Unread) => ("not read", Need::Attention),
    })
}
