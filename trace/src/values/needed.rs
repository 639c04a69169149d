//! The points that a goal needs: its own points, or a forecast for its place from past contests.

use std::sync::Arc;

use foldhash::HashMap;
use models::standings::{Forecast, Next, PastContest, points_for_place, total_of_place};
use schema::records::Goal;

use super::{Key, Spread, Values, tables};
use crate::ids::{NodeId, RecordId};

/// The probability of the interval of the points that a place needs.
pub const LEVEL: f64 = 0.9;
/// With fewer past years than this, the forecast rests mostly on what is usual.
pub const FEW_YEARS: usize = 4;

/// The points that the goal needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Needed {
    /// The points to plan for.
    pub points: f64,
    /// The lower end of the interval that contains the next year with probability [`LEVEL`]; the points for a goal in points.
    pub low: f64,
    /// The upper end of the interval.
    pub high: f64,
    /// The years of the past standings that were used.
    pub years: Vec<i32>,
    /// Years that are skipped because they have fewer cars than the place.
    pub too_small: Vec<i32>,
    /// The forecast; `None` for a goal in points.
    pub forecast: Option<Forecast>,
}

impl Needed {
    /// A goal in points.
    fn exactly(points: f64) -> Self {
        Self { points, low: points, high: points, years: Vec::new(), too_small: Vec::new(), forecast: None }
    }

    /// Whether the years are too few for the forecast to rest on them.
    pub fn has_few_years(&self) -> bool {
        self.forecast.is_some() && self.years.len() < FEW_YEARS
    }

    /// The probability that a total is enough: over equally probable forecasts of what is needed.
    pub fn chance_of(&self, total: &Spread) -> f64 {
        let needed = self.forecast.as_ref().map_or_else(|| vec![self.points - 1e-9], Forecast::sample);
        needed.iter().map(|needed| total.chance_of(*needed, 0.0)).sum::<f64>() / needed.len() as f64
    }
}

impl Values {
    /// The points that a goal needs, or why they cannot be calculated.
    pub(super) fn needed(&self, index: RecordId, node: NodeId, goal: &Goal) -> Result<Needed, String> {
        if let Some(points) = &goal.points {
            return Ok(Needed::exactly(points.si()));
        }
        let place = goal.place.ok_or("the goal has neither a place nor points")?;
        let table = goal.past_standings.as_ref().ok_or("the goal has no table under `past-standings`")?;
        let file = table.file.as_deref().ok_or("`past-standings` has no `file`")?;
        let contests = self.past.get(&index).ok_or_else(|| format!("{file} is missing"))?;
        let contests = contests.as_ref().map_err(|error| format!("{file}, {error}"))?;
        let next = self.next(node, contests);
        let forecast = points_for_place(contests, place, next).map_err(|error| format!("{file}: {error}"))?;
        let years = forecast.years.iter().map(|(year, _)| *year).collect();
        let (points, low, high) = (forecast.points, forecast.low, forecast.high);
        Ok(Needed { points, low, high, years, too_small: forecast.too_small.clone(), forecast: Some(forecast) })
    }

    /// The next contest of a goal.
    fn next(&self, node: NodeId, contests: &[PastContest]) -> Next {
        let year = next_year(&self.graph.loaded, contests.iter().map(|contest| contest.year));
        Next { year, most: self.most_points(node), level: LEVEL }
    }

    /// The place that a total is expected to take in the next contest: the first one that needs no more points than that.
    /// `None` without past contests, or if the last place that they have needs more.
    pub fn place_for(&self, goal: RecordId, points: f64) -> Option<u32> {
        let node = self.record_node(goal)?;
        let contests = self.past.get(&goal)?.as_ref().ok()?;
        let next = self.next(node, contests);
        let is_enough = |place: u32| points_for_place(contests, place, next).is_ok_and(|own| own.points <= points);
        let last = contests.iter().map(|contest| contest.totals.len()).max()?.try_into().ok()?;
        // A better place needs more points, so that the first place that is enough is found by halving.
        let (mut low, mut high) = (1, last);
        while low < high {
            let middle = low + (high - low) / 2;
            if is_enough(middle) { high = middle } else { low = middle + 1 }
        }
        is_enough(low).then_some(low)
    }

