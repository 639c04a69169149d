//! The tables that models read: each is read once for all analyses and alternatives of a state that name it.

use std::sync::{Arc, Mutex, PoisonError};

use foldhash::HashMap;

use super::tables::{self, TableError};
use crate::load::Loaded;

/// The two columns of a table that a model calculates with.
pub type ModelTable = Arc<[(f64, f64)]>;

type Known = HashMap<[&'static str; 2], Result<ModelTable, TableError>>;

/// The tables of one state that were read, by path and columns.
#[derive(Debug, Default)]
pub(crate) struct ModelTables(Mutex<HashMap<String, Known>>);

impl Loaded {
    /// The rows of a table for a model; `None` if the file is absent.
    pub(super) fn model_table(&self, path: &str, columns: [&'static str; 2]) -> Option<Result<ModelTable, TableError>> {
        let content = self.table(path)?;
        let mut all = self.model_tables.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = all.get(path).and_then(|known| known.get(columns.as_slice())) {
            return Some(known.clone());
        }
        let found = match content {
            Ok(bytes) => tables::for_model(bytes, columns),
            Err(problem) => Err(TableError::of_file(problem)),
        };
        let found = found.map(|rows| rows.into_iter().map(|row| (row.cells[0], row.cells[1])).collect());
        all.entry(path.to_owned()).or_default().insert(columns, found.clone());
        Some(found)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::snapshot::Snapshot;

    #[test]
    fn a_table_is_read_once() {
        let mut loaded = Loaded::from_snapshot(Snapshot::in_memory(Vec::new()));
        let mut set = |text: &str| loaded.tables.insert("a.csv".to_owned(), Ok(text.as_bytes().into()));
        set("x,y,z\n1,2,3\n4,5,6\n");
        let read = |columns| loaded.model_table("a.csv", columns).unwrap().unwrap();
        let first = read(["x", "z"]);
        assert_eq!(first[..], [(1.0, 3.0), (4.0, 6.0)]);
        assert_eq!(read(["z", "y"])[..], [(3.0, 2.0), (6.0, 5.0)]);
        assert!(Arc::ptr_eq(&first, &read(["x", "z"])));
        assert!(loaded.model_table("a.csv", ["x", "none"]).unwrap().is_err());
        assert!(loaded.model_table("b.csv", ["x", "z"]).is_none());
    }

    /// What follows the first row that is too many is not read.
    #[test]
    fn no_more_rows_are_read_than_a_model_may_have() {
        let text = format!("x,y\n{}not a number,1\n", "1,2\n".repeat(tables::MOST_ROWS_OF_MODELS + 1));
        let error = tables::for_model(text.as_bytes(), ["x", "y"]).unwrap_err();
        assert!(error.to_string().contains("the table has more than 5000 rows"), "{error}");
    }
}
