//! CSV tables: inputs of models, and past standings.

/// Some columns of a CSV table by name, as numbers.
///
/// # Errors
/// The invalid line and what is wrong with it, or a missing column.
pub(super) fn columns<const N: usize>(bytes: &[u8], names: [&str; N]) -> Result<Vec<[f64; N]>, String> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(bytes);
    let headers = reader
        .headers()
        .map_err(|error| format!("the first line of the table must contain the column names: {error}"))?
        .clone();
    let mut positions = [0; N];
    for (position, name) in positions.iter_mut().zip(names) {
        let found = headers.iter().position(|header| header.trim_start_matches('\u{feff}') == name);
        *position = found.ok_or_else(|| format!("the table has no column `{name}`"))?;
    }
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| match error.kind() {
            csv::ErrorKind::UnequalLengths { pos, expected_len, len } => {
                format!("line {}: expected {expected_len} cells, found {len}", line(bytes, pos.as_ref()))
            }
            csv::ErrorKind::Utf8 { pos, .. } => format!("line {}: the text is not UTF-8", line(bytes, pos.as_ref())),
            _ => error.to_string(),
        })?;
        let line = line(bytes, record.position());
        let mut row = [0.0; N];
        for ((cell, position), name) in row.iter_mut().zip(positions).zip(names) {
            let text = record.get(position).unwrap_or("");
            *cell = text.parse().ok().filter(|n: &f64| n.is_finite()).ok_or_else(|| {
                format!("line {line}: `{}` under `{name}` is not a number", schema::words::shorten(text))
            })?;
        }
        rows.push(row);
    }
    Ok(rows)
}

/// The line of a record, counted from 1. The reader gives its position before the comments and empty lines above it.
fn line(bytes: &[u8], position: Option<&csv::Position>) -> usize {
    let start = position.and_then(|position| usize::try_from(position.byte()).ok()).unwrap_or(0).min(bytes.len());
    let lines = |text: &[u8]| text.iter().filter(|byte| **byte == b'\n').count();
    let skipped = bytes[start..].split_inclusive(|byte| *byte == b'\n');
    let skipped = skipped.take_while(|line| line.starts_with(b"#") || matches!(line, [b'\n'] | [b'\r', b'\n']));
    1 + lines(&bytes[..start]) + skipped.count()
}
