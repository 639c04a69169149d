//! A table of plain cells, for formats that spreadsheets read.

use schema::Day;
use serde_json::Value;

/// A table.
pub(crate) struct Grid {
    /// The heads of its columns.
    pub(crate) heads: Vec<String>,
    /// Its rows, each with a cell per head.
    pub(crate) rows: Vec<Vec<Cell>>,
}

/// A cell.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cell {
    /// Nothing.
    Empty,
    /// A text.
    Text(String),
    /// A number.
    Number(f64),
    /// A count, or a line of a file.
    Whole(u64),
    /// A date.
    Day(Day),
    /// Yes or no.
    Flag(bool),
}

/// A column: its head, and where its cells are in a row of a JSON answer.
pub(crate) type Column = (&'static str, &'static str);

impl Grid {
    /// A table of columns of a JSON answer.
    pub(crate) fn of(rows: &[&Value], columns: &[Column]) -> Self {
        Self {
            heads: columns.iter().map(|(head, _)| (*head).to_owned()).collect(),
            rows: rows
                .iter()
                .map(|row| columns.iter().map(|(_, path)| Cell::of(row.pointer(path))).collect())
                .collect(),
        }
    }
}

impl Cell {
    /// The cell of a value of a JSON answer; a list is a text.
    pub(crate) fn of(value: Option<&Value>) -> Self {
        match value {
            None | Some(Value::Null) => Self::Empty,
            Some(Value::String(text)) => Self::text(text),
            Some(Value::Bool(flag)) => Self::Flag(*flag),
            Some(Value::Number(number)) => number.as_f64().map_or(Self::Empty, Self::Number),
            Some(Value::Array(items)) => {
                let texts: Vec<String> = items.iter().map(|item| Self::of(Some(item)).to_text()).collect();
                Self::text(&texts.join("; "))
            }
            Some(other) => Self::Text(other.to_string()),
        }
    }

    /// A text; nothing if it is empty.
    pub(crate) fn text(text: &str) -> Self {
        if text.is_empty() { Self::Empty } else { Self::Text(text.to_owned()) }
    }

    fn to_text(&self) -> String {
        match self {
            Self::Empty => String::new(),
            Self::Text(text) => text.clone(),
            Self::Number(number) => format!("{:?}", super::csv::twelve_digits(*number)),
            Self::Whole(number) => number.to_string(),
            Self::Day(day) => day.to_string(),
            Self::Flag(flag) => flag.to_string(),
        }
    }
}