    /// What the place of a goal scored in the contest of the season, and its year, if the table of past contests has it by now.
    pub fn scored_by_place(&self, goal: RecordId) -> Option<(i32, f64)> {
        let place = self.graph.loaded.goal(goal)?.place?;
        let season = i32::from(self.graph.loaded.settings().season?);
        let contest = self.past.get(&goal)?.as_ref().ok()?.iter().find(|contest| contest.year == season)?;
        Some((season, total_of_place(contest, place).ok()??))
    }

    /// The most points that all events together can score, if each of them says it.
    fn most_points(&self, goal: NodeId) -> Option<f64> {
        let available = self.available(goal);
        let events = || {
            self.network.nodes[goal].inputs.iter().map(|event| match self.keys[*event] {
                Key::Record(event) => self.most(event),
                Key::Part(..) | Key::Group(..) | Key::Local(..) | Key::NotInParts(_) => None,
            })
        };
        available.total.or_else(|| events().sum::<Option<f64>>().filter(|total| *total > 0.0))
    }
}

/// The year that is forecast: the season, or the year after the last past one if that is later.
pub(super) fn next_year(loaded: &crate::Loaded, past: impl Iterator<Item = i32>) -> i32 {
    let season = loaded.settings().season.map_or(0, i32::from);
    past.max().map_or(season, |last| season.max(last.saturating_add(1)))
}

/// The past contests of each goal, as far as it names a table that is there: what it contains, or why it cannot be read.
pub(super) type Past = HashMap<RecordId, Result<Arc<Vec<PastContest>>, tables::TableError>>;

/// The contests in the table of a goal; `None` if it names no table, or one that is absent.
pub(super) fn past_contests(
    loaded: &crate::Loaded,
    goal: &Goal,
) -> Option<Result<Vec<PastContest>, tables::TableError>> {
    let table = goal.past_standings.as_ref()?;
    let bytes = match loaded.table(table.file.as_deref()?)? {
        Ok(bytes) => bytes,
        Err(problem) => return Some(Err(tables::TableError::of_file(problem))),
    };
    let column = |name: &Option<String>, default: &str| name.clone().unwrap_or_else(|| default.to_owned());
    let names = [column(&table.year, "year"), column(&table.place, "place"), column(&table.total, "total")];
    Some(tables::columns(bytes, names.each_ref().map(String::as_str)).and_then(contests))
}

/// The year in a column of a row.
pub(super) fn year_of<const N: usize>(row: &tables::Row<N>, column: usize) -> Result<i32, tables::TableError> {
    let year = row.cells[column];
    if year.fract() != 0.0 || !(1900.0..=2200.0).contains(&year) {
        return Err(row.error(&format!("{year} is not a year"), "write the year of the contest, for example 2026"));
    }
    Ok(year as i32)
}

fn contests(rows: Vec<tables::Row<3>>) -> Result<Vec<PastContest>, tables::TableError> {
    let mut contests: Vec<PastContest> = Vec::new();
    // The total of each year and place.
    let mut known: HashMap<(i32, u32), f64> = HashMap::default();
    for row in rows {
        let [_, place, total] = row.cells;
        let year = year_of(&row, 0)?;
        if place.fract() != 0.0 || !(1.0..=100_000.0).contains(&place) {
            return Err(
                row.error(&format!("{place} is not a place"), "write the place as a number from 1, or remove the row")
            );
        }
        let place = place as u32;
        if let Some(other) = known.insert((year, place), total).filter(|other| *other != total) {
            let message = format!("place {place} of {year} has {total} points here, and {other} points above");
            return Err(row.error(&message, "give each car its place; only cars with the same total share one"));
        }
        // A year is one of three hundred.
        match contests.iter_mut().find(|contest| contest.year == year) {
            Some(contest) => contest.totals.push((place, total)),
            None => contests.push(PastContest { year, totals: vec![(place, total)] }),
        }
    }
    Ok(contests)
}
