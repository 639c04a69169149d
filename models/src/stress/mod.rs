//! Stress fields: a file of a stress analysis becomes the distribution of volume over stress.
//!
//! [`StressFile`] reads the mesh of a file once, from its bytes alone, and then any of its fields: a [`StressField`], which is
//! small and from which everything else follows. VTU is read by `vtu.rs`, legacy VTK by `legacy.rs`, and CSV tables of
//! integration points by `csv.rs`; the volume of every element and the stress in it by `shapes.rs`, `rules.rs` and
//! `volumes.rs`.
//!
//! The files are hostile input. Nothing panics; what a header claims is checked against [`limits`] and reserved only as far as
//! the data can contain it; elements, nodes and ids are limited, and so is the memory that a compressed file can take.

mod arrays;
mod base64;
mod csv;
mod error;
mod field;
mod file;
mod legacy;
pub mod limits;
mod mesh;
mod part;
mod rules;
mod shapes;
mod storage;
mod volumes;
mod vtu;

pub use error::StressError;
pub use field::{Share, StressField};
pub use file::StressFile;
pub use part::StressPart;

/// What to read of a file, and its units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ask<'a> {
    /// The name of the field, or of the column.
    pub stress: &'a str,
    /// One unit of stress in Pa.
    pub stress_unit: f64,
    /// One unit of length in m.
    pub length_unit: f64,
}

/// Reads one field of a file.
///
/// # Errors
/// The file is damaged or of another format, it has no such field, or its elements or numbers cannot be used.
pub fn read(bytes: &[u8], ask: Ask<'_>) -> Result<StressField, StressError> {
    StressFile::open(bytes).read(ask.stress)?.in_units(ask.stress_unit, ask.length_unit)
}
