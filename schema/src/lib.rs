//! What a team writes: the record kinds and their keys, quantities with units, the reading of YAML
//! with a place for everything that is wrong, and the JSON Schema made from the same types.
//!
//! Nothing here touches a file or git: bytes come in, records and [`read::Problem`]s go out.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

pub mod encoded;
pub mod entries;
pub mod formula;
pub mod json_schema;
pub mod quantity;
pub mod read;
pub mod records;
pub mod settings;
pub mod sheet;
pub mod suggest;
pub mod words;

pub use entries::Entries;
pub use quantity::Quantity;
pub use records::{Body, Kind, Record};
pub use settings::Settings;
pub use words::{Day, Id, Ref};
