//! The output of `delta`: one file per format, all from the same comparison.

mod causes;
mod changes;
mod document;
mod limits;
mod markdown;
mod renames;
mod terminal;

pub(crate) use changes::FindingChanges;
pub(crate) use document::{context, json};
pub(crate) use markdown::markdown;
pub(crate) use terminal::{fixed, terminal};

use std::collections::HashSet;

use schema::number;
use schema::quantity::{Unit, same_number};
use trace::delta::{ChangedLimit, ChangedNode, Headline, HeadlineOf, ValueChange};
use trace::git::Base;
use trace::snapshot::Source;
use trace::{Delta, Finding, Loaded, RecordId, Study};

use super::listed::{Baseline, Listed};

/// What `delta` shows.
pub(crate) struct DeltaView<'t> {
    pub(crate) delta: &'t Delta,
    pub(crate) base: &'t Study,
    pub(crate) head: &'t Study,
    pub(crate) found: &'t Base,
    /// Whether the template of the base is used: in CI that of the head is part of the change under review.
    pub(crate) template_of_base: bool,
}

impl<'t> DeltaView<'t> {
    /// What the change does to findings and rules.
    pub(crate) fn changes(&self) -> FindingChanges<'t> {
        FindingChanges { delta: self.delta, head: self.head }
    }
}

/// Every finding of both states once, with its state since the base, including those that the head waives.
pub(crate) fn listed<'t>(view: &DeltaView<'t>) -> Vec<Listed<'t>> {
    let base = view.base.report();
    let known: HashSet<String> = base.findings.iter().chain(&base.waived).map(Finding::fingerprint).collect();
    let state = |known: bool| Some(if known { Baseline::Unchanged } else { Baseline::New });
    let new = view.delta.new.iter().map(|finding| (finding, state(false)));
    let unchanged = view.delta.unchanged.iter().map(|finding| (finding, state(true)));
    let uncovered = view.delta.uncovered.iter().map(|finding| (finding, state(true)));
    let waived = view.delta.waived.iter().map(|finding| (finding, state(known.contains(&finding.fingerprint()))));
    // Findings that a waiver of the head accepts are already in the list.
    let fixed = view.delta.fixed.iter().filter(|finding| finding.waiver.is_none());
    let fixed = fixed.map(|finding| (finding, Some(Baseline::Absent)));
    new.chain(uncovered).chain(unchanged).chain(waived).chain(fixed).collect()
}

/// A value before and after as text, and the change; empty without a change.
fn shown(before: Option<f64>, after: Option<f64>, unit: &Unit) -> [String; 3] {
    let text = |value: Option<f64>| value.map_or_else(|| "none".to_owned(), |si| unit.show(si, 0.0));
    let texts = match (before, after) {
        (Some(before), Some(after)) => unit.show_both(before, after),
        _ => [text(before), text(after)],
    };
    let change = match (before, after) {
        (Some(before), Some(after)) if !same_number(before, after) => {
            // The smallest score in a rule book is a hundredth of a point.
            if unit.to_string() == "pts" {
                format!("{} pts", number::signed(after - before, 2))
            } else {
                unit.show_change(after - before)
            }
        }
        _ => String::new(),
    };
    let [before, after] = texts;
    [before, after, change]
}

/// A headline before and after as text, and the change; with the interval after it, if that is not about as wide on both
/// sides.
pub(crate) fn headline_shown(line: &Headline) -> [String; 3] {
    let [before, mut after, change] = shown(line.before, line.after, &line.unit);
    if let Some((low, high)) = line.interval {
        let [low, high] = [low, high].map(|si| number::significant(line.unit.from_si(si), 4));
        after = format!("{after} ({low} to {high})");
    }
    [before, after, change]
}

/// The name of a headline, as it is shown.
pub(crate) fn headline_name(headline: &Headline, head: &Study) -> String {
    match &headline.of {
        HeadlineOf::Points(_) if head.goals().len() == 1 => "points".to_owned(),
        HeadlineOf::Points(goal) => format!("points of {}", head.loaded.record(*goal).id),
        HeadlineOf::Amount(name) => name.clone(),
    }
}

impl DeltaView<'_> {
    /// The date that is used as today for both states, and the stage of the season of each.
    fn date(&self) -> String {
        let (base, head) = (self.base.stage.word(), self.head.stage.word());
        let stage = if base == head { format!("{head} stage") } else { format!("{base} stage, then {head} stage") };
        format!("both for {}, {stage}", self.head.day.long())
    }

    fn loaded(&self) -> [&Loaded; 2] {
        [&self.base.loaded, &self.head.loaded]
    }

    /// The points of each goal, and the amounts of the whole car.
    fn headlines(&self) -> Vec<Headline> {
        self.delta.headlines(self.base, self.head)
    }

    /// The name of a headline, as it is shown.
    fn headline_name(&self, headline: &Headline) -> String {
        headline_name(headline, self.head)
    }

    /// The number of findings before and after, by level.
    fn counts(&self) -> [[usize; 2]; 3] {
        let [before, after] = self.delta.counts;
        [0, 1, 2].map(|level| [before[level], after[level]])
    }

    /// The name of a value, and its unit.
    fn value(&self, value: &ValueChange) -> (String, &Unit) {
        let (values, node) = match value.named {
            ChangedNode::Head(node) => (self.head.values(), node),
            ChangedNode::Base(node) => (self.base.values(), node),
        };
        (values.name(node), values.unit(node))
    }

    /// The id of a target with a new limit, the limit before and after as text, and the revision that records it.
    fn limit(&self, limit: &ChangedLimit) -> (String, [String; 2], Option<String>) {
        let [old, new] = self.loaded();
        let revision = limit.revision.map(|index| new.record(index).id.to_string());
        let text = [super::values::limit_text(old, limit.base), super::values::limit_text(new, limit.head)];
        (new.record(limit.head).id.to_string(), text, revision)
    }

    /// The targets with a new status: id, before, after.
    fn status_changes(&self) -> Vec<(String, &'static str, &'static str)> {
        let changes = self.delta.status_changes(self.base, self.head).into_iter();
        let id = |target: RecordId| self.head.loaded.record(target).id.to_string();
        changes.map(|change| (id(change.target), change.before.word(), change.after.word())).collect()
    }
}

/// The name of a state.
fn state_name(loaded: &Loaded) -> String {
    match &loaded.snapshot.source {
        Source::Worktree => "the working tree".to_owned(),
        Source::Index => "the index".to_owned(),
        Source::Nothing => "nothing".to_owned(),
        Source::Revision { commit, .. } => commit.get(..10).unwrap_or(commit).to_owned(),
    }
}
