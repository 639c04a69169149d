//! Numbers of records that are read from evidence files: `value: {from: test/runs.csv, column: time, take: lowest}`.
//!
//! They are read when a state is loaded, so that everything after it sees an ordinary quantity. The statistics are in
//! [`models::readings`]; the file is read as in [`crate::values`]. What a file said at earlier commits is added to the
//! history in `history/evidence.rs`.

mod column;

use std::sync::Arc;

use models::readings::{Combined, Sample, combined, percentile};
use schema::Quantity;
use schema::quantity::Unit;
use schema::records::{Reading, Take};
use schema::words::shorten;

use crate::ids::RecordId;
use crate::load::is_table_name;
use crate::snapshot::Content;
use crate::study::Study;
use crate::table::Tables;
use crate::values::{Origin, TableError, ValueProblemKind};

/// A number that was read from an evidence file.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// The number, with its expanded uncertainty (k = 2) if it is known.
    pub quantity: Quantity,
    /// The number of rows that were used.
    pub rows: usize,
    /// The number of rows of the file.
    pub of: usize,
    /// The experimental standard deviation of the readings, in the unit of the number; `None` for one reading and for a count.
    pub deviation: Option<f64>,
    /// The standard uncertainty of the mean, `s / sqrt(n)`; `None` for what is not a mean.
    pub of_mean: Option<f64>,
    /// The standard uncertainty of the instrument; `None` if it is not set.
    pub instrument: Option<f64>,
    /// Student's factor with which the expanded uncertainty was calculated, if there is one.
    pub coverage: Option<f64>,
}

/// Why a number cannot be read: the key below the number, and what is wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct Unread {
    pub(crate) kind: ValueProblemKind,
    pub(crate) key: Vec<String>,
    /// What is wrong.
    pub message: String,
    pub(crate) help: String,
}

impl Unread {
    fn new(kind: ValueProblemKind, key: &str, message: impl Into<String>, help: impl Into<String>) -> Self {
        Self { kind, key: vec![key.to_owned()], message: message.into(), help: help.into() }
    }

    fn of_table(file: &str, key: &str, error: &TableError) -> Self {
        Self::new(ValueProblemKind::Table, key, format!("{}, {error}", shorten(file)), error.help.clone())
    }
}

/// A number of a record that is read from a file.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadNumber {
    /// The record.
    pub record: RecordId,
    /// The keys below the record.
    pub route: Vec<String>,
    /// Where it is read, as its record has it.
    pub reading: Arc<Reading>,
    /// What was read.
    pub taken: Result<Taken, Unread>,
}

/// What was taken of a file, as a phrase: `lowest of `time`, run valid, 12 of 15 rows`.
pub fn shown(reading: &Reading, taken: &Taken) -> String {
    let column = reading.column.as_ref().map(|column| format!("`{}`", shorten(column)));
    let mut text = match (reading.take, column) {
        (Some(Take::Count), _) => "count".to_owned(),
        (Some(take @ Take::Percentile(_)), Some(column)) => format!("{take} percentile of {column}"),
        (Some(take), Some(column)) => format!("{take} of {column}"),
        (None, Some(column)) => column,
        (take, None) => take.map(|take| take.to_string()).unwrap_or_default(),
    };
    for (column, cell) in reading.r#where.iter() {
        text.push_str(&format!(", {} {}", shorten(column), shorten(cell)));
    }
    let rows = if taken.of == 1 { "row" } else { "rows" };
    text.push_str(&match taken.rows == taken.of {
        true => format!(", {} {rows}", taken.of),
        false => format!(", {} of {} {rows}", taken.rows, taken.of),
    });
    text
}

