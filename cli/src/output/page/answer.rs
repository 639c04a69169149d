//! Do we make it: what is broken, the chance, and the points against those that the place needs.

use schema::number;
use schema::settings::Level;
use serde_json::{Value, json};
use trace::finding::LEVELS;
use trace::values::{GoalPoints, LEVEL};
use trace::{Finding, Loaded};

use super::{PageView, Worths};
use crate::output::incomplete_numbers;
use crate::output::points::{self, needs, sum};
use crate::screen::count;

/// What is broken under the numbers, as lines; empty if nothing is.
pub(super) fn broken(view: &PageView<'_>) -> Vec<String> {
    let unread = incomplete_numbers(&view.study.loaded);
    unread.into_iter().chain(points::broken(view.study).without_missing().lines()).collect()
}

/// The findings that are listed at the top, the worst first; each is also in the place of its record.
const MOST_FINDINGS: usize = 60;

/// The number of findings of each level, and the first ones.
pub(super) fn counts(view: &PageView<'_>) -> Value {
    let report = view.study.report();
    let counts: Vec<String> = LEVELS.iter().map(|level| count(report.count(*level), level.word())).collect();
    let mut all: Vec<&Finding> = report.findings.iter().collect();
    all.sort_by_key(|finding| LEVELS.iter().position(|level| *level == finding.level));
    let list: Vec<Value> = all
        .iter()
        .take(MOST_FINDINGS)
        .map(|finding| {
            let record = finding.record.as_deref().map(|id| view.named(id));
            // The title in the message is what is pressed.
            let title = record.as_ref().and_then(|record| record["title"].as_str());
            let around = title.and_then(|title| finding.message.split_once(title));
            let (before, after) = around.unwrap_or(("", ""));
            let message = around.is_none().then_some(&finding.message);
            json!({"record": record, "before": before, "after": after, "message": message, "help": finding.help,
                   "check": finding.check.name, "level": finding.level.word()})
        })
        .collect();
    json!({"text": counts.join(", "), "list": list, "more": all.len().saturating_sub(MOST_FINDINGS),
           "errors": report.count(Level::Error) > 0})
}

/// The goals, each with its answer.
pub(super) fn goals(view: &PageView<'_>) -> Vec<Value> {
    let with_picture = |goal: &GoalPoints| {
        let mut own = self::goal(view, goal);
        own["picture"] = json!(super::drawn::points_over_time(view, goal.index));
        own
    };
    view.study.goals().iter().map(with_picture).collect()
}

/// The numbers of points on the page that a reader could take for each other, each with what it is.
pub(super) fn scores(view: &PageView<'_>, worths: Option<&Worths<'_>>) -> Option<String> {
    let goal = view.study.goals().first()?;
    let score = super::drawn::scores(view, goal.index).map(|(_, own)| own);
    let scored = goal.events.iter().filter(|event| view.study.is_event_scored(event)).count();
    let mut all = vec![(goal.plan, "planned")];
    let is_before = scored == 0;
    all.extend(score.filter(|_| !is_before).and_then(|own| Some((own.predicted?, "predicted before the contest"))));
    all.extend(goal.predicted.map(|points| match scored {
        0 => (points, "predicted now, with the results of tests"),
        all if all == goal.events.len() => (points, "scored"),
        _ => (points, "scored so far, the other events predicted"),
    }));
    let estimated = worths.filter(|own| own.goal.index == goal.index).and_then(|own| own.goal.predicted);
    all.extend(
        estimated.map(|points| (points, "the same car by estimates alone, for decisions and what raises the chance")),
    );
    let texts: Vec<String> = all.iter().map(|(points, what)| format!("{points:.1} {what}")).collect();
    (texts.len() > 2).then(|| format!("Points on this page: {}.", texts.join("; ")))
}

/// A goal with its answer, without its picture.
pub(super) fn goal(view: &PageView<'_>, goal: &GoalPoints) -> Value {
    let loaded = &view.study.loaded;
    let is_scored = view.study.is_scored(goal);
    let chance = goal.chance().filter(|_| !is_scored);
    let reached = super::drawn::scores(view, goal.index).map(|(_, own)| own);
    let verdict = reached.and_then(trace::audit::GoalScore::reached).filter(|_| is_scored);
    let before = reached.filter(|_| is_scored).and_then(|own| {
        let points = own.predicted.map(|points| format!("{} points", number::fixed(points, 1)))?;
        let chance = own.chance.map(|chance| format!(", {} chance", number::chance(chance))).unwrap_or_default();
        let place = own.place_predicted.map(|place| format!(", place {place}")).unwrap_or_default();
        Some(format!("predicted before the contest: {points}{chance}{place}"))
    });
    let place = reached.and_then(|own| own.place_reached).map(|(place, _)| place);
    let word = if is_scored { "scored" } else { "predicted" };
    let points = sum(goal).map(|sum| format!("{sum} {word}"));
    let needed = goal.needed.as_ref().map(|needed| {
        let band = if needed.years.is_empty() {
            String::new()
        } else {
            format!(" ({:.0} to {:.0} with {:.0} % probability)", needed.low, needed.high, LEVEL * 100.0)
        };
        let few = if needed.has_few_years() { "; few years" } else { "" };
        format!("{} {:.1} points{band}{few}", needs(loaded, goal.index, needed), needed.points)
    });
    let (needed, unknown) = match needed {
        Ok(needed) => (Some(needed), None),
        Err(why) => (None, Some(format!("the points needed ({why})"))),
    };
    let is_open = chance.is_none() && verdict.is_none();
    let not_known = is_open.then(|| not_known(loaded, goal, unknown.as_deref())).flatten();
    let driven = view.study.values().scored_by_place(goal.index);
    let is_forecast = reached.is_some_and(trace::audit::GoalScore::is_forecast_after_contest);
    let needed = match (driven, loaded.goal(goal.index).and_then(|own| own.place)) {
        (Some((year, points)), Some(place)) => Some(format!("place {place} scored {points:.1} points in {year}")),
        (None, Some(place)) if is_forecast => needed.map(|text| {
            let day = view.study.day;
            format!("{text}: an estimate of {day} from earlier contests; what place {place} scored is not recorded")
        }),
        _ => needed,
    };
    json!({
        "goal": view.link(goal.index),
        "reason": loaded.goal(goal.index).and_then(|own| own.reason.clone()),
        "chance": chance.map(number::chance),
        "before": before,
        "reached": verdict,
        "place": place,
        "points": points,
        "not_known": not_known,
        "plan": format!("{:.1} planned", goal.plan),
        "needed": needed,
        "unknown": unknown,
    })
}

/// Why a goal has neither a chance nor a verdict, for a sentence; `None` if all that they need is known.
fn not_known(loaded: &Loaded, goal: &GoalPoints, unknown: Option<&str>) -> Option<String> {
    let events = match goal.events.len() {
        0 => Some("no event serves this goal".to_owned()),
        all => points::without_value(loaded, all, &goal.without_value),
    };
    let all: Vec<String> = events.into_iter().chain(unknown.map(str::to_owned)).collect();
    (!all.is_empty()).then(|| all.join("; "))
}
