//! Score sheets of published rule books, as data.

use std::sync::OnceLock;

use schema::sheet::Sheet;

/// The sheets that ship with the tool, by name.
const FILES: [(&str, &str); 3] = [
    ("sae-2024", include_str!("../../../templates/contests/sae-2024.yaml")),
    ("fs-rules-2025", include_str!("../../../templates/contests/fs-rules-2025.yaml")),
    ("fs-rules-2026", include_str!("../../../templates/contests/fs-rules-2026.yaml")),
];

/// All sheets, read once.
pub fn all() -> &'static [(&'static str, Sheet)] {
    static SHEETS: OnceLock<Vec<(&'static str, Sheet)>> = OnceLock::new();
    // An invalid sheet is skipped; a test reads each of them.
    SHEETS.get_or_init(|| {
        FILES.iter().filter_map(|(name, text)| schema::read::sheet(text).map(|sheet| (*name, sheet))).collect()
    })
}

/// The names of all events of all sheets.
pub fn names() -> Vec<String> {
    let events =
        |(name, sheet): &(&str, Sheet)| sheet.events.keys().map(|event| format!("{name}.{event}")).collect::<Vec<_>>();
    all().iter().flat_map(events).collect()
}

/// The event of a sheet, as in `sae-2024.acceleration`.
pub fn find(name: &str) -> Option<&'static schema::sheet::SheetEvent> {
    let (sheet, event) = name.split_once('.')?;
    all().iter().find(|(known, _)| *known == sheet)?.1.events.get(event)
}
