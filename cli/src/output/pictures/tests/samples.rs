//! Inputs of all pictures, of any size.

use schema::Day;

use super::super::over_time::{Against, AgainstWords, Moment, OverTime, Revised, StageSpan};
use super::super::waterfall::{EventSteps, NeededPoints, Waterfall};
use super::super::{
    Name, Picture, budget, chain, estimates, frontier, loops, over_time, stress, targets, tornado, verification,
    waterfall,
};

/// A day, counted from the first one of a season.
pub(super) fn day(at: usize) -> Day {
    let date = Day::parse("2026-09-21").unwrap().date();
    Day::from(date.saturating_add(jiff::Span::new().days(at as i64)))
}

fn name(title: &str, at: usize) -> Name {
    Name::record(format!("record-{at}"), format!("{title} {at}"))
}

/// A number that differs from item to item, with both signs.
fn wave(at: usize, size: f64) -> f64 {
    size * (at as f64 * 1.7).sin()
}

pub(super) fn waterfall(count: usize, title: &str, factor: f64) -> Waterfall {
    let events = (0..count).map(|at| {
        let plan = factor * (50.0 + 10.0 * at as f64 % 70.0);
        let predicted = plan + wave(at, 6.0 * factor);
        EventSteps {
            name: name(title, at),
            plan: Some(plan),
            predicted: Some(predicted),
            interval: Some((predicted - 3.0 * factor, predicted + 3.0 * factor)),
            scored: (at % 2 == 0).then_some(predicted + wave(at + 3, 9.0 * factor)),
        }
    });
    let events: Vec<EventSteps> = events.collect();
    let sum = |get: fn(&EventSteps) -> Option<f64>| events.iter().filter_map(get).sum::<f64>();
    let (plan, predicted) = (sum(|event| event.plan), sum(|event| event.predicted));
    Waterfall {
        goal: title.to_owned(),
        plan,
        predicted: Some(predicted),
        interval: Some((predicted - 20.0 * factor, predicted + 15.0 * factor)),
        needed: Some(NeededPoints {
            words: "place 8 needs".into(),
            points: plan - 4.0 * factor,
            interval: (plan - 30.0 * factor, plan + 30.0 * factor),
        }),
        events,
        interval_words: None,
    }
}

pub(super) fn over_time(count: usize, title: &str, factor: f64) -> OverTime {
    let moments = (0..count).map(|at| {
        let value = factor * (600.0 + at as f64 % 50.0);
        Moment { day: day(at), value, interval: Some((value - 40.0 * factor, value + 40.0 * factor)) }
    });
    OverTime {
        title: title.to_owned(),
        unit: "pts".into(),
        moments: moments.collect(),
        begins: Some("it begins when the car was complete".into()),
        against: Some(Against {
            words: AgainstWords::Needed("place 8 needs".into()),
            steps: vec![(day(0), 652.0 * factor), (day(count / 2), 655.0 * factor)],
            interval: Some((607.0 * factor, 698.0 * factor)),
        }),
        stages: ["concept", "design", "build", "test", "contest"]
            .iter()
            .enumerate()
            .map(|(at, stage)| StageSpan { name: (*stage).into(), last: Some(day(at * count / 4)) })
            .collect(),
        revisions: (0..count.min(9))
            .map(|at| Revised { day: day(at * 5), name: name(title, at), change: "205 kg to 207 kg".into() })
            .collect(),
        reached: Some(("scored".into(), 689.7 * factor)),
    }
}

pub(super) fn targets(count: usize, title: &str, factor: f64) -> targets::Targets {
    let reading = |margin: f64| targets::Reading {
        text: "202.4 ± 1.2 kg".into(),
        margin: Some(margin),
        instead: None,
        interval: Some((margin - 0.01 * factor, margin + 0.01 * factor)),
    };
    let rows = (0..count).map(|at| targets::TargetRow {
        name: name(title, at),
        limit: "at most 205 kg".into(),
        estimate: Some(reading(wave(at, 0.3 * factor))),
        result: (at % 3 == 0).then(|| reading(wave(at + 1, 0.3 * factor))),
        outcome: if wave(at, 1.0) < 0.0 { "at risk" } else { "on target" }.into(),
        is_bad: wave(at, 1.0) < 0.0,
    });
    targets::Targets { targets: rows.collect(), interval_words: None }
}

