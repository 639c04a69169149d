//! A value over the season, with its interval against what it needs, the stages, and the revisions.

use schema::Day;

use super::scale::{Axis, Days, tick};
use super::svg::{Align, Canvas, Fill, Key, Shape, text_width};
use super::typeset::typeset;
use super::waterfall::{BAND, BAND_FILL};
use super::{MAY_HAPPEN, Name, Picture, PictureTable};

/// A value over the season: the points of a goal, or an amount of the car.
#[derive(Clone, Debug, Default)]
pub(crate) struct OverTime {
    /// What it is: `Points predicted`, `Mass of the car`.
    pub(crate) title: String,
    /// Its unit as text.
    pub(crate) unit: String,
    /// The value at commits, oldest first, from the day on at which the car was complete on paper.
    pub(crate) moments: Vec<Moment>,
    /// Why the curve begins there, as the end of a sentence: `the curve begins on 2026-11-20, when …`.
    pub(crate) begins: Option<String>,
    /// What the value is compared with.
    pub(crate) against: Option<Against>,
    /// The stages of the season, in order.
    pub(crate) stages: Vec<StageSpan>,
    /// What was agreed on, by day.
    pub(crate) revisions: Vec<Revised>,
    /// What was reached at the end, with the word for it: `scored`.
    pub(crate) reached: Option<(String, f64)>,
}

/// The value at one commit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Moment {
    /// The day of the commit.
    pub(crate) day: Day,
    /// The value.
    pub(crate) value: f64,
    /// The ends of the interval that contains 95 % of what may happen.
    pub(crate) interval: Option<(f64, f64)>,
}

/// What a value is compared with over time.
#[derive(Clone, Debug)]
pub(crate) struct Against {
    /// What it is.
    pub(crate) words: AgainstWords,
    /// Its value from each day on, the first one from the beginning.
    pub(crate) steps: Vec<(Day, f64)>,
    /// The interval of a forecast.
    pub(crate) interval: Option<(f64, f64)>,
}

/// What a value is compared with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum AgainstWords {
    /// Its limit.
    Limit,
    /// What a goal needs: `place 8 needs`.
    Needed(String),
}

impl AgainstWords {
    fn key(&self) -> &str {
        match self {
            Self::Limit => "limit",
            Self::Needed(words) => words,
        }
    }
}

/// A stage of the season.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct StageSpan {
    /// Its name.
    pub(crate) name: String,
    /// Its last day; `None` for a stage without an end.
    pub(crate) last: Option<Day>,
}

/// A revision.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Revised {
    /// The day.
    pub(crate) day: Day,
    /// The revision.
    pub(crate) name: Name,
    /// What changed: `at most 205 kg to at most 207 kg`.
    pub(crate) change: String,
}

impl OverTime {
    fn show(&self, value: f64) -> String {
        let places = if self.unit == "pts" { 1 } else { schema::number::decimals(value, 4, 7) };
        let text = if self.unit == "pts" {
            schema::number::fixed(value, places)
        } else {
            schema::number::rounded(value, places)
        };
        typeset(&if self.unit.is_empty() { text } else { format!("{text} {}", self.unit) })
    }

    fn known(&self) -> Vec<Moment> {
        self.moments.iter().copied().filter(|moment| moment.value.is_finite()).collect()
    }

    fn caption(&self, first: Moment, last: Moment) -> String {
        let from = match self.show(first.value) == self.show(last.value) {
            true => format!("{}: {} since {}", self.title, self.show(last.value), first.day),
            false => format!(
                "{}: {} on {}, {} on {}",
                self.title,
                self.show(first.value),
                first.day,
                self.show(last.value),
                last.day
            ),
        };
        let against = self.against.as_ref().and_then(|against| {
            let (_, needed) = *against.steps.last()?;
            // As a reader subtracts the numbers in the caption.
            let difference = match self.unit == "pts" {
                true => schema::number::shown_change(needed, last.value, 1),
                false => last.value - needed,
            };
            let side = if difference < 0.0 { "below" } else { "above" };
            let difference = self.show(difference.abs());
            Some(match &against.words {
                AgainstWords::Limit => format!(", {difference} {side} its limit of {}", self.show(needed)),
                AgainstWords::Needed(words) => format!(", {difference} {side} the {} that {words}", self.show(needed)),
            })
        });
        let reached = self.reached.as_ref().map(|(word, value)| format!("; {word}: {}", self.show(*value)));
        let begins = self.begins.as_ref().map(|text| format!("; {text}"));
        [Some(from), against, reached, begins].into_iter().flatten().collect()
    }

