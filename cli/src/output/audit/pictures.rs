//! The charts of the audit as inline SVG, without colours: classes get those of the page.

use std::fmt::Write as _;

use schema::Day;
use schema::number;
use schema::quantity::Unit;
use schema::records::Body;
use trace::audit::{GoalScore, TargetAudit};

use super::AuditView;
use super::scale::{Axis, coordinate, tick};

/// The width of a chart, about that of a phone.
const WIDTH: f64 = 360.0;

/// Text for SVG and HTML.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in crate::screen::clean(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
    out
}

fn open(height: f64, label: &str) -> String {
    format!(
        "<svg viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">",
        coordinate(WIDTH),
        coordinate(height),
        escaped(label)
    )
}

fn text(out: &mut String, x: f64, y: f64, class: &str, words: &str) {
    let _ = write!(
        out,
        "<text x=\"{}\" y=\"{}\" class=\"{class}\">{}</text>",
        coordinate(x),
        coordinate(y),
        escaped(words)
    );
}

fn line(out: &mut String, from: (f64, f64), to: (f64, f64), class: &str) {
    let [x1, y1, x2, y2] = [from.0, from.1, to.0, to.1].map(coordinate);
    let _ = write!(out, "<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\" class=\"{class}\"/>");
}

fn bar(out: &mut String, x: f64, y: f64, width: f64, height: f64, class: &str) {
    let [x, y, width, height] = [x, y, width.max(0.0), height].map(coordinate);
    let _ = write!(out, "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" class=\"{class}\"/>");
}

