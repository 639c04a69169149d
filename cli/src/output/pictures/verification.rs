//! Verification over time: what was due by each day, and what had passed. A result that failed, or leaves it uncertain,
//! closes nothing: it is counted next to those without a result.

use schema::Day;

use super::scale::{Axis, Days, tick};
use super::svg::{Align, Canvas, Fill, Key, Shape};
use super::{Name, Picture, PictureTable};

/// The planned verifications.
#[derive(Clone, Debug, Default)]
pub(crate) struct Verification {
    /// One for each record and method.
    pub(crate) planned: Vec<Planned>,
    /// The date that is used as today.
    pub(crate) today: Option<Day>,
}

/// A planned verification.
#[derive(Clone, Debug, Default)]
pub(crate) struct Planned {
    /// The record.
    pub(crate) name: Name,
    /// The method.
    pub(crate) method: String,
    /// The due date.
    pub(crate) due: Option<Day>,
    /// The date of its latest result.
    pub(crate) result: Option<Day>,
    /// What its latest result says; `None` without one that can be read.
    pub(crate) outcome: Option<Outcome>,
    /// Whether the record is safety-critical.
    pub(crate) safety_critical: bool,
}

/// What the latest result of a verification says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// The record is met.
    Passed,
    /// It is not met.
    Failed,
    /// The limit is inside the uncertainty of the result.
    Uncertain,
}

impl Outcome {
    fn word(self) -> &'static str {
        match self {
            Self::Passed => "passed",
            Self::Failed => "failed",
            Self::Uncertain => "uncertain",
        }
    }
}

impl Planned {
    /// Whether it was due before today and has no result.
    fn is_late(&self, today: Day) -> bool {
        self.outcome.is_none() && self.due.is_some_and(|due| due < today)
    }

    /// The day on which it passed.
    fn passed(&self) -> Option<Day> {
        self.result.filter(|_| self.outcome == Some(Outcome::Passed))
    }
}

/// The number of dates until each day.
fn steps(mut dates: Vec<Day>) -> Vec<(Day, usize)> {
    dates.sort_unstable();
    let mut steps: Vec<(Day, usize)> = Vec::new();
    for (at, date) in dates.into_iter().enumerate() {
        match steps.last_mut() {
            Some(last) if last.0 == date => last.1 = at + 1,
            _ => steps.push((date, at + 1)),
        }
    }
    steps
}

/// Draws both curves.
pub(crate) fn picture(key: &str, input: &Verification) -> Picture {
    let all = &input.planned;
    if all.is_empty() {
        return Picture::sentence("No verification is planned");
    }
    let (due, passed) = (
        steps(all.iter().filter_map(|one| one.due).collect()),
        steps(all.iter().filter_map(Planned::passed).collect()),
    );
    let caption = caption(input);
    let table = table(input);
    let days = || due.iter().chain(&passed).map(|(day, _)| *day).chain(input.today);
    let (Some(first), Some(last)) = (days().min(), days().max()) else {
        return Picture { table, ..Picture::sentence(format!("{caption}; none has a due date")) };
    };
    if due.is_empty() && passed.is_empty() || first == last {
        return Picture { table, ..Picture::sentence(caption) };
    }
    let alt = format!("Number of verifications over time, due and passed. {caption}");
    Picture::drawn(key, "Verification over time", caption, alt, table, |canvas, shape| {
        draw(canvas, shape, input, (&due, &passed), (first, last));
    })
}

fn caption(input: &Verification) -> String {
    let all = &input.planned;
    let number = |outcome: Option<Outcome>| all.iter().filter(|one| one.outcome == outcome).count();
    let mut text = format!("{} of {} verifications passed", number(Some(Outcome::Passed)), all.len());
    let others =
        [(Some(Outcome::Failed), "failed"), (Some(Outcome::Uncertain), "uncertain"), (None, "without a result")];
    for (number, word) in others.map(|(outcome, word)| (number(outcome), word)) {
        if number > 0 {
            text.push_str(&format!(", {number} {word}"));
        }
    }
    let Some(today) = input.today else { return text };
    let late: Vec<&Planned> = all.iter().filter(|one| one.is_late(today)).collect();
    text.push_str(&match late.len() {
        0 => format!("; none was due before {today} without a result"),
        late => format!("; {late} due before {today} without a result"),
    });
    let critical = late.iter().filter(|one| one.safety_critical).count();
    if critical > 0 {
        text.push_str(&format!(" ({critical} safety-critical)"));
    }
    let oldest = late.iter().filter_map(|one| Some((one.due?, *one))).min_by_key(|(due, _)| *due);
    if let Some((due, one)) = oldest {
        text.push_str(&format!(", the oldest since {due}: {}", one.name.title));
    }
    text
}

