//! Tables of past contests: those that cannot be read are reported.

use std::sync::Arc;

use foldhash::{HashMap, HashMapExt as _};
use models::standings::{Next, PastContest, forecast, points_for_place};
use schema::quantity::Unit;
use schema::records::{Goal, PastValue};

use super::builder::{Builder, Field};
use crate::Loaded;
use crate::evidence::MOST_BYTES;
use crate::ids::{NodeId, RecordId};
use crate::table::{MOST_ROWS_OF_STATE, Tables, count_rows};
use crate::values::needed::{next_year, past_contests, year_of};
use crate::values::problems::ValueProblemKind;
use crate::values::tables::{self, Row, TableError};

/// The usual deviation of a best time from year to year, relative to the time.
///
/// In seven contests of 2013 to 2019 it was 3 to 6 %, with the weather of the day and changes of the track.
const USUAL_DEVIATION: f64 = 0.04;

/// The tables of past contests of a state: each is read once, and each answer is found once.
pub(super) struct PastTables {
    tables: Tables,
    years: HashMap<YearsKey, Result<Vec<(i32, f64)>, TableError>>,
    contests: HashMap<[String; 4], Result<Arc<Vec<PastContest>>, TableError>>,
    /// The rows of the contests that may still be looked at.
    left: usize,
}

/// Numbers of past contests: a file with its content, the columns with the year and the number, and the event.
#[derive(Clone, Copy)]
struct Asked<'a> {
    file: &'a str,
    bytes: &'a [u8],
    names: [&'a str; 2],
    event: Option<&'a str>,
}

/// A file, the columns with the year and the number, and the event.
type YearsKey = ([String; 3], Option<String>);

impl Default for PastTables {
    fn default() -> Self {
        let tables = Tables::new(MOST_BYTES);
        Self { tables, years: HashMap::new(), contests: HashMap::new(), left: MOST_ROWS_OF_STATE }
    }
}

impl PastTables {
    /// The smallest number of each year.
    fn years(&mut self, asked: Asked<'_>) -> Result<Vec<(i32, f64)>, TableError> {
        let [year, value] = asked.names;
        let key = ([asked.file, year, value].map(str::to_owned), asked.event.map(str::to_owned));
        if let Some(known) = self.years.get(&key) {
            return known.clone();
        }
        let found = self.rows(asked).and_then(years);
        self.years.insert(key, found.clone());
        found
    }

    fn rows(&mut self, asked: Asked<'_>) -> Result<Vec<Row<2>>, TableError> {
        let Asked { file, bytes, names, event } = asked;
        let too_large = || {
            let message = "the tables of past contests are too large together";
            TableError::new(None, message, "use smaller files with only the columns and rows that are needed")
        };
        if !self.tables.add(file, bytes) {
            return Err(too_large());
        }
        let (table, left) = self.tables.get(file).ok_or_else(too_large)??;
        let columns = [table.first_named(names[0])?, table.first_named(names[1])?];
        let only = event.map(|event| Ok((table.first_named("event")?, event))).transpose()?;
        if let Some((column, _)) = only {
            count_rows(left, table.read_column(column))?;
        }
        let found: Vec<usize> = match only {
            Some((column, event)) => {
                table.rows_with(column, event).filter(|row| table.cell(*row, column) == event).collect()
            }
            None => (0..table.rows()).collect(),
        };
        count_rows(left, found.len())?;
        let mut rows = Vec::with_capacity(found.len());
        for row in found {
            let line = table.line(row);
            if rows.len() == tables::MOST_ROWS {
                return Err(tables::too_many_rows(line));
            }
            let mut cells = [0.0; 2];
            for ((cell, column), name) in cells.iter_mut().zip(columns).zip(names) {
                *cell = tables::number(table.cell(row, column), name, || line)?;
            }
            rows.push(Row { line, cells });
        }
        table.error.clone().map_or(Ok(rows), Err)
    }

    /// The contests of a goal: read once, and counted for each.
    fn contests(&mut self, loaded: &Loaded, goal: &Goal) -> Option<Result<Arc<Vec<PastContest>>, TableError>> {
        let table = goal.past_standings.as_ref()?;
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let key = [&table.file, &table.year, &table.place, &table.total].map(text);
        let found = match self.contests.get(&key) {
            Some(known) => known.clone(),
            None => {
                let found = past_contests(loaded, goal)?.map(Arc::new);
                self.contests.insert(key, found.clone());
                found
            }
        };
        Some(found.and_then(|contests| {
            let rows = contests.iter().map(|contest| contest.totals.len()).sum();
            count_rows(&mut self.left, rows).map(|()| contests)
        }))
    }
}