pub(super) fn tornado(count: usize, title: &str, factor: f64) -> tornado::Tornado {
    let bars = (0..count).map(|at| tornado::TornadoBar {
        name: name(title, at),
        now: "202.4 kg".into(),
        lower: -factor * (5.0 - at as f64 * 0.004) * if at % 2 == 0 { -1.0 } else { 1.0 },
        higher: factor * (4.0 - at as f64 * 0.003) * if at % 2 == 0 { -1.0 } else { 1.0 },
        to: ["200.4 kg".into(), "204.4 kg".into()],
        points: None,
    });
    tornado::Tornado { goal: title.to_owned(), by: "1 %".into(), chance: None, bars: bars.collect() }
}

pub(super) fn budget(count: usize, title: &str, factor: f64) -> budget::Budget {
    let sections = (0..count).map(|at| {
        let limit = factor * (10.0 + (at % 9) as f64 * 4.0);
        let value = limit - wave(at, factor);
        budget::Section {
            name: name(title, at),
            limit,
            value: Some(value),
            growth: Some(0.4 * factor),
            uncertainty: 0.3 * factor,
            is_over: value > limit,
            parts: (0..5).map(|part| (name(title, 100 * at + part), value * 0.18)).collect(),
        }
    });
    let sections: Vec<budget::Section> = sections.collect();
    let allocated: f64 = sections.iter().map(|section| section.limit).sum();
    budget::Budget {
        name: Name::record("car-mass", title),
        unit: "kg".into(),
        limit: allocated + 5.0 * factor,
        reserve: 3.0 * factor,
        unallocated: 2.0 * factor,
        value: Some(sections.iter().filter_map(|section| section.value).sum()),
        growth: Some(2.0 * factor),
        uncertainty: factor,
        sections,
    }
}

pub(super) fn verification(count: usize, title: &str) -> verification::Verification {
    let outcome = |at: usize| match at % 12 {
        0 | 3 | 6 => Some(verification::Outcome::Passed),
        9 => Some(verification::Outcome::Failed),
        10 => Some(verification::Outcome::Uncertain),
        _ => None,
    };
    let planned = (0..count).map(|at| verification::Planned {
        name: name(title, at),
        method: "test".into(),
        due: (at % 7 != 0).then(|| day(100 + at % 120)),
        result: outcome(at).map(|_| day(90 + at % 130)),
        outcome: outcome(at),
        safety_critical: at % 5 == 0,
    });
    verification::Verification { planned: planned.collect(), today: Some(day(180)) }
}

pub(super) fn loops(count: usize, title: &str) -> loops::Loops {
    let kinds =
        [loops::StepKind::Analysis, loops::StepKind::Decision, loops::StepKind::Revision, loops::StepKind::Result];
    let loops = (0..count).map(|at| loops::Loop {
        name: name(title, at),
        since: day(at % 200),
        until: (at % 4 != 0).then(|| day(at % 200 + 20 + at % 60)),
        end: if at % 4 == 0 { "unresolved" } else { "limit changed without a revision" }.into(),
        is_resolved: at % 4 > 1,
        steps: (0..3)
            .map(|step| loops::LoopStep {
                day: day(at % 200 + 5 * step),
                kind: kinds[(at + step) % 4],
                name: name(title, step),
            })
            .collect(),
        more: 0,
    });
    loops::Loops { loops: loops.collect(), season: Some((day(0), day(300))) }
}