fn table(input: &Verification) -> PictureTable {
    let heads = [("record", false), ("method", false), ("due", false), ("result of", false), ("outcome", false)];
    let mut table = PictureTable::new("Planned verifications, by due date", &heads);
    let mut all: Vec<&Planned> = input.planned.iter().collect();
    all.sort_by_key(|one| (one.due.is_none(), one.due));
    for one in all {
        let day = |day: Option<Day>| day.map(|day| day.to_string()).unwrap_or_default();
        let late = input.today.is_some_and(|today| one.is_late(today));
        let outcome = one.outcome.map_or(if late { "no result, overdue" } else { "no result" }, Outcome::word);
        table.row(&one.name, [one.method.clone(), day(one.due), day(one.result), outcome.to_owned()]);
    }
    table
}

/// A count over time, in steps.
type Steps<'s> = &'s [(Day, usize)];

fn draw(
    canvas: &mut Canvas,
    shape: Shape,
    input: &Verification,
    (due, passed): (Steps<'_>, Steps<'_>),
    (first, last): (Day, Day),
) {
    let keys = [
        (Key::Line("goal"), "due"),
        (Key::Line("curve"), "passed"),
        (Key::Area(Fill::Class("behind")), "fewer passed than due"),
    ];
    // With room for a number above the curves.
    let top = canvas.keys(0.0, &keys) + 16.0;
    let bottom = top + if shape.is_narrow() { 150.0 } else { 180.0 };
    let most = input.planned.len().max(1) as f64;
    let y = Axis::new((0.0, most), (bottom, top));
    let left = super::svg::text_width(&tick(most), "s") + 10.0;
    let right = canvas.width() - 8.0;
    let x = Days::new(first, last, (left, right));
    for value in y.ticks().into_iter().filter(|value| value.fract() == 0.0) {
        canvas.line((left, y.position(value)), (right, y.position(value)), "grid");
        canvas.try_text((left - 6.0, y.position(value) + 4.0), Align::End, "s", &tick(value));
    }
    x.months_below(canvas, bottom);
    let today = input.today.unwrap_or(last);
    behind(canvas, due, passed, x, y, (first, today));
    let path = |steps: Steps<'_>, until: Day| {
        let mut points = vec![(left, y.position(0.0))];
        for (day, count) in steps {
            let before = points.last().map_or(0.0, |point| point.1);
            points.extend([(x.position(*day), before), (x.position(*day), y.position(*count as f64))]);
        }
        let end = points.last().map_or(0.0, |point| point.1);
        points.push((x.position(until), end));
        points
    };
    canvas.polyline(path(due, last), "goal");
    let passed_until = passed.last().map_or(today, |(day, _)| *day).max(today.min(last));
    canvas.polyline(path(passed, passed_until), "curve");
    if x.contains(today) && today < last {
        canvas.line((x.position(today), top), (x.position(today), bottom), "stage");
        canvas.try_text((x.position(today) - 3.0, top + 10.0), Align::End, "s", "today");
    }
    // The number of the upper curve is above it; that of the lower one below, where both end close to each other.
    let ends = [(due, last, "due"), (passed, passed_until, "passed")];
    let mut ends: Vec<(f64, f64, String)> = ends
        .into_iter()
        .filter_map(|(steps, until, word)| {
            let (_, count) = steps.last()?;
            Some((x.position(until), y.position(*count as f64), format!("{count} {word}")))
        })
        .collect();
    ends.sort_by(|a, b| a.1.total_cmp(&b.1));
    let close = matches!(&ends[..], [a, b] if (a.0 - b.0).abs() < super::svg::text_width(&a.2, "b") + 8.0);
    for (number, (at, y, text)) in ends.iter().enumerate() {
        let down = if close && number == 1 { [16.0, 30.0] } else { [-6.0, 16.0] };
        let _ = down.into_iter().any(|down| canvas.try_text((*at, y + down), Align::End, "b", text));
    }
}

/// Shades the time at which fewer had passed than were due.
fn behind(canvas: &mut Canvas, due: Steps<'_>, passed: Steps<'_>, x: Days, y: Axis, (first, today): (Day, Day)) {
    let at = |steps: Steps<'_>, day: Day| match steps.partition_point(|(own, _)| *own <= day) {
        0 => 0,
        after => steps[after - 1].1,
    };
    let mut days: Vec<Day> =
        due.iter().chain(passed).map(|(day, _)| *day).chain([first, today]).filter(|day| *day <= today).collect();
    days.sort_unstable();
    days.dedup();
    for pair in days.windows(2) {
        let (due, passed) = (at(due, pair[0]), at(passed, pair[0]));
        if due > passed {
            let (left, right) = (x.position(pair[0]), x.position(pair[1]));
            let (high, low) = (y.position(due as f64), y.position(passed as f64));
            canvas.rect((left, high), (right - left, low - high), Fill::Class("behind"));
        }
    }
}
