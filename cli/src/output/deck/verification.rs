//! What is proved, and what was traded: limits that changed.

use schema::records::{Body, Revision};
use trace::RecordId;
use trace::talk::count::WORDS_A_MINUTE;

use super::text::{self, list, sentence};
use super::{DeckView, Slide, Visual, drawn};
use crate::output::pictures::typeset;
use crate::screen::count;

/// A limit that changed.
pub(crate) struct Change {
    pub(crate) what: String,
    pub(crate) from: String,
    pub(crate) to: String,
    /// Who agreed, and when.
    pub(crate) agreed: String,
}

/// What is verified, and what is not.
pub(super) fn verification(view: &DeckView<'_>) -> Result<Slide, String> {
    let lines = &view.audit.verified;
    let sum = |own: fn(&trace::audit::Verified) -> usize| lines.iter().map(own).sum::<usize>();
    let planned = sum(|line| line.planned);
    if planned == 0 {
        return Err("no record has a planned verification".to_owned());
    }
    let (passed, failed, uncertain) = (sum(|line| line.passed), sum(|line| line.failed), sum(|line| line.uncertain));
    let end = match failed {
        0 => "none failed".to_owned(),
        failed => format!("{failed} failed"),
    };
    let own = format!("{passed} of {planned} verifications passed, {end}");
    let mut notes = vec![
        "Every number on these slides is either an estimate or was measured. This shows how much is measured."
            .to_owned(),
    ];
    let methods: Vec<String> = lines
        .iter()
        .filter(|line| line.planned > 0)
        .map(|line| format!("{} of {} by {}", line.passed, line.planned, line.method.word()))
        .collect();
    notes.push(format!("Passed: {}.", list(&methods)));
    if uncertain > 0 {
        notes.push(format!("{} not certain: the limit is inside the uncertainty.", count(uncertain, "result")));
    }
    notes.push(match view.audit.unproven.len() {
        0 => "Every safety-critical record has passed a test, a demonstration or an inspection.".to_owned(),
        1 => "1 safety-critical record has no passed test yet.".to_owned(),
        open => format!("{open} safety-critical records have no passed test yet."),
    });
    Ok(Slide::new(own, Visual::Drawn(drawn::verification(view.study)), notes))
}

/// The limits that changed, the latest ones.
pub(super) fn traded(view: &DeckView<'_>) -> Result<Slide, String> {
    /// The most limits on a slide.
    const MOST: usize = 4;
    let loaded = &view.study.loaded;
    let mut all: Vec<(&Revision, RecordId)> = Vec::new();
    for (_, record) in loaded.records() {
        if let Body::Revision(revision) = &record.body
            && let Some(target) = revision.of.as_ref().and_then(|of| loaded.find(of.as_str()))
        {
            all.push((revision, target));
        }
    }
    if all.is_empty() {
        return Err("no revision of a limit is recorded".to_owned());
    }
    // The latest first; of one day in the order of the records.
    all.sort_by_key(|own| std::cmp::Reverse(own.0.date));
    let unrecorded: usize = view.audit.targets.iter().map(trace::audit::TargetAudit::unrecorded).sum();
    let changed = count(all.len(), "limit");
    let own = match unrecorded {
        0 if all.iter().all(|(own, _)| own.agreed_by.is_some() && own.reason.is_some()) => {
            let each = if all.len() == 1 { "" } else { "each " };
            format!("{changed} changed, {each}agreed and with a reason")
        }
        0 => format!("{changed} changed by agreement"),
        more => format!("{changed} changed by agreement, {more} without a revision"),
    };
    let quantity =
        |own: &Option<schema::Quantity>| own.as_ref().map(|own| typeset(&own.to_string())).unwrap_or_default();
    let change = |(revision, target): &(&Revision, RecordId)| Change {
        what: view.title(*target),
        from: quantity(&revision.from),
        to: quantity(&revision.to),
        agreed: {
            let who = revision.agreed_by.as_deref().map(text::typeset).unwrap_or_default();
            let day = revision.date.map(|day| day.long()).unwrap_or_default();
            [who, day].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join(", ")
        },
    };
    let mut notes = vec![
        "A limit is a promise between people. When it changes, both sides agree, and it is written down.".to_owned(),
    ];
    // The reasons, as far as they can be spoken in half of the time of a slide.
    let mut left = WORDS_A_MINUTE * 2 / 3;
    for (revision, target) in all.iter().take(MOST) {
        let Some(reason) = revision.reason.as_deref() else { continue };
        let text = format!("{}: {}", view.title(*target), sentence(reason));
        match left.checked_sub(trace::talk::count::spoken_words(&text)) {
            Some(rest) => left = rest,
            None => break,
        }
        notes.push(text);
    }
    Ok(Slide::new(own, Visual::Changes(all.iter().take(MOST).map(change).collect()), notes))
}
