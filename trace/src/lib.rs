//! From a snapshot of a data root to findings, one way only:
//! [`snapshot`] -> [`load`] -> [`graph`] -> [`checks`] -> [`finding`].
//!
//! Only [`snapshot`] reads files or git; everything after it works on what is in memory.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

pub mod audit;
pub mod checks;
pub mod compare;
pub mod error;
pub mod finding;
pub mod graph;
pub mod history;
pub mod load;
mod parse;
pub mod report;
pub mod snapshot;
pub mod values;

pub use compare::Delta;
pub use error::Error;
pub use finding::Finding;
pub use load::Loaded;
pub use report::Report;
