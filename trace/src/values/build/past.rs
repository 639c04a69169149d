//! Tables of past contests: those that cannot be read are reported.

use foldhash::{HashMap, HashMapExt as _};
use models::standings::{Next, forecast, points_for_place};
use schema::quantity::Unit;
use schema::records::{Goal, PastValue};

use super::builder::{Builder, Field};
use crate::ids::{NodeId, RecordId};
use crate::values::needed::{next_year, past_contests, year_of};
use crate::values::problems::ValueProblemKind;
use crate::values::tables::{self, TableError};

/// The usual deviation of a best time from year to year, relative to the time.
///
/// In seven contests of 2013 to 2019 it was 3 to 6 %, with the weather of the day and changes of the track.
const USUAL_DEVIATION: f64 = 0.04;

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
        let only = past.event.as_deref().map(|event| ("event", event));
        let rows = match content {
            Ok(bytes) => tables::columns_where(bytes, names, only),
            Err(problem) => Err(TableError::of_file(problem)),
        };
        let rows = match rows {
            Ok(rows) => rows,
            Err(error) => {
                self.report_table(&past.past, &error, field);
                return;
            }
        };
        let mut years: Vec<(i32, f64)> = Vec::new();
        let mut places: HashMap<i32, usize> = HashMap::new();
        for row in rows {
            let [_, number] = row.cells;
            let year = match year_of(&row, 0) {
                Ok(year) => year,
                Err(error) => {
                    self.report_table(&past.past, &error, field);
                    return;
                }
            };
            match places.get(&year) {
                Some(place) => years[*place].1 = years[*place].1.min(number),
                None => {
                    places.insert(year, years.len());
                    years.push((year, number));
                }
            }
        }
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
            let Some(contests) = past_contests(loaded, goal) else { continue };
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
