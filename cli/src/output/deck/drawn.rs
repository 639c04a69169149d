//! The pictures of slides: few rows, so that they can be read from the last row.

use schema::number;
use trace::audit::{Audit, GoalScore};
use trace::talk::decisions::Choice;
use trace::values::{Budget, GoalPoints, Key, Outcome, Share, Significance, Worth};
use trace::{RecordId, Study};

use super::chain::capital;
use super::text;
use crate::output::pictures::bars::{self, Bar, Bars};
use crate::output::pictures::from_study::{self, Words};
use crate::output::pictures::targets::Targets;
use crate::output::pictures::tornado::{Tornado, TornadoBar};
use crate::output::pictures::waterfall::EventSteps;
use crate::output::pictures::{Name, Picture, estimates as estimates_picture};
use crate::output::pictures::{targets as targets_picture, tornado as tornado_picture};
use crate::output::pictures::{verification as verification_picture, waterfall as waterfall_picture};
use crate::output::points::needs;

/// The most rows of a list on a slide.
const MOST_ROWS: usize = 7;
/// The most events in a waterfall, which has each of them once or twice.
const MOST_STEPS: usize = 5;
/// The most sections of a budget.
const MOST_SECTIONS: usize = 10;
/// What an interval is, in the same plain words on every slide.
const LIKELY: &str = "likely range (95 %)";

fn name(study: &Study, index: RecordId) -> Name {
    let record = study.loaded.record(index);
    Name::record(record.id.as_str(), text::brief(record.name()))
}

/// A share, by the system that it is of.
fn section(study: &Study, share: RecordId) -> Name {
    let about = study.loaded.record(share).about().and_then(|about| study.loaded.find(about.as_str()));
    Name { title: name(study, about.unwrap_or(share)).title, ..name(study, share) }
}

fn others(count: usize, what: &str) -> Name {
    Name::plain(format!("{count} other {what}"))
}

/// The points against what the goal needs.
pub(super) fn place_band(study: &Study, goal: &GoalPoints, scores: Option<&GoalScore>) -> Picture {
    let bar = |title: &str, value: f64, interval: Option<(f64, f64)>| Bar {
        name: Name::plain(title),
        value,
        interval: interval.filter(|(low, high)| high > low),
        text: number::fixed(value, 0),
        ..Bar::default()
    };
    let spread = scores.and_then(|own| own.spread.as_ref());
    // Without an event there is neither a plan nor a score.
    let planned = (!goal.events.is_empty()).then(|| bar("planned", goal.plan, None));
    let mut bars: Vec<Bar> = planned.into_iter().collect();
    if let Some(predicted) = scores.and_then(|own| own.predicted) {
        bars.push(bar("expected", predicted, spread.map(|own| (own.low, own.high))));
    }
    if let Some(scored) = scores.and_then(GoalScore::scored) {
        bars.push(bar("scored", scored, None));
    }
    if let Some(last) = bars.last_mut() {
        last.strong = true;
    }
    let needed = goal.needed.as_ref().ok().map(|own| from_study::needed_points(&study.loaded, goal.index, own, needs));
    let rows: Vec<String> = bars.iter().map(|own| format!("{} {}", own.text, own.name.title)).collect();
    let mut said: Vec<String> =
        (!rows.is_empty()).then(|| format!("{} points", text::list(&rows))).into_iter().collect();
    if let Some(needed) = &needed {
        let (low, high) = needed.interval;
        let own = format!("{} {:.0}", needed.words, needed.points);
        let range = if high > low { format!(" ({low:.0} to {high:.0})") } else { String::new() };
        said.push(format!("{own}{range}"));
    }
    let caption = said.join("; ");
    let input = Bars {
        title: "Points against what the goal needs".to_owned(),
        caption,
        unit: "pts".to_owned(),
        value: "points".to_owned(),
        interval: LIKELY.to_owned(),
        needed,
        bars,
        ..Bars::default()
    };
    bars::picture("goal", &input)
}