impl Study {
    /// The numbers of a record that are read from evidence files; for a target, also the one that is its value.
    pub fn readings_behind(&self, index: RecordId) -> Vec<&ReadNumber> {
        let loaded = &self.loaded;
        let mut all: Vec<&ReadNumber> = loaded.readings_of(index).collect();
        if loaded.readings.is_empty() || loaded.target(index).is_none() {
            return all;
        }
        let id = loaded.record(index).id.as_str();
        let (from, route) = match self.values().origin(index) {
            Origin::Result(result) => (result, vec!["value"]),
            Origin::Analysis(analysis) => (analysis, vec!["finds", id]),
            _ => return all,
        };
        all.extend(loaded.readings_of(from).filter(|own| own.route.iter().eq(route.iter())));
        all
    }
}

/// The bytes that may be read for all numbers of a state together; a table that is still in memory is not read again.
pub(crate) const MOST_BYTES: usize = 256 << 20;

/// Reads a number of a table that is in memory; `None` if it is not.
pub(crate) fn read_known(reading: &Reading, name: &str, tables: &mut Tables) -> Option<Result<Taken, Unread>> {
    let found = match tables.get(name)? {
        Ok((table, left)) => column::read(table, reading, left),
        Err(error) => Err((vec!["from".to_owned()], error)),
    };
    Some(match found {
        Ok(found) => take(reading, &found),
        Err((key, error)) => Err(Unread { key, ..Unread::of_table(&reading.from, "", &error) }),
    })
}

/// Reads a number, given the content of its file: `None` if the file is absent. `name` is that of its table in memory.
pub(crate) fn read(
    reading: &Reading,
    content: Option<&Content>,
    name: &str,
    tables: &mut Tables,
) -> Result<Taken, Unread> {
    let file = &*reading.from;
    let table = |key: &str, error: &TableError| Unread::of_table(file, key, error);
    if !is_table_name(file) {
        let message = format!("`{}` is not the name of a CSV file", shorten(file));
        let help = "save the table as CSV, with a name that ends in `.csv`";
        return Err(Unread::new(ValueProblemKind::Table, "from", message, help));
    }
    let bytes = match content {
        Some(Ok(bytes)) => bytes,
        Some(Err(problem)) => return Err(table("from", &TableError::of_file(problem))),
        None => {
            let message = format!("file missing or empty: `{}`", shorten(file));
            let help = "add the file (with `--staged` it must be staged too), or correct its path (relative to the \
                        project root)";
            return Err(Unread::new(ValueProblemKind::Table, "from", message, help));
        }
    };
    let too_large = || {
        let message = format!("{}: the files that numbers are read from are too large together", shorten(file));
        let help = "use smaller files with only the columns and rows that are needed";
        Err(Unread::new(ValueProblemKind::Table, "from", message, help))
    };
    if !tables.add(name, bytes) {
        return too_large();
    }
    read_known(reading, name, tables).unwrap_or_else(too_large)
}