impl AuditView<'_> {
    /// The points of each event: planned, predicted with its uncertainty, scored.
    pub(super) fn picture_of_points(&self, goal: &GoalScore) -> String {
        const ROW: f64 = 62.0;
        let most = goal
            .events
            .iter()
            .flat_map(|event| {
                let scored = event.scored.map(|(points, _)| points);
                [event.plan, event.spread.as_ref().map(|spread| spread.high), scored]
            })
            .flatten()
            .fold(1.0, f64::max);
        let x = Axis::new((0.0, most), (0.0, WIDTH - 62.0));
        let mut out = open(ROW * goal.events.len() as f64, "Points of each event: planned, predicted and scored");
        for (at, event) in goal.events.iter().enumerate() {
            let top = ROW * at as f64;
            text(&mut out, 0.0, top + 13.0, "name", self.title(event.index));
            let scored = event.scored.map(|(points, _)| points);
            let bars = [(event.plan, "plan"), (event.predicted, "predicted"), (scored, "scored")];
            for (row, (points, class)) in bars.into_iter().enumerate() {
                let y = top + 19.0 + 12.0 * row as f64;
                let Some(points) = points else {
                    text(&mut out, 4.0, y + 9.0, "small", &format!("not {class}"));
                    continue;
                };
                let end = x.position(points.max(0.0));
                bar(&mut out, 0.0, y, end, 10.0, class);
                let mut after = end;
                if class == "predicted"
                    && let Some(spread) = event.spread.as_ref().filter(|spread| spread.high > spread.low)
                {
                    let (low, high) = (x.position(spread.low.max(0.0)), x.position(spread.high));
                    line(&mut out, (low, y + 5.0), (high, y + 5.0), "spread");
                    after = high;
                }
                text(&mut out, after + 5.0, y + 9.0, "small", &format!("{points:.1}"));
            }
        }
        out + "</svg>"
    }

    /// A target's limit, estimate and result on one scale: the limit is at a fixed position, and the allowed range is shaded.
    pub(super) fn picture_of_target(&self, target: &TargetAudit) -> Option<String> {
        const W: f64 = 150.0;
        let status = &target.status;
        let unit = self.study.values().unit(status.node);
        let (low, high) = (status.limit.at_least, status.limit.at_most);
        let estimate = target.estimate.map(|(value, spread, _)| (unit.from_si(value), spread / unit.factor()));
        let result = target.measured().map(|value| unit.from_si(value));
        if estimate.is_none() && result.is_none() {
            return None;
        }
        let (low, high) = (low.map(|low| unit.from_si(low)), high.map(|high| unit.from_si(high)));
        // A quarter of the limit to either side, or a third of the room between two limits beyond each.
        let x = match (low, high) {
            (Some(low), Some(high)) => {
                let room = (high - low) / 2.0;
                Axis::new((low - room, high + room), (8.0, W - 8.0))
            }
            (Some(limit), None) | (None, Some(limit)) if limit != 0.0 => {
                Axis::new((limit - limit.abs() * 0.25, limit + limit.abs() * 0.25), (8.0, W - 8.0))
            }
            _ => return None,
        };
        let mut out = format!(
            "<svg viewBox=\"0 0 {} 22\" class=\"scale\" role=\"img\" aria-label=\"{}\">",
            coordinate(W),
            escaped(&describe(estimate, result, unit, target.verdict.words()))
        );
        let from = low.map_or(0.0, |low| x.position(low));
        let to = high.map_or(W, |high| x.position(high));
        bar(&mut out, from, 4.0, to - from, 14.0, "allowed");
        for limit in [low, high].into_iter().flatten() {
            line(&mut out, (x.position(limit), 1.0), (x.position(limit), 21.0), "limit");
        }
        let inside = |value: f64| x.position(value).clamp(5.0, W - 5.0);
        if let Some((value, spread)) = estimate {
            if spread > 0.0 {
                line(&mut out, (inside(value - spread), 11.0), (inside(value + spread), 11.0), "spread");
            }
            let _ = write!(out, "<circle cx=\"{}\" cy=\"11\" r=\"4\" class=\"estimate\"/>", coordinate(inside(value)));
        }
        if let Some(value) = result {
            let at = inside(value);
            let spread = target.measured_uncertainty() / unit.factor();
            if spread > 0.0 {
                line(&mut out, (inside(value - spread), 16.0), (inside(value + spread), 16.0), "spread");
            }
            let class = if target.verdict.is_missed() { "result missed" } else { "result" };
            let _ = write!(out, "<path d=\"M{} 5l6 6-6 6-6-6z\" class=\"{class}\"/>", coordinate(at));
            if (x.position(value) - at).abs() > 1.0 {
                let (beyond, letter) = if x.position(value) > at { (at - 14.0, "→") } else { (at + 8.0, "←") };
                text(&mut out, beyond, 15.0, "small", letter);
            }
        }
        Some(out + "</svg>")
    }

    /// An amount of the car over the season, with its limit and the changes of the limit.
    pub(super) fn picture_of_amount(&self, name: &str) -> Option<String> {
        let season = self.season?;
        let node = self.study.values().named(&format!("car.{name}"))?;
        let unit = self.study.values().unit(node);
        let points: Vec<(Day, f64)> = season
            .complete()
            .iter()
            .filter_map(|moment| Some((moment.day, unit.from_si(*moment.amounts.get(name)?))))
            .collect();
        let limited = self.audit.targets.iter().find(|target| {
            let Body::Target(body) = &self.study.loaded.record(target.status.index).body else { return false };
            let car = body.of.as_ref().is_some_and(|of| of.as_str() == schema::words::CAR);
            car && body.total.as_ref().is_some_and(|total| total.as_str() == name)
        });
        let mut limits: Vec<(Day, f64)> = Vec::new();
        if let Some(target) = limited {
            limits
                .extend(target.limits.iter().filter_map(|step| Some((step.day, unit.from_si(step.limit.only_end()?)))));
            if limits.is_empty() {
                limits.extend(
                    points.first().zip(target.status.limit.at_most).map(|((day, _), si)| (*day, unit.from_si(si))),
                );
            }
        }
        let label = format!("{name} of the car over the season, in {unit}");
        over_time(&label, &points, &limits, "limit", unit)
    }

    /// The predicted points over the season, with those that the goal needs.
    pub(super) fn picture_of_prediction(&self, goal: &GoalScore) -> Option<String> {
        let season = self.season?;
        let id = self.id(goal.index);
        let points: Vec<(Day, f64)> =
            season.complete().iter().filter_map(|moment| Some((moment.day, *moment.points.get(id)?))).collect();
        let needed = goal.needed.as_ref().ok().map(|needed| needed.points);
        let limits: Vec<(Day, f64)> =
            points.first().zip(needed).map(|((day, _), needed)| (*day, needed)).into_iter().collect();
        over_time(
            "Points predicted over the season",
            &points,
            &limits,
            "goal",
            self.study.values().unit(self.study.values().record_node(goal.index)?),
        )
    }
}