    fn table(&self, moments: &[Moment]) -> PictureTable {
        let mut table = PictureTable::new(
            &self.title,
            &[("date", false), ("value", true), ("95 %", true), ("what happened", false)],
        );
        let mut rows: Vec<(Day, [String; 3])> = Vec::new();
        for (at, moment) in moments.iter().enumerate() {
            // A value that is the same before and after is in no row.
            let same = |other: Option<&Moment>| {
                other.is_some_and(|other| other.value == moment.value && other.interval == moment.interval)
            };
            if same(at.checked_sub(1).map(|at| &moments[at])) && at + 1 < moments.len() {
                continue;
            }
            let interval = moment.interval.map(|(low, high)| format!("{} to {}", self.show(low), self.show(high)));
            rows.push((moment.day, [self.show(moment.value), interval.unwrap_or_default(), String::new()]));
        }
        for revised in &self.revisions {
            let what = format!("revision {}: {}", revised.name.title, typeset(&revised.change));
            rows.push((revised.day, [String::new(), String::new(), what]));
        }
        for stage in &self.stages {
            rows.extend(
                stage.last.map(|last| {
                    (last, [String::new(), String::new(), format!("last day of the {} stage", stage.name)])
                }),
            );
        }
        rows.sort_by_key(|(day, _)| *day);
        for (day, cells) in rows {
            table.row(&Name::plain(day.to_string()), cells);
        }
        table
    }
}

/// Draws the curve; a sentence if there are no two commits to connect.
pub(crate) fn picture(key: &str, input: &OverTime) -> Picture {
    let moments = input.known();
    let (Some(first), Some(last)) = (moments.first().copied(), moments.last().copied()) else {
        return Picture::sentence(format!("{}: no value is recorded yet", input.title));
    };
    let caption = input.caption(first, last);
    if first.day == last.day {
        let caption = format!("{}: {} on {}, the only day with a value", input.title, input.show(last.value), last.day);
        return Picture { table: input.table(&moments), ..Picture::sentence(caption) };
    }
    let alt = format!("Curve over the season. {caption}");
    Picture::drawn(key, &input.title, caption, alt, input.table(&moments), |canvas, shape| {
        draw(canvas, shape, input, &moments, (first.day, last.day));
    })
}

fn draw(canvas: &mut Canvas, shape: Shape, input: &OverTime, moments: &[Moment], (first, last): (Day, Day)) {
    let mut keys = vec![(Key::Line("curve"), input.title.as_str())];
    if moments.iter().any(|moment| moment.interval.is_some()) {
        keys.push((Key::Area(Fill::Class("around")), MAY_HAPPEN));
    }
    if let Some(against) = &input.against {
        keys.push((Key::Line("goal"), against.words.key()));
        if against.interval.is_some_and(|(low, high)| high > low) {
            keys.push((Key::Area(BAND_FILL), BAND));
        }
    }
    if input.revisions.iter().any(|revised| (first..=last).contains(&revised.day)) {
        keys.push((Key::Diamond("revised"), "revision"));
    }
    if let Some((word, _)) = &input.reached {
        keys.push((Key::Diamond("result"), word));
    }
    let stages_top = canvas.keys(0.0, &keys);
    let top = stages_top + if input.stages.is_empty() { 2.0 } else { 20.0 };
    let bottom = top + if shape.is_narrow() { 190.0 } else { 230.0 };
    let against = input.against.iter();
    let compared = against.clone().flat_map(|against| {
        let (low, high) = against.interval.unwrap_or((f64::NAN, f64::NAN));
        against.steps.iter().map(|(_, value)| *value).chain([low, high])
    });
    let own = moments.iter().flat_map(|moment| {
        let (low, high) = moment.interval.unwrap_or((moment.value, moment.value));
        [moment.value, low, high]
    });
    let reached = input.reached.iter().map(|(_, value)| *value);
    let y = Axis::around(own.chain(compared).chain(reached), (bottom, top));
    let texts: Vec<(f64, String)> = y.ticks().into_iter().map(|value| (value, typeset(&tick(value)))).collect();
    let widest = texts.iter().map(|(_, text)| text_width(text, "s")).fold(24.0, f64::max);
    let left = widest.min(0.4 * canvas.width()) + 8.0;
    let x = Days::new(first, last, (left, canvas.width() - 8.0));
    for (value, text) in &texts {
        canvas.line((left, y.position(*value)), (canvas.width() - 8.0, y.position(*value)), "grid");
        canvas.try_text((left - 6.0, y.position(*value) + 4.0), Align::End, "s", text);
    }
    canvas.try_text((0.0, top - 8.0), Align::Start, "s", &typeset(&input.unit));
    stages(canvas, input, x, (top, bottom), (first, last));
    around(canvas, moments, x, y);
    band(canvas, input, x, y, (first, last));
    x.months_below(canvas, bottom);
    canvas.polyline(moments.iter().map(|moment| (x.position(moment.day), y.inside(moment.value))), "curve");
    for moment in [moments.first(), moments.last()].into_iter().flatten() {
        canvas.circle((x.position(moment.day), y.inside(moment.value)), 3.5, "point");
    }
    for revised in input.revisions.iter().filter(|revised| x.contains(revised.day)) {
        canvas.diamond((x.position(revised.day), bottom - 8.0), "revised");
    }
    if let Some((_, value)) = &input.reached {
        let (across, up) = (canvas.width() - 8.0, y.inside(*value));
        canvas.diamond((across, up), "result");
        canvas.keep_free([across - 7.0, up - 7.0, across + 7.0, up + 7.0]);
        canvas.try_text((across - 10.0, up + 4.5), Align::End, "b", &input.show(*value));
    }
    values_at_ends(canvas, input, moments, x, y);
}