/// Takes the number from the readings.
fn take(reading: &Reading, found: &column::Readings) -> Result<Taken, Unread> {
    let (all, rows, of) = (&found.numbers, found.rows, found.of);
    let nothing = Taken {
        quantity: Quantity::calculated(rows as f64, Unit::dimensionless(), None),
        rows,
        of,
        deviation: None,
        of_mean: None,
        instrument: None,
        coverage: None,
    };
    if reading.take == Some(Take::Count) {
        let other = [("unit", reading.unit.is_some()), ("instrument", !reading.instrument.0.is_empty())];
        return match other.into_iter().find(|(_, is_set)| *is_set) {
            Some((key, _)) => {
                let message = format!("`take: count` gives a number of rows, which has no {key}");
                Err(Unread::new(ValueProblemKind::Bad, key, message, format!("remove `{key}`")))
            }
            None => Ok(nothing),
        };
    }
    let unit = unit(reading, found)?;
    let too_large = || {
        let message = format!("the readings under `{}` are too large", column_name(reading));
        Unread::new(ValueProblemKind::Number, "column", message, "use numbers that can be added")
    };
    let sample = Sample::new(all).ok_or_else(too_large)?;
    let value = match reading.take {
        Some(Take::Mean) => Some(sample.mean),
        Some(Take::Lowest) => all.iter().copied().reduce(f64::min),
        Some(Take::Highest) => all.iter().copied().reduce(f64::max),
        Some(Take::Median) => percentile(all, 0.5),
        Some(Take::Percentile(share)) => percentile(all, share),
        Some(Take::Last) => all.last().copied(),
        Some(Take::Count) | None if all.len() > 1 => {
            let message = format!("{}: {} rows, and `take` is missing", shorten(&reading.from), all.len());
            let help = "add `take: lowest`, `highest`, `mean`, `median`, `last`, `count` or a percentile such as `95 %`; \
                        or choose one row with `where`";
            return Err(Unread::new(ValueProblemKind::Table, "from", message, help));
        }
        Some(Take::Count) | None => all.first().copied(),
    };
    let value = value.filter(|value| unit.to_si(*value).is_finite()).ok_or_else(too_large)?;
    let instrument = instrument(reading, &unit)?;
    let of_mean = sample.of_mean().filter(|_| reading.take == Some(Take::Mean));
    let scatter = of_mean.map(|own| (own, sample.count as f64 - 1.0));
    let known = (of_mean.is_some() || instrument.is_some()).then(|| combined(scatter, instrument.unwrap_or(0.0)));
    let known = known.filter(|known| known.expanded > 0.0 && known.expanded.is_finite());
    Ok(Taken {
        quantity: Quantity::calculated(value, unit, known.map(|Combined { expanded, .. }| expanded)),
        deviation: sample.deviation,
        of_mean,
        instrument,
        coverage: known.map(|known| known.coverage),
        ..nothing
    })
}

fn column_name(reading: &Reading) -> &str {
    reading.column.as_deref().unwrap_or("")
}

/// The unit of the readings: as it is set, otherwise that of the first line.
fn unit(reading: &Reading, found: &column::Readings) -> Result<Unit, Unread> {
    let parse = |key: &str, text: &str| match text.trim() {
        "1" | "-" => Ok(Unit::dimensionless()),
        text => Unit::parse(text).map_err(|error| {
            let help = "write the unit of the readings, for example `unit: s`; `unit: 1` for plain numbers";
            Unread::new(ValueProblemKind::Unit, key, error, help)
        }),
    };
    match (reading.unit.as_deref(), found.unit.as_deref()) {
        (Some(own), header) => {
            let own = parse("unit", own)?;
            if let Some(Ok(other)) = header.map(|header| parse("unit", header))
                && (other.dimension() != own.dimension() || other.to_si(1.0) != own.to_si(1.0))
            {
                let message = format!(
                    "`unit: {}`, but the first line of {} has `{}`",
                    shorten(reading.unit.as_deref().unwrap_or("")),
                    shorten(&reading.from),
                    shorten(header.unwrap_or(""))
                );
                let help = "correct one of them, or remove `unit`";
                return Err(Unread::new(ValueProblemKind::Unit, "unit", message, help));
            }
            Ok(own)
        }
        (None, Some(header)) => parse("column", header),
        (None, None) => {
            let message =
                format!("the unit of `{}` in {} is missing", shorten(column_name(reading)), shorten(&reading.from));
            let help = "add `unit: s`, the unit of the readings (`unit: 1` for plain numbers); or write it in the first line, \
                        as in `time [s]`";
            Err(Unread::new(ValueProblemKind::Unit, "column", message, help))
        }
    }
}

/// The standard uncertainty of the instrument, in the unit of the readings.
fn instrument(reading: &Reading, unit: &Unit) -> Result<Option<f64>, Unread> {
    let parts = &reading.instrument.0;
    for part in parts {
        if part.quantity().unit().dimension() != unit.dimension() {
            let message =
                format!("the unit of the instrument's uncertainty `{}` does not match `{unit}`", part.quantity());
            let help = format!("use {}, the unit of the readings", unit.after("0.01"));
            return Err(Unread::new(ValueProblemKind::Unit, "instrument", message, help));
        }
    }
    let all = parts.iter().fold(0.0, |all: f64, part| all.hypot(part.standard() / unit.factor()));
    Ok((!parts.is_empty()).then_some(all))
}
