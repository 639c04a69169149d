//! The output of `delta`: one file per format, all from the same comparison.

mod causes;
mod changes;
mod document;
mod first;
mod limits;
mod links;
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
use trace::snapshot::{Source, short_id};
use trace::values::Spread;
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

/// The smallest change of points that is shown: the smallest score in a rule book is a hundredth of a point.
const LEAST_POINTS: f64 = 0.005;

/// A value before and after as text, and the change; empty without a change.
fn shown(before: Option<f64>, after: Option<f64>, unit: &Unit) -> [String; 3] {
    let (Some(was), Some(is)) = (before, after) else {
        let text = |value: Option<f64>| value.map_or_else(|| "none".to_owned(), |si| unit.show(si, 0.0));
        return [text(before), text(after), String::new()];
    };
    let [before, after] = unit.show_both(was, is);
    [before, after, change_shown(was, is, unit)]
}

/// The change of a value; empty without one.
fn change_shown(before: f64, after: f64, unit: &Unit) -> String {
    if same_number(before, after) {
        return String::new();
    }
    if unit.to_string() == "pts" && (after - before).abs() >= LEAST_POINTS {
        return format!("{} pts", number::signed(after - before, 2));
    }
    unit.show_change_with(after - before, unit.decimals_of_both([before, after], [0.0, 0.0]))
}

/// The points of a headline before and after, each with its uncertainty or the ends of its interval, and without a unit.
fn shown_points(line: &Headline) -> [String; 2] {
    let places = match (line.before, line.after) {
        // A smaller difference than a hundredth of a point is not a score.
        (Some(before), Some(after)) => number::decimals_apart(before, after, 1).min(2),
        _ => 1,
    };
    let text = |value: Option<f64>, spread: &Option<Spread>| {
        let Some(value) = value else { return "none".to_owned() };
        let text = |number: f64| number::fixed(number, places);
        match spread {
            None => text(value),
            Some(spread) => match spread.half() {
                Some(half) => number::with_uncertainty(value, half, places),
                None => format!("{} ({} to {})", text(value), text(spread.low), text(spread.high)),
            },
        }
    };
    [text(line.before, &line.spreads[0]), text(line.after, &line.spreads[1])]
}

/// A headline before and after as text, and the change; points with their uncertainty or the ends of their interval.
pub(crate) fn headline_shown(line: &Headline) -> [String; 3] {
    let [before, after, change] = shown(line.before, line.after, &line.unit);
    let [before, after] = match line.of {
        HeadlineOf::Points(_) => {
            shown_points(line).map(|text| if text == "none" { text } else { line.unit.after(&text) })
        }
        HeadlineOf::Amount(_) => [before, after],
    };
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

    /// For each changed value, the id of the target whose value it is as well.
    fn same_values(&self) -> Vec<Option<String>> {
        let same = self.delta.totals_of_targets(self.head).into_iter();
        same.map(|target| target.map(|target| self.head.loaded.record(target).id.to_string())).collect()
    }

    /// A path of values without the amounts that the next target totals: both are one number.
    fn path<'p>(&self, names: &'p [String]) -> Vec<&'p str> {
        let loaded = &self.head.loaded;
        let is_total = |name: &str, target: &str| {
            let target = loaded.find(target).and_then(|index| loaded.target(index));
            target.is_some_and(|target| match (&target.of, &target.total, name.split_once('.')) {
                (Some(of), Some(total), Some((subject, amount))) => of.as_str() == subject && total.as_str() == amount,
                _ => false,
            })
        };
        let next = names.iter().skip(1).map(Some).chain([None]);
        let kept = names.iter().zip(next).filter(|(name, next)| next.is_none_or(|next| !is_total(name, next)));
        kept.map(|(name, _)| name.as_str()).collect()
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
        Source::Revision { commit, .. } => short_id(commit).to_owned(),
    }
}