/// The first and the last value, above or below the curve where there is room.
fn values_at_ends(canvas: &mut Canvas, input: &OverTime, moments: &[Moment], x: Days, y: Axis) {
    for (moment, align) in [(moments.last(), Align::End), (moments.first(), Align::Start)] {
        let Some(moment) = moment else { continue };
        let (across, up) = (x.position(moment.day), y.inside(moment.value));
        let text = input.show(moment.value);
        let _ = canvas.try_text((across, up - 9.0), align, "b", &text)
            || canvas.try_text((across, up + 20.0), align, "b", &text)
            || canvas.try_text((across, up + 34.0), align, "b", &text);
    }
}

/// Vertical lines at the ends of stages, with the names above.
fn stages(canvas: &mut Canvas, input: &OverTime, x: Days, (top, bottom): (f64, f64), (first, last): (Day, Day)) {
    let mut from = first;
    for stage in &input.stages {
        let to = stage.last.unwrap_or(last).min(last);
        if to < first || from > last {
            continue;
        }
        let (left, right) = (x.position(from), x.position(to));
        let room = right - left - 4.0;
        let name = super::svg::cut(&stage.name, "s", room);
        canvas.try_text((0.5 * (left + right), top - 6.0), Align::Middle, "s", &name);
        if to < last {
            canvas.line((right, top - 16.0), (right, bottom), "stage");
        }
        from = to;
    }
}

/// What the value is compared with.
fn band(canvas: &mut Canvas, input: &OverTime, x: Days, y: Axis, (first, last): (Day, Day)) {
    let Some(against) = &input.against else { return };
    let (left, right) = (x.position(first), x.position(last));
    if let Some((low, high)) = against.interval.filter(|(low, high)| high > low) {
        canvas.rect((left, y.inside(high)), (right - left, y.inside(low) - y.inside(high)), BAND_FILL);
    }
    // A step before the curve begins is where the line begins.
    let begin = against.steps.iter().rposition(|(day, _)| *day <= first).unwrap_or(0);
    let Some((_, start)) = against.steps.get(begin) else { return };
    let mut points = vec![(left, y.inside(*start))];
    for (day, value) in &against.steps[begin + 1..] {
        let before = points.last().map_or(0.0, |point| point.1);
        points.extend([(x.position(*day), before), (x.position(*day), y.inside(*value))]);
    }
    let end = points.last().map_or(0.0, |point| point.1);
    points.push((right, end));
    canvas.polyline(points, "goal");
}

/// The interval around the curve.
fn around(canvas: &mut Canvas, moments: &[Moment], x: Days, y: Axis) {
    let known = moments.iter().filter_map(|moment| Some((x.position(moment.day), moment.interval?)));
    let known: Vec<(f64, (f64, f64))> = known.collect();
    if known.len() > 1 {
        let above = known.iter().map(|(x, (_, high))| (*x, y.inside(*high)));
        let below = known.iter().rev().map(|(x, (low, _))| (*x, y.inside(*low)));
        canvas.polygon(above.chain(below), "around");
    }
}