/// What each event gives at most, and what the car is expected to score.
pub(super) fn events(study: &Study, goal: &GoalPoints) -> Picture {
    let values = study.values();
    let bars = goal.events.iter().map(|event| {
        let now = event.predicted.unwrap_or(0.0);
        let most = values.most(event.index);
        let text = match most {
            Some(most) => format!("{now:.0} of {most:.0}"),
            None => format!("{now:.0}"),
        };
        Bar { name: name(study, event.index), value: now, behind: most, text, ..Bar::default() }
    });
    let mut bars: Vec<Bar> = bars.collect();
    let size = |bar: &Bar| bar.behind.unwrap_or(bar.value);
    bars.sort_by(|a, b| size(b).total_cmp(&size(a)));
    let left: Vec<Bar> = bars.split_off(bars.len().min(MOST_ROWS + 1));
    if !left.is_empty() {
        let (now, most): (f64, Option<f64>) =
            (left.iter().map(|own| own.value).sum(), left.iter().map(|own| own.behind).sum());
        let name = others(left.len(), "events");
        bars.push(Bar { name, value: now, behind: most, text: format!("{now:.0}"), ..Bar::default() });
    }
    let caption = match (bars.first(), goal.predicted) {
        (Some(first), Some(now)) => {
            format!("We expect {now:.0} points; the most are in {}, {}", first.name.title, first.text)
        }
        _ => "The points of each event".to_owned(),
    };
    let input = Bars {
        title: "Points by event".to_owned(),
        caption,
        unit: "pts".to_owned(),
        value: if goal.events.iter().all(|own| study.is_event_scored(own)) { "scored" } else { "expected" }.to_owned(),
        behind: Some("at most".to_owned()),
        from_zero: true,
        bars,
        ..Bars::default()
    };
    bars::picture("scored", &input)
}

/// From the plan to the prediction and to the score; small events together.
pub(super) fn waterfall(study: &Study, scores: &GoalScore) -> Picture {
    let mut input = from_study::waterfall(study, scores, needs);
    input.interval_words = Some(LIKELY);
    for event in &mut input.events {
        event.name.title = text::brief(&event.name.title);
    }
    let size = |event: &EventSteps| {
        let differ = |a: Option<f64>, b: Option<f64>| a.zip(b).map_or(0.0, |(a, b)| (a - b).abs());
        differ(event.predicted, event.plan).max(differ(event.scored, event.predicted))
    };
    let most = if scores.scored().is_some() { MOST_STEPS - 2 } else { MOST_STEPS };
    if input.events.len() > most + 1 {
        input.events.sort_by(|a, b| size(b).total_cmp(&size(a)));
        let left = input.events.split_off(most);
        let sum = |own: fn(&EventSteps) -> Option<f64>| left.iter().map(own).sum::<Option<f64>>();
        input.events.push(EventSteps {
            name: others(left.len(), "events"),
            plan: sum(|event| Some(event.plan.unwrap_or(0.0))),
            predicted: sum(|event| event.predicted),
            interval: None,
            scored: sum(|event| event.scored),
        });
    }
    waterfall_picture::picture("plan", &input)
}

/// Targets on one scale, in this order.
pub(super) fn targets(study: &Study, audit: &Audit, key: &str, all: &[RecordId]) -> Picture {
    let row = |index: &RecordId| {
        let own = audit.targets.iter().find(|own| own.status.index == *index)?;
        let mut row = from_study::target(study, own, Words::Status);
        row.name.title = text::brief(&row.name.title);
        Some(row)
    };
    let input = Targets { targets: all.iter().filter_map(row).collect(), interval_words: Some(LIKELY) };
    targets_picture::picture(key, &input)
}

