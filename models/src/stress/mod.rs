//! Stress fields: a file of a stress analysis becomes the distribution of volume over stress.
//!
//! [`read`] is a pure function of the bytes of a file and of an [`Ask`]. It reads VTU (`vtu.rs`), legacy VTK (`legacy.rs`) and
//! CSV tables of integration points (`csv.rs`), calculates the volume of every element (`shapes.rs`, `volumes.rs`) and returns
//! a [`StressField`], which is small and from which everything else follows.
//!
//! The files are hostile input. Nothing panics; what a header claims is not allocated before the data is there; elements,
//! nodes and ids are limited ([`limits`]), and so is the memory that a compressed file can take.

mod arrays;
mod csv;
mod error;
mod field;
mod legacy;
pub mod limits;
mod mesh;
mod part;
mod shapes;
mod volumes;
mod vtu;

pub use error::StressError;
pub use field::{Share, StressField};
pub use part::StressPart;

use mesh::Mesh;

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

/// Reads a file.
///
/// # Errors
/// The file is damaged or of another format, it has no such field, or its elements or numbers cannot be used.
pub fn read(bytes: &[u8], ask: Ask<'_>) -> Result<StressField, StressError> {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let start = text.trim_ascii_start();
    if is_pointer(start) {
        return Err(StressError::new(
            "the file is only a pointer to a large file, not the file itself",
            "fetch the large files of the repository; without them, there are no numbers",
        ));
    }
    if start.starts_with(b"# vtk DataFile") {
        return volumes::field(&legacy::mesh(start, ask.stress)?, ask);
    }
    if start.starts_with(b"<") {
        return volumes::field(&vtu::mesh(start, ask.stress)?, ask);
    }
    if start.is_empty() {
        return Err(StressError::new("the file is empty", "export the results again"));
    }
    if text.iter().take(4096).any(|byte| matches!(byte, 0..=8 | 14..=31)) {
        return Err(StressError::new(
            "the file is neither VTU, legacy VTK nor CSV",
            "export the results as VTU, or as CSV with the columns `volume` and stress",
        ));
    }
    csv::field(text, ask)
}

/// Whether this is the text in place of a large file which is kept outside of the repository: a version, a hash and a size.
fn is_pointer(text: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(&text[..text.len().min(1024)]) else { return false };
    let has = |key: &str| text.lines().any(|line| line.strip_prefix(key).is_some_and(|rest| !rest.trim().is_empty()));
    text.starts_with("version http") && has("oid ") && has("size ")
}
