//! The format of a team's files: record kinds and their keys, quantities with units, formulas, the reader of YAML that
//! reports a position for every problem, and the JSON Schema generated from the same types.
//!
//! This crate does no I/O: bytes come in, records and [`read::Problem`]s go out.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

pub mod edit;
pub mod encoded;
pub mod entries;
pub mod formula;
pub mod json_schema;
pub mod number;
pub mod quantity;
pub mod read;
pub mod records;
pub mod renamed;
pub mod settings;
pub mod sheet;
pub mod suggest;
pub mod words;

pub use entries::Entries;
pub use quantity::Quantity;
pub use records::{Body, Kind, Record};
pub use settings::Settings;
pub use words::{Day, Id, Ref};