/// The values of the car that change the points, the largest effect first.
pub(super) fn levers(study: &Study, goal: &GoalPoints) -> Tornado {
    let values = study.values_on_paper();
    let sensitivities = values.worth_of_all(goal.node);
    // What others drive is not moved by the car.
    let ours = values.worth_of_leaves(&sensitivities).into_iter();
    let ours = ours
        .filter(|worth| matches!(values.keys[worth.node], Key::Record(index) if study.loaded.target(index).is_some()));
    let bar = |worth: Worth| {
        let name = match &values.keys[worth.node] {
            Key::Record(index) => name(study, *index),
            _ => Name::plain(format!(
                "{} of the car",
                capital(&from_study::value_parts(values, worth.node).1.unwrap_or_default())
            )),
        };
        from_study::tornado_bar(values, &worth, name)
    };
    let all = ours.chain(values.worth_of_car(&sensitivities));
    let mut bars: Vec<TornadoBar> =
        all.filter(|worth| worth.per_percent.is_finite() && worth.per_percent != 0.0).map(bar).collect();
    bars.sort_by(|a, b| b.higher.abs().total_cmp(&a.higher.abs()));
    bars.truncate(MOST_ROWS);
    Tornado { goal: study.loaded.record(goal.index).name().to_owned(), by: "1 %".to_owned(), chance: None, bars }
}

/// What changes the points.
pub(super) fn tornado(input: &Tornado) -> Picture {
    tornado_picture::picture("levers", input)
}

/// The room of the sections of a budget: they are all nearly full, so that their values look the same.
pub(super) fn budget(study: &Study, key: &str, own: &Budget) -> Picture {
    let unit = study.values().unit(own.node);
    let room = |si: f64| si / unit.factor();
    // All with the decimals that show a thousandth of the limit.
    let places = number::decimals(unit.from_si(own.limit) / 1000.0, 1, 7);
    let show = |si: f64| unit.after(&number::signed(room(si), places));
    let mut bars: Vec<Bar> = Vec::new();
    for share in &own.shares {
        let Some(left) = share.room() else { continue };
        let name = section(study, share.index);
        let uncertainty = room(share.uncertainty);
        let interval = (uncertainty > 0.0).then_some((room(left) - uncertainty, room(left) + uncertainty));
        let strong = share.over().is_some();
        bars.push(Bar { name, value: room(left), interval, text: show(left), strong, behind: None });
    }
    let first = bars.first().map(|bar| format!("the least is {} with {}", bar.name.title, bar.text));
    let over = bars.iter().filter(|bar| bar.strong).count();
    let caption = match over {
        0 => format!("No section is over its limit; {}", first.unwrap_or_default()),
        over => format!("{over} of {} sections over the limit; {}", bars.len(), first.unwrap_or_default()),
    };
    if bars.len() > MOST_SECTIONS {
        let left = bars.split_off(MOST_SECTIONS - 1);
        let sum = left.iter().map(|bar| bar.value).sum::<f64>();
        let text = show(sum * unit.factor());
        bars.push(Bar { name: others(left.len(), "sections"), value: sum, text, ..Bar::default() });
    }
    let input = Bars {
        title: "Room of each section: its limit minus what it uses".to_owned(),
        caption: text::typeset(&caption),
        unit: unit.to_string(),
        value: "room: limit minus use".to_owned(),
        interval: LIKELY.to_owned(),
        from_zero: true,
        says_value: true,
        bars,
        ..Bars::default()
    };
    bars::picture(key, &input)
}

/// What each section costs of a budget, against its limit.
pub(super) fn spent(study: &Study, key: &str, own: &Budget) -> Picture {
    let unit = study.values().unit(own.node);
    let show = |si: f64| text::quantity(si, 0.0, unit);
    let mut bars: Vec<Bar> = Vec::new();
    for (share, value) in by_value(own) {
        bars.push(Bar {
            name: section(study, share.index),
            value: unit.from_si(value),
            behind: Some(unit.from_si(share.limit)),
            text: show(value),
            strong: bars.is_empty(),
            ..Bar::default()
        });
    }
    let first = bars.first().map(|bar| format!("; the most is {} with {}", bar.name.title, bar.text));
    let all = own.value.map(|value| format!("{} in total", show(value))).unwrap_or_default();
    if bars.len() > MOST_SECTIONS {
        let left = bars.split_off(MOST_SECTIONS - 1);
        let sum = left.iter().map(|bar| bar.value).sum::<f64>();
        let behind = left.iter().map(|bar| bar.behind).sum::<Option<f64>>();
        let text = show(unit.to_si(sum));
        bars.push(Bar { name: others(left.len(), "sections"), value: sum, behind, text, ..Bar::default() });
    }
    let input = Bars {
        title: "What each section costs".to_owned(),
        caption: text::typeset(&format!("{all}{}", first.unwrap_or_default())),
        unit: unit.to_string(),
        value: "cost".to_owned(),
        behind: Some("limit".to_owned()),
        from_zero: true,
        bars,
        ..Bars::default()
    };
    bars::picture(key, &input)
}