/// The smallest number of each year, in the order of the rows.
fn years(rows: Vec<Row<2>>) -> Result<Vec<(i32, f64)>, TableError> {
    let mut years: Vec<(i32, f64)> = Vec::new();
    let mut places: HashMap<i32, usize> = HashMap::new();
    for row in rows {
        let [_, number] = row.cells;
        let year = year_of(&row, 0)?;
        match places.get(&year) {
            Some(place) => years[*place].1 = years[*place].1.min(number),
            None => {
                places.insert(year, years.len());
                years.push((year, number));
            }
        }
    }
    Ok(years)
}

impl Builder<'_> {
    /// Sets a node to the forecast from past contests, with its expanded uncertainty (95 %).
    pub(super) fn set_past_value(&mut self, node: NodeId, name: &str, past: &PastValue, field: &Field) {
        self.fields[node] = field.clone();
        let loaded = &*self.graph.loaded;
        // A file that is absent is reported with all other names of files.
        let Some(content) = loaded.table(&past.past) else { return };
        let unit = match Unit::parse(past.unit.as_deref().unwrap_or("s")) {
            Ok(unit) => unit,
            Err(error) => {
                self.report(
                    ValueProblemKind::Unit,
                    field,
                    0,
                    error,
                    "write the unit of the numbers, for example `unit: s`",
                );
                return;
            }
        };
        let names = [past.year.as_deref().unwrap_or("year"), past.value.as_deref().unwrap_or(name)];
        let years = match content {
            Ok(bytes) => {
                let event = past.event.as_deref();
                self.past_tables.years(Asked { file: &past.past, bytes, names, event })
            }
            Err(problem) => Err(TableError::of_file(problem)),
        };
        let years = match years {
            Ok(years) => years,
            Err(error) => {
                self.report_table(&past.past, &error, field);
                return;
            }
        };
        let next = Next { year: next_year(loaded, years.iter().map(|(year, _)| *year)), most: None, level: 0.95 };
        let mean = years.iter().map(|(_, number)| number.abs()).sum::<f64>() / years.len().max(1) as f64;
        match forecast(years, USUAL_DEVIATION * mean, next) {
            Ok(found) => {
                let (value, reach) = (found.points * unit.factor(), (found.high - found.points) * unit.factor());
                self.set_value(node, (unit, value, reach), field);
            }
            Err(_) if past.event.is_some() => {
                let event = past.event.as_deref().unwrap_or("");
                let message = format!("{}: no row has `{}` under `event`", past.past, schema::words::shorten(event));
                self.report(ValueProblemKind::Table, field, 0, message, "write the event as in the table");
            }
            Err(error) => {
                let help = "list one number for each past contest";
                self.report(ValueProblemKind::Table, field, 0, format!("{}: {error}", past.past), help);
            }
        }
    }

    /// Reads the past standings of each goal, and reports those that cannot be read, or that give no forecast.
    pub(super) fn past_standings(&mut self) {
        let loaded = &*self.graph.loaded;
        let goals: Vec<(RecordId, &Goal)> = loaded.goals().map(|(index, _, goal)| (index, goal)).collect();
        for (index, goal) in goals {
            let Some(file) = goal.past_standings.as_ref().and_then(|table| table.file.as_deref()) else { continue };
            let field = Field::new(index, &["past-standings", "file"]);
            let Some(contests) = self.past_tables.contests(loaded, goal) else { continue };
            match &contests {
                Err(error) => self.report_table(file, error, &field),
                Ok(contests) => {
                    let next = Next { year: 0, most: None, level: crate::values::LEVEL };
                    if let Some(Err(error)) = goal.place.map(|place| points_for_place(contests, place, next)) {
                        let help = "list every car of each past contest, with its place and total";
                        self.report(ValueProblemKind::Table, &field, 0, format!("{file}: {error}"), help);
                    }
                }
            }
            self.past.insert(index, contests);
        }
    }
}
