//! The season: curves and loops.

use std::collections::HashMap;

use schema::Day;
use schema::settings::Stage;
use trace::audit::{Audit, COMPLETE, GoalScore, Season, TargetAudit};
use trace::graph::Link;
use trace::history::choice::Choice;
use trace::{RecordId, Study};

use super::super::loops::{Loop, LoopStep, Loops, StepKind};
use super::super::over_time::{Against, AgainstWords, Moment, OverTime, Revised, StageSpan};
use super::{NeededWords, name, needed_points};

/// The stages with a last day.
fn stages(study: &Study) -> Vec<StageSpan> {
    let stages = &study.settings().stages;
    let dated = Stage::ALL.into_iter().filter(|stage| stages.last_day(*stage).is_some());
    dated.map(|stage| StageSpan { name: stage.word().to_owned(), last: stages.last_day(stage) }).collect()
}

/// Why a curve begins on a day that is not the first of the season.
fn begins(season: &Season, since: Option<Day>) -> Option<String> {
    let (since, first) = (since?, season.timeline.first()?.day);
    let share = schema::number::percent(COMPLETE, 0);
    (since > first).then(|| format!("it begins on {since}, when {share} of the car was recorded"))
}

/// The revisions of some targets.
fn revisions<'a>(study: &Study, targets: impl Iterator<Item = &'a TargetAudit>) -> Vec<Revised> {
    let mut all: Vec<Revised> = targets
        .flat_map(|target| &target.revisions)
        .filter_map(|index| {
            let revision = study.loaded.revision(*index)?;
            let text = |quantity: &Option<schema::Quantity>| quantity.as_ref().map(ToString::to_string);
            let change = match (text(&revision.from), text(&revision.to)) {
                (Some(from), Some(to)) => format!("{from} to {to}"),
                (from, to) => from.or(to).unwrap_or_default(),
            };
            Some(Revised { day: revision.date?, name: name(&study.loaded, *index), change })
        })
        .collect();
    all.sort_by_key(|revised| revised.day);
    all
}

/// The most goals with pictures, the first ones.
pub(crate) const MOST_GOALS: usize = 20;

/// The most revisions that are next to all curves together.
const MOST_REVISIONS: usize = 50_000;

/// Whether a goal has a curve: `number` is its place among the goals of the audit.
pub(crate) fn has_curve(audit: &Audit, number: usize) -> bool {
    let revisions = || audit.targets.iter().map(|target| target.revisions.len()).sum::<usize>();
    number == 0 || (number < MOST_GOALS && (number + 1).saturating_mul(revisions()) <= MOST_REVISIONS)
}

/// The predicted points of a goal over the season, from the day on at which the car was complete on paper.
pub(crate) fn points_over_time(
    study: &Study,
    audit: &Audit,
    season: &Season,
    goal: &GoalScore,
    needs: NeededWords,
) -> OverTime {
    let id = study.loaded.record(goal.index).id.as_str();
    let since = season.complete_since(study, id);
    let moments = season.timeline.iter().filter(|point| since.is_none_or(|since| point.day >= since));
    let moments = moments.filter_map(|point| {
        let value = *point.points.get(id)?;
        Some(Moment { day: point.day, value, interval: point.point_intervals.get(id).copied() })
    });
    let mut moments: Vec<Moment> = moments.collect();
    // What was scored is no prediction: the curve ends before the first score of the contest.
    let scores = goal.events.iter().filter_map(|event| study.loaded.result(event.scored?.1)?.date);
    if let Some(first) = scores.min().filter(|_| goal.scored().is_some()) {
        moments.retain(|moment| moment.day < first);
    }
    let needed = goal.needed.as_ref().ok().map(|needed| needed_points(&study.loaded, goal.index, needed, needs));
    let against = needed.zip(moments.first()).map(|(needed, first)| Against {
        words: AgainstWords::Needed(needed.words),
        steps: vec![(first.day, needed.points)],
        interval: Some(needed.interval),
    });
    OverTime {
        title: "Points predicted".to_owned(),
        unit: "pts".to_owned(),
        begins: begins(season, since),
        moments,
        against,
        stages: stages(study),
        revisions: revisions(study, audit.targets.iter()),
        reached: goal.scored().map(|points| ("scored".to_owned(), points)),
    }
}

/// An amount of the car over the season with its limit; `None` if the car has no such amount.
pub(crate) fn amount_over_time(study: &Study, audit: &Audit, season: &Season, amount: &str) -> Option<OverTime> {
    let node = study.values().named(&format!("{}.{amount}", schema::words::CAR))?;
    let unit = study.values().unit(node);
    // All curves begin on one day, when the car was complete in all that the points depend on.
    let whole = season.complete(study).first().map(|point| point.day);
    let since = season.amount_complete_since(study, amount).max(whole);
    let moments = season.timeline.iter().filter(|point| since.is_none_or(|since| point.day >= since));
    let moments = moments.filter_map(|point| {
        let value = unit.from_si(*point.amounts.get(amount)?);
        let interval = point.amount_intervals.get(amount).map(|(low, high)| (unit.from_si(*low), unit.from_si(*high)));
        Some(Moment { day: point.day, value, interval })
    });
    let moments: Vec<Moment> = moments.collect();
    let limited = audit.targets.iter().find(|target| {
        let Some(body) = study.loaded.target(target.status.index) else { return false };
        let is_car = body.of.as_ref().is_some_and(|of| of.as_str() == schema::words::CAR);
        is_car && body.total.as_ref().is_some_and(|total| total.as_str() == amount)
    });
    let against = limited.and_then(|target| {
        let steps = target.limits.iter().filter_map(|step| Some((step.day, unit.from_si(step.limit.only_end()?))));
        let mut steps: Vec<(Day, f64)> = steps.collect();
        if steps.is_empty() {
            steps.push((moments.first()?.day, unit.from_si(target.status.limit.only_end()?)));
        }
        Some(Against { words: AgainstWords::Limit, steps, interval: None })
    });
    Some(OverTime {
        title: format!("{} of the car", capitalized(amount)),
        unit: unit.to_string(),
        begins: begins(season, since),
        moments,
        against,
        stages: stages(study),
        revisions: revisions(study, limited.into_iter()),
        reached: None,
    })
}

