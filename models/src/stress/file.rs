//! A stress file of any format: its mesh, and the fields that are asked for.

use super::error::StressError;
use super::field::StressField;
use super::mesh::Mesh;
use super::{csv, legacy, volumes, vtu};

/// A file of which the mesh was read, once for all fields.
#[derive(Debug)]
pub struct StressFile<'b> {
    content: Result<Content<'b>, StressError>,
    /// What was read for the mesh.
    work: u64,
    /// The work to integrate a field over its elements.
    of_elements: u64,
}

enum Content<'b> {
    Vtu(vtu::File<'b>, Mesh),
    Legacy(legacy::File<'b>),
    Table(&'b [u8]),
}

impl std::fmt::Debug for Content<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Vtu(..) => "Vtu",
            Self::Legacy(_) => "Legacy",
            Self::Table(_) => "Table",
        })
    }
}

impl Content<'_> {
    fn mesh(&self) -> Option<&Mesh> {
        match self {
            Self::Vtu(_, mesh) => Some(mesh),
            Self::Legacy(file) => Some(file.mesh()),
            Self::Table(_) => None,
        }
    }
}

impl<'b> StressFile<'b> {
    /// Reads the mesh. What is wrong with it is the error of every field.
    pub fn open(bytes: &'b [u8]) -> Self {
        // Each eighth byte counts, whether it is a number or not.
        let mut work = bytes.len() as u64 / 8;
        let content = open(bytes, &mut work);
        let of_elements = content.as_ref().ok().and_then(Content::mesh).map_or(0, volumes::work);
        Self { content, work, of_elements }
    }

    /// The work to read a field: the numbers that are read, and each node of an element at each of its points. It is known before
    /// the field is read, and depends on the file alone.
    pub fn work(&self, field: &str) -> u64 {
        let of_field = match &self.content {
            Ok(Content::Vtu(file, mesh)) => file.count(mesh, field),
            Ok(Content::Legacy(file)) => file.count(field),
            // A row has some ten bytes, and as much work as ten of these.
            Ok(Content::Table(bytes)) => bytes.len() as u64,
            Err(_) => 0,
        };
        self.work.saturating_add(of_field).saturating_add(self.of_elements)
    }

    /// Reads a field, in the units of the file.
    ///
    /// # Errors
    /// The file is damaged or of another format, it has no such field, or its elements or numbers cannot be used.
    pub fn read(&self, field: &str) -> Result<StressField, StressError> {
        match self.content.as_ref().map_err(StressError::clone)? {
            Content::Vtu(file, mesh) => volumes::field(mesh, file.stress(mesh, field)?, field),
            Content::Legacy(file) => volumes::field(file.mesh(), file.stress(field)?, field),
            Content::Table(bytes) => csv::field(bytes, field),
        }
    }
}

fn open<'b>(bytes: &'b [u8], work: &mut u64) -> Result<Content<'b>, StressError> {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let start = text.trim_ascii_start();
    if is_pointer(start) {
        return Err(StressError::new(
            "the file is only a pointer to a large file, not the file itself",
            "fetch the large files of the repository; without them, there are no numbers",
        ));
    }
    if start.starts_with(b"# vtk DataFile") {
        let file = legacy::File::open(start, work)?;
        volumes::check(file.mesh())?;
        return Ok(Content::Legacy(file));
    }
    if start.starts_with(b"<") {
        let file = vtu::File::open(start)?;
        let mesh = file.mesh(work)?;
        volumes::check(&mesh)?;
        return Ok(Content::Vtu(file, mesh));
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
    Ok(Content::Table(text))
}

/// Whether this is the text in place of a large file which is kept outside of the repository: a version, a hash and a size.
fn is_pointer(text: &[u8]) -> bool {
    let Ok(text) = std::str::from_utf8(&text[..text.len().min(1024)]) else { return false };
    let has = |key: &str| text.lines().any(|line| line.strip_prefix(key).is_some_and(|rest| !rest.trim().is_empty()));
    text.starts_with("version http") && has("oid ") && has("size ")
}