/// The shares of a budget that have a value, the largest first.
pub(super) fn by_value(own: &Budget) -> Vec<(&Share, f64)> {
    let mut all: Vec<(&Share, f64)> = own.shares.iter().filter_map(|share| Some((share, share.value?))).collect();
    all.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.index.cmp(&b.0.index)));
    all
}

/// The title of what a share is of.
pub(super) fn title_of(study: &Study, share: &Share) -> String {
    section(study, share.index).title
}

/// The alternatives of a decision: points against the chosen one.
pub(super) fn alternatives(key: &str, choice: &Choice) -> Option<Picture> {
    let mean = |outcome: &Outcome| outcome.spread.as_ref().map(|spread| spread.mean);
    let own = mean(choice.chosen()?)?;
    let is_now = choice.chosen()?.difference.is_some_and(|(by, _)| by.abs() < 1e-9);
    let title = |outcome: &Outcome| text::brief(outcome.title.as_deref().unwrap_or(&outcome.name));
    let mut bars = Vec::new();
    for outcome in &choice.compared.outcomes {
        if outcome.chosen {
            let text = "chosen".to_owned();
            bars.push(Bar { name: Name::plain(title(outcome)), text, strong: true, ..Bar::default() });
            continue;
        }
        let Some(by) = mean(outcome).map(|mean| mean - own) else { continue };
        let is_known = outcome.significance.is_some_and(|known| known != Significance::Unknown);
        let within = outcome.difference.filter(|_| is_now && is_known).map(|(_, within)| within);
        // That of the other alternative which the notes compare with.
        let is_other = choice.other().is_some_and(|own| own.name == outcome.name);
        let within = within.or(choice.uncertainty.filter(|_| is_other)).filter(|within| *within > 0.0);
        bars.push(Bar {
            name: Name::plain(title(outcome)),
            value: by,
            interval: within.map(|within| (by - within, by + within)),
            text: number::difference(by, within.unwrap_or(0.0), 1),
            ..Bar::default()
        });
    }
    bars.truncate(MOST_ROWS);
    if bars.len() < 2 {
        return None;
    }
    let rows = bars.iter().filter(|bar| !bar.strong).map(|bar| format!("{} {}", bar.name.title, bar.text));
    let rows: Vec<String> = rows.collect();
    let chosen = bars.iter().find(|bar| bar.strong).map(|bar| bar.name.title.clone()).unwrap_or_default();
    let input = Bars {
        title: format!("Points of the alternatives, against {chosen}"),
        caption: text::typeset(&format!("Points against {chosen}: {}", text::list(&rows))),
        unit: "pts".to_owned(),
        value: "points against the chosen one".to_owned(),
        interval: LIKELY.to_owned(),
        from_zero: true,
        bars,
        ..Bars::default()
    };
    Some(bars::picture(key, &input))
}

/// Verification over time, against the due dates.
pub(super) fn verification(study: &Study) -> Picture {
    verification_picture::picture("verification", &from_study::verification(study))
}

/// Estimates against results.
pub(super) fn estimates(study: &Study, audit: &Audit) -> Picture {
    let mut input = from_study::estimates(study, audit);
    input.groups.sort_by_key(|group| std::cmp::Reverse(group.pairs.len()));
    input.groups.truncate(MOST_ROWS);
    estimates_picture::picture("learned", &input)
}
