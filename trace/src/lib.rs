//! From a snapshot of a project to findings, in one direction only:
//! [`snapshot`] -> [`load`] -> [`graph`] -> [`checks`] -> [`finding`].
//!
//! Only [`git`] reads files or repositories; everything else works on what is in memory.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

pub mod audit;
pub mod checks;
pub mod conclusion;
pub mod delta;
mod derived;
pub mod due;
pub mod edit;
pub mod error;
pub mod evidence;
pub mod filters;
pub mod finding;
pub mod git;
pub mod graph;
mod held_back;
mod hex;
pub mod history;
pub mod ids;
pub mod import;
pub mod load;
pub mod measure;
pub mod new_record;
mod parallel;
mod parse;
pub mod parts_table;
pub mod planned;
mod positions;
mod records;
mod repaired;
pub mod report;
mod sheets;
pub mod since;
pub mod snapshot;
pub mod spreadsheet;
pub mod stress;
pub mod study;
mod table;
pub mod talk;
mod trees;
pub mod values;

pub use delta::Delta;
pub use due::Due;
pub use error::Error;
pub use filters::Filters;
pub use finding::{Finding, Report};
pub use git::Project;
pub use ids::{CommitIndex, FileId, NodeId, RecordId};
pub use load::Loaded;
pub use measure::Measure;
pub use positions::RecordPositions;
pub use study::Study;
