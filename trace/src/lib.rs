//! From a snapshot of a project to findings, in one direction only:
//! [`snapshot`] -> [`load`] -> [`graph`] -> [`checks`] -> [`finding`].
//!
//! Only [`git`] reads files or repositories; everything else works on what is in memory.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking"))]

pub mod audit;
pub mod checks;
pub mod compare;
pub mod error;
pub mod finding;
pub mod git;
pub mod graph;
pub mod history;
pub mod load;
pub mod report;
pub mod snapshot;
pub mod values;

pub use compare::Delta;
pub use error::Error;
pub use finding::Finding;
pub use git::Project;
pub use load::Loaded;
pub use report::Report;
