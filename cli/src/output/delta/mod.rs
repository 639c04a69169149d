//! The report of `delta`: one file a form, all from the same comparison.

mod document;
mod markdown;
mod terminal;

pub(crate) use document::{context, json};
pub(crate) use markdown::markdown;
pub(crate) use terminal::terminal;

use std::collections::HashSet;

use schema::quantity::{Unit, same_number};
use schema::settings::Level;
use trace::compare::{Cause, LimitMove, Side, ValueMove};
use trace::git::Base;
use trace::snapshot::Source;
use trace::values::Key;
use trace::{Delta, Finding, Loaded};

use super::listed::{Baseline, Listed};

/// What is told.
pub(crate) struct Told<'t> {
    pub(crate) delta: &'t Delta,
    pub(crate) base: Side<'t, 't, 't>,
    pub(crate) head: Side<'t, 't, 't>,
    pub(crate) found: &'t Base,
}

/// Every finding of both sides once, with what became of it; those that head waives among them.
pub(crate) fn listed<'t>(told: &Told<'t>) -> Vec<Listed<'t>> {
    let base = told.base.report;
    let known: HashSet<String> = base.findings.iter().chain(&base.waived).map(Finding::fingerprint).collect();
    let state = |known: bool| Some(if known { Baseline::Unchanged } else { Baseline::New });
    let new = told.delta.new.iter().map(|finding| (finding, state(false)));
    let staying = told.delta.staying.iter().map(|finding| (finding, state(true)));
    let waived = told.head.report.waived.iter().map(|finding| (finding, state(known.contains(&finding.fingerprint()))));
    // What head accepts by a waiver stands among what head has.
    let mended = told.delta.fixed.iter().filter(|finding| finding.waiver.is_none());
    let mended = mended.map(|finding| (finding, Some(Baseline::Absent)));
    new.chain(staying).chain(waived).chain(mended).collect()
}

/// A number of the headline: points, or an amount of the car.
struct Headline {
    name: String,
    /// Is it the points of a goal?
    points: bool,
    before: Option<f64>,
    after: Option<f64>,
    unit: Unit,
}

impl Headline {
    /// Before, after and the change as text.
    fn shown(&self) -> [String; 3] {
        shown(self.before, self.after, &self.unit)
    }
}

/// Before, after and the change of a value as text; the change is empty where there is none.
fn shown(before: Option<f64>, after: Option<f64>, unit: &Unit) -> [String; 3] {
    let text = |value: Option<f64>| value.map_or_else(|| "none".to_owned(), |si| unit.show(si, 0.0));
    let change = match (before, after) {
        (Some(before), Some(after)) if !same_number(before, after) => {
            // A hundredth of a point is the least that a rule book scores.
            if unit.to_string() == "pts" {
                format!("{:+.2} pts", after - before)
            } else {
                unit.show_change(after - before)
            }
        }
        _ => String::new(),
    };
    [text(before), text(after), change]
}

impl Told<'_> {
    fn loaded(&self) -> [&Loaded; 2] {
        [self.base.values.graph.loaded, self.head.values.graph.loaded]
    }

    /// The points of each goal, and the amounts of the whole car.
    fn headlines(&self) -> Vec<Headline> {
        let mut all = Vec::new();
        let goals = &self.head.report.goals;
        for goal in goals {
            let id = &self.loaded()[1].record(goal.index).id;
            let moved = self.delta.values.iter().find(|value| value.head == Some(goal.node));
            let before = moved.map_or(goal.predicted, |moved| moved.before);
            let name = if goals.len() == 1 { "points".to_owned() } else { format!("points of {id}") };
            let unit = self.head.values.unit(goal.node).clone();
            all.push(Headline { name, points: true, before, after: goal.predicted, unit });
        }
        let [old, new] = [self.base.values, self.head.values];
        let mut names: Vec<&str> = new.amounts().iter().chain(old.amounts()).map(|name| &**name).collect();
        names.sort_unstable();
        names.dedup();
        for name in names {
            let node = |values: &trace::values::Values<'_, '_>| values.node(&Key::Group(None, values.amount(name)?));
            let (before, after) = (node(old), node(new));
            let unit = match (before, after) {
                (_, Some(node)) => new.unit(node).clone(),
                (Some(node), None) => old.unit(node).clone(),
                (None, None) => continue,
            };
            let (before, after) = (before.and_then(|node| old.value(node)), after.and_then(|node| new.value(node)));
            if before.is_some() || after.is_some() {
                all.push(Headline { name: name.to_owned(), points: false, before, after, unit });
            }
        }
        all
    }

    /// How many findings stand before and after, by level.
    fn open(&self) -> [[usize; 2]; 3] {
        [Level::Error, Level::Warning, Level::Note]
            .map(|level| [self.base.report.count(level), self.head.report.count(level)])
    }

    /// The name of a value, and its unit.
    fn value(&self, value: &ValueMove) -> (String, &Unit) {
        let (values, node) = match (value.head, value.base) {
            (Some(node), _) => (self.head.values, node),
            (None, node) => (self.base.values, node.unwrap_or_default()),
        };
        (values.name(node), values.unit(node))
    }

    /// The names on the way of a cause, less itself.
    fn way(&self, cause: &Cause) -> Vec<String> {
        let values = if cause.value.head.is_some() { self.head.values } else { self.base.values };
        cause.way.iter().skip(1).map(|node| values.name(*node)).collect()
    }

    /// The id of a target whose limit moved, the limit before and after, and the revision that records it.
    fn limit(&self, limit: &LimitMove) -> (String, [String; 2], Option<String>) {
        let [old, new] = self.loaded();
        let revision = limit.revision.map(|index| new.record(index).id.to_string());
        let text = [limit_text(old, limit.base), limit_text(new, limit.head)];
        (new.record(limit.head).id.to_string(), text, revision)
    }

    /// The targets that stand elsewhere than before: id, before, after.
    fn statuses(&self) -> Vec<(String, &'static str, &'static str)> {
        let [old, new] = self.loaded();
        let before: std::collections::HashMap<usize, &'static str> =
            self.base.report.standings.iter().map(|standing| (standing.index, standing.status.word())).collect();
        let renamed: std::collections::HashMap<usize, usize> =
            self.delta.renamed.iter().map(|(old, new)| (*new, *old)).collect();
        let mut all = Vec::new();
        for standing in &self.head.report.standings {
            let id = &new.record(standing.index).id;
            let was = renamed.get(&standing.index).copied().or_else(|| old.find(id.as_str()));
            let (Some(before), after) = (was.and_then(|was| before.get(&was)), standing.status.word()) else {
                continue;
            };
            if *before != after {
                all.push((id.to_string(), *before, after));
            }
        }
        all
    }
}

fn limit_text(loaded: &Loaded, index: usize) -> String {
    let schema::records::Body::Target(target) = &loaded.record(index).body else { return String::new() };
    super::values::limit(target)
}

/// What a side is, in words.
fn side_name(loaded: &Loaded) -> String {
    match &loaded.snapshot.source {
        Source::Worktree => "the work tree".to_owned(),
        Source::Index => "the index".to_owned(),
        Source::Nothing => "nothing".to_owned(),
        Source::Revision { commit, .. } => commit.get(..10).unwrap_or(commit).to_owned(),
    }
}
