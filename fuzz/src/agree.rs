//! What must hold for every file, whatever is in it; the fuzz target and the property test both use it.

use schema::read::{self, Aim, FileRecords, Problem, Spot};

/// Reads the bytes as a record file and as settings.
///
/// # Errors
/// A sentence on what does not hold: a problem without a place in the file, or the two ways of reading disagree.
pub fn holds(bytes: &[u8]) -> Result<(), String> {
    let told = read::records(bytes);
    let places = read::places(bytes);
    let spot = |problem: &Problem| {
        problem
            .spot
            .unwrap_or_else(|| read::locate(places.as_ref(), problem.route.iter().map(String::as_str), Aim::Value))
    };
    let (_, of_settings) = read::settings(bytes);
    for problem in told.problems.iter().chain(&of_settings) {
        inside(bytes, spot(problem)).map_err(|why| format!("{why}: {problem:?}"))?;
        if problem.message.is_empty() || problem.help.is_empty() {
            return Err(format!("nothing is said: {problem:?}"));
        }
    }
    let Ok(text) = read::text(bytes) else { return Ok(()) };
    let slow = read::by_record(text);
    // The quick way goes kind by kind, the other in the order of the file.
    let sorted = |file: &FileRecords| {
        let mut records: Vec<String> = file.records.iter().map(|record| format!("{record:?}")).collect();
        let mut problems: Vec<String> = file
            .problems
            .iter()
            .map(|problem| format!("{:?}", Problem { spot: Some(spot(problem)), ..problem.clone() }))
            .collect();
        records.sort();
        problems.sort();
        (records, problems, file.damaged.clone())
    };
    let (quick, slow) = (sorted(&told), sorted(&slow));
    if quick == slow { Ok(()) } else { Err(format!("quick {quick:#?}\nslow {slow:#?}")) }
}

/// Is there such a place in the file, or right behind a line of it?
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
