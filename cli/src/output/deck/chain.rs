//! Why a part exists: the records from one part up to the goal.

use schema::Kind;

use super::text::{self, phrase, sentence};
use super::{DeckView, Slide, Visual};
use trace::RecordId;

/// A record on the way to the goal.
pub(crate) struct ChainStep {
    /// The word for its kind.
    pub(crate) kind: &'static str,
    /// What that word means.
    pub(crate) meaning: &'static str,
    pub(crate) title: String,
    /// Why it serves the next one.
    pub(crate) reason: Option<String>,
}

/// What the words mean, for people who hear them for the first time.
fn meaning(kind: Kind) -> &'static str {
    match kind {
        Kind::Goal => "what the season is for",
        Kind::Event => "where points are given",
        Kind::System => "a group of parts",
        Kind::Part => "made or bought",
        Kind::Target => "a number with a limit",
        Kind::Requirement => "what must be true",
        Kind::Analysis => "a calculation",
        Kind::Decision => "a choice between alternatives",
        Kind::Result => "what was measured",
        Kind::Revision => "an agreed change of a limit",
        Kind::Waiver => "an accepted exception",
    }
}

/// The part whose way to the goal is shown: safety-critical and passed if there is one, with a short way of at least four
/// records; the first in the order of the records.
fn part(view: &DeckView<'_>) -> Option<Vec<RecordId>> {
    /// The fewest and the most records that make a picture.
    const LENGTHS: std::ops::RangeInclusive<usize> = 4..=5;
    let study = view.study;
    let mut best: Option<(u8, Vec<RecordId>)> = None;
    for (index, record, _) in study.loaded.parts() {
        let chain = study.chain(index);
        if chain.last() != Some(&view.goal.index) {
            continue;
        }
        let rank = u8::from(LENGTHS.contains(&chain.len())) * 4
            + u8::from(record.safety_critical()) * 2
            + u8::from(study.latest_result(index).is_some());
        if best.as_ref().is_none_or(|(known, _)| rank > *known) {
            best = Some((rank, chain));
        }
    }
    best.map(|(_, chain)| chain).filter(|chain| chain.len() <= 6)
}

/// From one part to the goal.
pub(super) fn chain(view: &DeckView<'_>) -> Result<Slide, String> {
    let chain = part(view).ok_or("no part leads to the goal")?;
    let study = view.study;
    let reason = |at: usize| {
        let (from, to) = (*chain.get(at)?, *chain.get(at + 1)?);
        let edges = study.graph.outgoing(from).into_iter();
        edges.filter(|(own, _)| *own == to).find_map(|(_, edge)| edge.reason.map(sentence))
    };
    let step = |(at, index): (usize, &RecordId)| {
        let kind = study.loaded.record(*index).kind();
        ChainStep {
            kind: kind.singular(),
            meaning: meaning(kind),
            title: text::short(&view.brief(*index), 8),
            reason: reason(at),
        }
    };
    let steps: Vec<ChainStep> = chain.iter().enumerate().map(step).collect();
    let title = steps.first().map(|step| step.title.clone()).unwrap_or_default();
    let words: Vec<String> = {
        let mut all: Vec<Kind> = chain.iter().rev().map(|index| study.loaded.kind(*index)).collect();
        all.dedup();
        all.into_iter().map(|kind| format!("{} is {}", kind.with_article(), meaning(kind))).collect()
    };
    let mut notes = vec![format!("{}.", capital(&words.join("; ")))];
    notes.push("Read it from the bottom: each line says what the one below it is for.".to_owned());
    let reasons: Vec<String> = steps.iter().filter_map(|step| step.reason.clone()).collect();
    notes.push(reasons.join(" "));
    notes.retain(|text| !text.is_empty());
    let mut steps = steps;
    steps.reverse();
    Ok(Slide::new(phrase("Every part has a reason: ", &title, ""), Visual::Chain(steps), notes))
}

/// The text with a capital letter at its start.
pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
