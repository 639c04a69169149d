//! Properties of the reader for every file; used by the fuzz target and the property test.

use schema::read::tree::{Content, NodeId, Tree};
use schema::read::{self, Aim, FileRecords, Spot, flat};

/// Reads the bytes as a record file and as settings.
///
/// # Errors
/// The property that does not hold: a problem without a position in the file, a range outside the file, or a different
/// result if the file is read again or in pieces.
pub fn check(bytes: &[u8]) -> Result<(), String> {
    let file = read::records(bytes);
    if file != read::records(bytes) {
        return Err("a second reading differs from the first".to_owned());
    }
    let tree = read::places(bytes);
    let (_, of_settings) = read::settings(bytes);
    for problem in file.problems.iter().chain(&of_settings) {
        let route = problem.route.iter().map(String::as_str);
        let spot = problem.spot.unwrap_or_else(|| read::locate(tree.as_ref(), route, Aim::Value));
        inside(bytes, spot).map_err(|why| format!("{why}: {problem:?}"))?;
        if problem.message.is_empty() || problem.help.is_empty() {
            return Err(format!("no message or no help: {problem:?}"));
        }
    }
    if let Some(tree) = &tree {
        ranges(bytes, tree)?;
    }
    by_pieces(bytes, &file)
}

/// Returns whether a position is in the file, or directly after one of its lines.
pub fn inside(bytes: &[u8], spot: Spot) -> Result<(), String> {
    let text = String::from_utf8_lossy(bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)).replace("\r\n", "\n");
    let mut lines = text.split(['\n', '\r']);
    match lines.nth(spot.line as usize - 1) {
        None => Err(format!("line {} of {}", spot.line, text.split(['\n', '\r']).count())),
        Some(line) if spot.column == 0 || spot.column as usize > line.chars().count() + 1 => {
            Err(format!("column {} of {line:?}", spot.column))
        }
        Some(_) => Ok(()),
    }
}

/// The ranges of the keys and values of the first two levels are in the file, each inside the outer one.
fn ranges(bytes: &[u8], tree: &Tree<'_>) -> Result<(), String> {
    let keys = |node: NodeId| match tree.content(node) {
        Content::Map(entries) => entries.iter().filter_map(|[key, _]| tree.text(*key)).collect(),
        Content::List(_) | Content::Scalar { .. } => Vec::new(),
    };
    let Some(root) = tree.root() else { return Ok(()) };
    for top in keys(root).into_iter().take(20) {
        let below = tree.entry(root, top).map(|[_, value]| keys(value)).unwrap_or_default();
        let routes = below.into_iter().take(20).map(|key| vec![top, key]);
        for route in std::iter::once(vec![top]).chain(routes) {
            for aim in [Aim::Key, Aim::Value] {
                let Some(range) = tree.range_of(route.iter().copied(), aim) else {
                    return Err(format!("{route:?} has no range"));
                };
                inside(bytes, range.start.spot())?;
                inside(bytes, range.end.spot())?;
                let text = bytes.get(range.start.offset as usize..range.end.offset as usize);
                if text.is_none_or(|text| std::str::from_utf8(text).is_err()) {
                    return Err(format!("{route:?} has the range {range:?}"));
                }
            }
        }
    }
    Ok(())
}

/// A file without problems has the same records when its pieces are read one by one.
fn by_pieces(bytes: &[u8], file: &FileRecords) -> Result<(), String> {
    let Some(chunks) = flat::chunks(bytes).filter(|_| file.problems.is_empty()) else { return Ok(()) };
    let mut records = Vec::new();
    for chunk in chunks {
        let (head, body) = chunk.bytes(bytes);
        let piece = read::records(&[head, body].concat());
        if !piece.problems.is_empty() {
            // An alias refers to something outside of the piece, or the end of the file cuts it off.
            return Ok(());
        }
        records.extend(piece.records);
    }
    records.sort_by_key(schema::Record::kind);
    if records == file.records {
        Ok(())
    } else {
        Err(format!("by pieces {records:#?}\nas a whole {:#?}", file.records))
    }
}
