//! From a snapshot of a data root to findings, one way only:
//! [`snapshot`] -> [`load`] -> [`graph`] -> [`checks`] -> [`finding`].
//!
//! Only [`snapshot`] reads files or git; everything after it works on what is in memory.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]
#![allow(clippy::arc_with_non_send_sync, reason = "until a snapshot no longer holds its repository")]

pub mod audit;
pub mod checks;
pub mod delta;
pub mod error;
pub mod finding;
pub mod graph;
pub mod history;
pub mod ids;
pub mod load;
mod records;
pub mod report;
pub mod snapshot;
pub mod study;
pub mod values;

pub use delta::Delta;
pub use error::Error;
pub use finding::{Finding, Report};
pub use ids::{FileId, NodeId, RecordId};
pub use load::Loaded;
pub use study::Study;
