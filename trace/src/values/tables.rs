//! CSV tables: what a model reads, and past fields.

/// Two named columns of a CSV table, as numbers.
///
/// # Errors
/// The line and what is wrong with it.
pub(super) fn columns<const N: usize>(bytes: &[u8], names: [&str; N]) -> Result<Vec<[f64; N]>, String> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(bytes);
    let headers = reader.headers().map_err(|error| format!("the table has no first line of names: {error}"))?.clone();
    let mut at = [0; N];
    for (place, name) in at.iter_mut().zip(names) {
        let found = headers.iter().position(|header| header.trim_start_matches('\u{feff}') == name);
        *place = found.ok_or_else(|| format!("the table has no column `{name}`"))?;
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        let line = record.position().map_or(0, csv::Position::line);
        let mut row = [0.0; N];
        for ((to, place), name) in row.iter_mut().zip(at).zip(names) {
            let text = record.get(place).unwrap_or("");
            *to = text.parse().ok().filter(|n: &f64| n.is_finite()).ok_or_else(|| {
                format!("line {line}: `{}` under `{name}` is no number", schema::words::shorten(text))
            })?;
        }
        rows.push(row);
    }
    Ok(rows)
}
