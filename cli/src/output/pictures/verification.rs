//! Verification over time: what was planned to be closed by each day, and what was closed.

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
    /// The date of the result that closed it.
    pub(crate) closed: Option<Day>,
    /// What the result that closed it says: `passed`, `failed`, `uncertain`.
    pub(crate) outcome: String,
    /// Whether the record is safety-critical.
    pub(crate) safety_critical: bool,
}

impl Planned {
    fn is_late(&self, today: Day) -> bool {
        self.closed.is_none() && self.due.is_some_and(|due| due < today)
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
    let (due, closed) = (
        steps(all.iter().filter_map(|one| one.due).collect()),
        steps(all.iter().filter_map(|one| one.closed).collect()),
    );
    let caption = caption(input);
    let table = table(input);
    let days = || due.iter().chain(&closed).map(|(day, _)| *day).chain(input.today);
    let (Some(first), Some(last)) = (days().min(), days().max()) else {
        return Picture { table, ..Picture::sentence(format!("{caption}; none has a due date")) };
    };
    if due.is_empty() && closed.is_empty() || first == last {
        return Picture { table, ..Picture::sentence(caption) };
    }
    let alt = format!("Number of verifications over time, due and closed. {caption}");
    Picture::drawn(key, "Verification over time", caption, alt, table, |canvas, shape| {
        draw(canvas, shape, input, (&due, &closed), (first, last));
    })
}

fn caption(input: &Verification) -> String {
    let all = &input.planned;
    let closed = all.iter().filter(|one| one.closed.is_some()).count();
    let mut text = format!("{closed} of {} verifications are closed", all.len());
    let Some(today) = input.today else { return text };
    let late: Vec<&Planned> = all.iter().filter(|one| one.is_late(today)).collect();
    text.push_str(&match late.len() {
        0 => format!("; none that was due by {today} is without a result"),
        1 => format!("; 1 that was due by {today} has no result"),
        late => format!("; {late} that were due by {today} have no result"),
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
    let heads = [("record", false), ("method", false), ("due", false), ("closed", false), ("", false)];
    let mut table = PictureTable::new("Planned verifications, by due date", &heads);
    let mut all: Vec<&Planned> = input.planned.iter().collect();
    all.sort_by_key(|one| (one.due.is_none(), one.due));
    for one in all {
        let day = |day: Option<Day>| day.map(|day| day.to_string()).unwrap_or_default();
        let late = if input.today.is_some_and(|today| one.is_late(today)) { "late" } else { one.outcome.as_str() };
        table.row(&one.name, [one.method.clone(), day(one.due), day(one.closed), late.to_owned()]);
    }
    table
}

/// A count over time, in steps.
type Steps<'s> = &'s [(Day, usize)];

fn draw(
    canvas: &mut Canvas,
    shape: Shape,
    input: &Verification,
    (due, closed): (Steps<'_>, Steps<'_>),
    (first, last): (Day, Day),
) {
    let keys = [
        (Key::Line("goal"), "due"),
        (Key::Line("curve"), "closed"),
        (Key::Area(Fill::Class("behind")), "closed fewer than due"),
    ];
    let top = canvas.keys(0.0, &keys) + 4.0;
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
    behind(canvas, due, closed, x, y, (first, today));
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
    canvas.polyline(path(closed, closed.last().map_or(today, |(day, _)| *day).max(today.min(last))), "curve");
    if x.contains(today) && today < last {
        canvas.line((x.position(today), top), (x.position(today), bottom), "stage");
        canvas.try_text((x.position(today) - 3.0, top + 10.0), Align::End, "s", "today");
    }
    for (steps, word) in [(due, "due"), (closed, "closed")] {
        if let Some((day, count)) = steps.last() {
            let text = format!("{count} {word}");
            let (at, y) = (x.position(*day), y.position(*count as f64));
            let _ = canvas.try_text((at, y - 6.0), Align::End, "b", &text)
                || canvas.try_text((at, y + 16.0), Align::End, "b", &text);
        }
    }
}

/// Shades the time at which fewer were closed than due.
fn behind(canvas: &mut Canvas, due: Steps<'_>, closed: Steps<'_>, x: Days, y: Axis, (first, today): (Day, Day)) {
    let at = |steps: Steps<'_>, day: Day| steps.iter().rfind(|(own, _)| *own <= day).map_or(0, |(_, count)| *count);
    let mut days: Vec<Day> =
        due.iter().chain(closed).map(|(day, _)| *day).chain([first, today]).filter(|day| *day <= today).collect();
    days.sort_unstable();
    days.dedup();
    for pair in days.windows(2) {
        let (due, closed) = (at(due, pair[0]), at(closed, pair[0]));
        if due > closed {
            let (left, right) = (x.position(pair[0]), x.position(pair[1]));
            let (high, low) = (y.position(due as f64), y.position(closed as f64));
            canvas.rect((left, high), (right - left, low - high), Fill::Class("behind"));
        }
    }
}