/// The most steps of one period, and of all periods together; the others are counted.
const MOST_STEPS: (usize, usize) = (1_000, 50_000);

/// The periods at risk with what was done in them.
pub(crate) fn loops(study: &Study, audit: &Audit, season: Option<&Season>) -> Loops {
    let days = season.and_then(|season| Some((season.timeline.first()?.day, season.timeline.last()?.day)));
    let mut steps = Steps::new(study);
    let mut left = MOST_STEPS.1;
    let loops = audit.at_risk_periods.iter().map(|period| {
        let until = period.end.map(|(day, _)| day);
        let all = steps.within(period.index, period.since, until);
        let listed = all.get(..MOST_STEPS.0.min(left)).unwrap_or(all);
        left -= listed.len();
        let step = |(day, kind, index): &Step| LoopStep { day: *day, kind: *kind, name: name(&study.loaded, *index) };
        Loop {
            name: name(&study.loaded, period.index),
            since: period.since,
            until,
            end: period.end.map_or("unresolved", |(_, end)| end.words()).to_owned(),
            is_resolved: period.is_resolved(),
            steps: listed.iter().map(step).collect(),
            more: all.len() - listed.len(),
        }
    });
    Loops { loops: loops.collect(), season: days }
}

/// A step before it has a name: its day, its kind and its record.
type Step = (Day, StepKind, RecordId);

/// What was done about targets.
struct Steps<'s> {
    study: &'s Study,
    /// The day of each decision that was asked for.
    decided: HashMap<RecordId, Option<Day>>,
    /// The steps of the last target that was asked for: a target has its periods one after the other.
    last: Option<(RecordId, Vec<Step>)>,
}

impl<'s> Steps<'s> {
    fn new(study: &'s Study) -> Self {
        Self { study, decided: HashMap::new(), last: None }
    }

    /// What was done about a target from one day to another, by day.
    fn within(&mut self, target: RecordId, since: Day, until: Option<Day>) -> &[Step] {
        if self.last.as_ref().is_none_or(|(own, _)| *own != target) {
            self.last = Some((target, self.of(target)));
        }
        let all = self.last.as_ref().map(|(_, steps)| steps.as_slice()).unwrap_or_default();
        let from = all.partition_point(|(day, ..)| *day < since);
        let to = until.map_or(all.len(), |until| all.partition_point(|(day, ..)| *day <= until));
        all.get(from..to).unwrap_or_default()
    }

    /// What was done about a target: the analyses that find it, the decisions with it as a criterion, its revisions and its
    /// results. Analyses have the day on which they were added, and decisions the day of the choice.
    fn of(&mut self, target: RecordId) -> Vec<Step> {
        let graph = &self.study.graph;
        let mut steps: Vec<Step> = Vec::new();
        let mut add =
            |kind: StepKind, index: RecordId, day: Option<Day>| steps.extend(day.map(|day| (day, kind, index)));
        for index in linked(self.study, target, Link::Finds) {
            add(StepKind::Analysis, index, added(self.study, index));
        }
        for index in linked(self.study, target, Link::Criteria) {
            let day = *self.decided.entry(index).or_insert_with(|| decided(self.study, index));
            add(StepKind::Decision, index, day);
        }
        for (index, revision) in graph.revisions(target) {
            add(StepKind::Revision, index, revision.date);
        }
        for (index, result) in graph.results(target) {
            add(StepKind::Result, index, result.date);
        }
        steps.sort_by_key(|(day, ..)| *day);
        steps
    }
}

/// The records that name a target in one way, in their order.
fn linked(study: &Study, target: RecordId, link: Link) -> Vec<RecordId> {
    let incoming = study.graph.incoming(target).into_iter();
    let mut all: Vec<RecordId> = incoming.filter(|(_, edge)| edge.link == link).map(|(from, _)| from).collect();
    all.dedup();
    all
}

/// The day of the choice of a decision, otherwise the day on which it was added.
fn decided(study: &Study, decision: RecordId) -> Option<Day> {
    let history = study.past().available()?;
    Choice::of(study, history, decision).map(|choice| choice.day()).or_else(|| added(study, decision))
}

/// The day on which a record was added.
fn added(study: &Study, index: RecordId) -> Option<Day> {
    let history = study.past().available()?;
    Some(history.commit(history.record(study.loaded.record(index).id.as_str())?.added)?.day)
}

/// The word with a capital at its beginning.
fn capitalized(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