fn describe(estimate: Option<(f64, f64)>, result: Option<f64>, unit: &Unit, verdict: &str) -> String {
    let number = |value: f64| number::rounded(value, 4);
    let estimate = estimate.map(|(value, _)| format!("estimate {} {unit}, ", number(value))).unwrap_or_default();
    let result = result.map(|value| format!("result {} {unit}, ", number(value))).unwrap_or_default();
    format!("{estimate}{result}{verdict}")
}

fn over_time(
    label: &str,
    points: &[(Day, f64)],
    limits: &[(Day, f64)],
    limit_name: &str,
    unit: &Unit,
) -> Option<String> {
    const HEIGHT: f64 = 190.0;
    const LEFT: f64 = 52.0;
    const RIGHT: f64 = WIDTH - 8.0;
    const BOTTOM: f64 = HEIGHT - 24.0;
    let (&(first, _), &(last, _)) = (points.first()?, points.last()?);
    let all = || points.iter().chain(limits).map(|(_, value)| *value).filter(|value| value.is_finite());
    let (low, high) = all().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
    // A car with half of its parts listed would compress the rest of the chart: low values enter from below.
    let least = limits.iter().map(|(_, value)| *value).fold(f64::INFINITY, f64::min);
    let low = if least.is_finite() && least > 0.0 && high > 0.8 * least { low.max(0.8 * least) } else { low };
    let room = ((high - low) * 0.08).max(high.abs() * 1e-6);
    let y = Axis::new((low - room, high + room), (BOTTOM, 16.0));
    let days = |day: Day| f64::from(first.days_until(day));
    let x = Axis::new((0.0, days(last)), (LEFT, RIGHT));
    let across = |day: Day| x.position(days(day).clamp(0.0, days(last).max(0.0)));

    let mut out = open(HEIGHT, label);
    text(&mut out, 0.0, 10.0, "small", &unit.to_string());
    for value in y.ticks() {
        line(&mut out, (LEFT, y.position(value)), (RIGHT, y.position(value)), "grid");
        text(&mut out, LEFT - 6.0, y.position(value) + 4.0, "small end", &tick(value));
    }
    for (day, name) in months(first, last) {
        line(&mut out, (across(day), BOTTOM), (across(day), BOTTOM + 4.0), "axis");
        text(&mut out, across(day) + 2.0, HEIGHT - 6.0, "small", &name);
    }
    line(&mut out, (LEFT, BOTTOM), (RIGHT, BOTTOM), "axis");
    if let Some((_, start)) = limits.first() {
        let mut path = format!("M{} {}", coordinate(LEFT), coordinate(y.position(*start)));
        for (day, value) in &limits[1..] {
            let _ = write!(path, "H{}V{}", coordinate(across(*day)), coordinate(y.position(*value)));
        }
        let _ = write!(out, "<path d=\"{path}H{}\" class=\"limit {limit_name}\"/>", coordinate(RIGHT));
        let value = limits.last().map_or(*start, |(_, value)| *value);
        text(&mut out, RIGHT, y.position(value) - 4.0, "small end strong", limit_name);
    }
    let shown = points.iter().skip_while(|(_, value)| *value < low - room);
    let steps = shown
        .map(|(day, value)| format!("{} {}", coordinate(across(*day)), coordinate(y.position(value.max(low - room)))));
    let _ = write!(out, "<polyline points=\"{}\" class=\"course\"/>", steps.collect::<Vec<_>>().join(" "));
    for (day, value) in points.iter().take(1).chain(points.last()).filter(|(_, value)| *value >= low) {
        let _ = write!(
            out,
            "<circle cx=\"{}\" cy=\"{}\" r=\"3\" class=\"dot\"/>",
            coordinate(across(*day)),
            coordinate(y.position(*value))
        );
    }
    Some(out + "</svg>")
}

/// The first days of months between two days, at most seven of them.
fn months(first: Day, last: Day) -> Vec<(Day, String)> {
    let mut all = Vec::new();
    let mut date = first.date().last_of_month();
    while let Ok(next) = date.tomorrow() {
        if Day::from(next) > last || all.len() > 240 {
            break;
        }
        all.push((Day::from(next), next.strftime("%b").to_string()));
        date = next.last_of_month();
    }
    let every = all.len().div_ceil(7).max(1);
    all.into_iter().step_by(every).collect()
}
