//! Score sheets of published rule books, as data.

use std::sync::OnceLock;

use schema::sheet::{Sheet, SheetEvent};

/// A sheet that ships with the tool; it is read when it is first needed.
#[derive(Debug)]
pub struct Shipped {
    /// Its name, as in `sae-2024.acceleration`.
    pub name: &'static str,
    text: &'static str,
    read: OnceLock<Option<Sheet>>,
}

impl Shipped {
    const fn new(name: &'static str, text: &'static str) -> Self {
        Self { name, text, read: OnceLock::new() }
    }

    /// Its content. `None` if it is invalid, which a test of every sheet excludes.
    pub fn sheet(&self) -> Option<&Sheet> {
        self.read.get_or_init(|| schema::read::sheet(self.text)).as_ref()
    }
}

static ALL: [Shipped; 5] = [
    Shipped::new("sae-2024", include_str!("../../templates/contests/sae-2024.yaml")),
    Shipped::new("sae-2021", include_str!("../../templates/contests/sae-2021.yaml")),
    Shipped::new("sae-inferred", include_str!("../../templates/contests/sae-inferred.yaml")),
    Shipped::new("fs-rules-2025", include_str!("../../templates/contests/fs-rules-2025.yaml")),
    Shipped::new("fs-rules-2026", include_str!("../../templates/contests/fs-rules-2026.yaml")),
];

/// All sheets.
pub fn all() -> &'static [Shipped] {
    &ALL
}

/// The sheet of a name such as `sae-2024` or `sae-2024.acceleration`.
pub fn sheet_of(name: &str) -> Option<&'static Sheet> {
    let name = name.split('.').next().unwrap_or(name);
    ALL.iter().find(|shipped| shipped.name == name)?.sheet()
}

/// The names of all events of all sheets.
pub fn names() -> Vec<String> {
    let events = |shipped: &'static Shipped| {
        let events = shipped.sheet().into_iter().flat_map(|sheet| sheet.events.keys());
        events.map(move |event| format!("{}.{event}", shipped.name))
    };
    ALL.iter().flat_map(events).collect()
}

/// The event of a sheet, as in `sae-2024.acceleration`.
pub fn find(name: &str) -> Option<&'static SheetEvent> {
    let (_, event) = name.split_once('.')?;
    sheet_of(name)?.events.get(event)
}