pub(super) fn estimates(count: usize, title: &str, factor: f64) -> estimates::Estimates {
    let groups = (0..count).map(|at| estimates::Group {
        title: format!("{title}, {at}"),
        bias: wave(at, 0.05 * factor),
        pairs: (0..8)
            .map(|pair| estimates::Pair {
                name: name(title, pair),
                estimate: "1.2 ± 0.1 kg".into(),
                result: "1.25 kg".into(),
                error: wave(at + pair, 0.1 * factor),
                inside: [None, Some(true), Some(false)][pair % 3],
            })
            .collect(),
    });
    estimates::Estimates { groups: groups.collect() }
}

/// A chain in which each record has three below it.
pub(super) fn chain(count: usize, title: &str) -> chain::Chain {
    let marks = [chain::Mark::None, chain::Mark::Good, chain::Mark::Bad, chain::Mark::Unknown];
    let nodes = (0..count).map(|at| chain::ChainNode {
        name: name(title, at),
        kind: "part".into(),
        status: ["", "met", "at risk", "no value"][at % 4].into(),
        mark: marks[at % 4],
        value: "mass 1.2 kg".into(),
        also: if at % 5 == 0 { vec!["other".into()] } else { Vec::new() },
        below: (3 * at + 1..3 * at + 4).filter(|below| *below < count).collect(),
        ..Default::default()
    });
    chain::Chain { nodes: nodes.collect(), roots: (0..count.min(1)).collect(), notes: 0 }
}

pub(super) fn stress(count: usize, title: &str, factor: f64) -> stress::Stress {
    let iterations = (0..count).map(|at| stress::StressIteration {
        name: name(title, at),
        allowable: "250 MPa".into(),
        little: 0.2,
        safety: 1.4 * factor,
        peak_safety: 1.1 * factor,
        idle: 0.6,
        mass: "1.24 kg".into(),
        bins: (0..11)
            .map(|bin| {
                (
                    bin as f64 / 10.0,
                    (bin < 10).then_some((bin + 1) as f64 / 10.0),
                    factor * 0.5 / (bin + 1 + at % 3) as f64,
                )
            })
            .collect(),
    });
    stress::Stress {
        part: name(title, 0),
        needed: Some(1.3),
        caution: "check load cases and calculation methods first".into(),
        iterations: iterations.collect(),
    }
}

pub(super) fn frontier(count: usize, title: &str, factor: f64) -> frontier::Frontier {
    let alternatives = (0..count).map(|at| frontier::Alternative {
        name: name(title, at),
        across: factor * (200.0 + wave(at, 10.0)),
        up: factor * (600.0 + wave(at + 5, 20.0)),
        interval: Some((factor * (590.0 + wave(at + 5, 20.0)), factor * (610.0 + wave(at + 5, 20.0)))),
        chosen: at == 1,
    });
    frontier::Frontier {
        title: title.to_owned(),
        across: frontier::Value { name: "mass".into(), of: " of the car", unit: "kg".into(), more_is_better: false },
        up: frontier::Value { name: "points".into(), of: "", unit: "pts".into(), more_is_better: true },
        alternatives: alternatives.collect(),
    }
}

/// Every picture with this number of items; `factor` multiplies all numbers.
pub(super) fn all(count: usize, title: &str, factor: f64) -> Vec<(&'static str, Picture)> {
    vec![
        ("waterfall", waterfall::picture("k", &waterfall(count, title, factor))),
        ("over time", over_time::picture("k", &over_time(count, title, factor))),
        ("targets", targets::picture("k", &targets(count, title, factor))),
        ("tornado", tornado::picture("k", &tornado(count, title, factor))),
        ("budget", budget::picture("k", &budget(count, title, factor))),
        ("verification", verification::picture("k", &verification(count, title))),
        ("loops", loops::picture("k", &loops(count, title))),
        ("estimates", estimates::picture("k", &estimates(count, title, factor))),
        ("chain", chain::picture(&chain(count, title), true)),
        ("stress", stress::picture("k", &stress(count, title, factor))),
        ("frontier", frontier::picture("k", &frontier(count, title, factor))),
    ]
}
