//! CSV tables: what a model reads, and past standings.

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
        let record = record.map_err(|error| match error.kind() {
            csv::ErrorKind::UnequalLengths { pos, expected_len, len } => {
                format!("line {}: {len} cells, and the first line has {expected_len}", line(bytes, pos.as_ref()))
            }
            csv::ErrorKind::Utf8 { pos, .. } => format!("line {}: the text is not UTF-8", line(bytes, pos.as_ref())),
            _ => error.to_string(),
        })?;
        let line = line(bytes, record.position());
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

/// The line of a record, counted from 1. Its position stands before the comments and empty lines above it.
fn line(bytes: &[u8], position: Option<&csv::Position>) -> usize {
    let start = position.and_then(|position| usize::try_from(position.byte()).ok()).unwrap_or(0).min(bytes.len());
    let lines = |text: &[u8]| text.iter().filter(|byte| **byte == b'\n').count();
    let passed = bytes[start..].split_inclusive(|byte| *byte == b'\n');
    let passed = passed.take_while(|line| line.starts_with(b"#") || matches!(line, [b'\n'] | [b'\r', b'\n']));
    1 + lines(&bytes[..start]) + passed.count()
}
