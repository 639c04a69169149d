//! Tables of integration points: a column `volume`, and one of stress.

use super::error::{StressError, short};
use super::field::{Histogram, StressField};
use super::limits::{MOST_COLUMNS, MOST_ROWS};

/// The name of the column of volumes.
const VOLUME: &str = "volume";

/// Reads a table.
pub(super) fn field(bytes: &[u8], wanted: &str) -> Result<StressField, StressError> {
    let header =
        bytes.split(|byte| *byte == b'\n').find(|line| !line.trim_ascii().is_empty() && !line.starts_with(b"#"));
    let header = header.unwrap_or_default();
    let delimiter =
        *[b',', b';', b'\t'].iter().max_by_key(|one| (count(header, **one), **one == b',')).unwrap_or(&b',');
    check_columns(bytes, delimiter)?;
    let mut table = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(bytes);
    let header =
        table.byte_headers().map_err(|_| StressError::damaged("the first line of the table cannot be read"))?;
    let names: Vec<String> = header.iter().map(|name| String::from_utf8_lossy(name).trim().to_owned()).collect();
    let column = |name: &str| {
        let found = names.iter().position(|own| own == name);
        found.ok_or_else(|| StressError::no_field("column", name, &names))
    };
    let (volume, stress) = (column(VOLUME)?, column(wanted)?);

    let mut histogram = Histogram::new();
    let (mut rows, mut peak, mut row) = (0, 0.0_f64, csv::ByteRecord::new());
    loop {
        let more = table.read_byte_record(&mut row).map_err(|_| StressError::damaged("the table cannot be read"))?;
        if !more {
            break;
        }
        if row.iter().all(<[u8]>::is_empty) {
            continue;
        }
        rows += 1;
        if rows > MOST_ROWS {
            return Err(StressError::too_many("rows", rows, MOST_ROWS));
        }
        let cell = |at: usize, name: &str, must: &str| {
            let text = row.get(at).unwrap_or_default();
            let number = std::str::from_utf8(text).ok().and_then(|text| text.parse::<f64>().ok());
            let wrong = || {
                let line = row.position().map_or(0, csv::Position::line);
                let text = String::from_utf8_lossy(text);
                let message =
                    format!("line {line}: `{}` in the column `{}`; it must be {must}", short(&text), short(name));
                StressError::new(message, "write plain numbers with a decimal point, without units")
            };
            number.filter(|number| number.is_finite()).ok_or_else(wrong)
        };
        let own_volume = cell(volume, VOLUME, "a number above zero")?;
        let own_stress = cell(stress, wanted, "a number, zero or more")?;
        if own_volume <= 0.0 || own_stress < 0.0 {
            let line = row.position().map_or(0, csv::Position::line);
            let (message, help) = if own_volume <= 0.0 {
                (format!("line {line}: the volume is zero or negative"), "export the volume of each integration point")
            } else {
                (
                    format!("line {line}: the stress is negative, so it is not an equivalent stress"),
                    "use the von Mises stress; a single component cannot be compared with an allowable stress",
                )
            };
            return Err(StressError::new(message, help));
        }
        peak = peak.max(own_stress);
        histogram.add(own_stress, own_volume);
    }
    if rows == 0 {
        return Err(StressError::new("the table has no rows", "export one row for each integration point"));
    }
    histogram.field(peak, rows)
}

/// Checks the columns of each line before any of them is read, as each takes several bytes of memory.
fn check_columns(bytes: &[u8], delimiter: u8) -> Result<(), StressError> {
    let mut start = 0;
    for end in memchr::memchr2_iter(b'\n', b'\r', bytes).chain([bytes.len()]) {
        let line = &bytes[start..end];
        // Each column but the first takes a byte; a comment has none.
        let has_few = line.len() < MOST_COLUMNS || line.starts_with(b"#");
        let columns = if has_few { 0 } else { count(line, delimiter) + 1 };
        if columns > MOST_COLUMNS {
            let message = format!("{columns} columns; the limit is {MOST_COLUMNS}");
            return Err(StressError::new(message, "export only the volume and the stress"));
        }
        start = end + 1;
    }
    Ok(())
}

fn count(line: &[u8], byte: u8) -> usize {
    line.iter().filter(|own| **own == byte).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_has_a_limit_of_columns() {
        let read = |more: usize| {
            let text = format!("volume,stress{}\n1,2\n", ",".repeat(more));
            field(text.as_bytes(), "stress").map(|_| ()).map_err(|error| error.message)
        };
        assert_eq!(read(MOST_COLUMNS - 2), Ok(()));
        assert_eq!(read(MOST_COLUMNS - 1), Err("10001 columns; the limit is 10000".to_owned()));
    }
}
