//! Unstructured grids in VTK's legacy format (`.vtk`), up to version 5.1; binary data is big-endian.

use super::arrays::{Expected, Kind, Number, of_reader, some_of_text};
use super::error::{StressError, short};
use super::mesh::{At, Mesh, check_components, check_counts, check_ids, symmetric};

/// Reads a file with one field.
pub(super) fn mesh(bytes: &[u8], stress: &str) -> Result<Mesh, StressError> {
    let mut file = File::new(bytes)?;
    let mut mesh = Mesh::empty(At::Nodes);
    let mut fields = Fields { wanted: stress, at_nodes: None, at_cells: None, names: Vec::new() };
    // The section of data, and the number of its tuples.
    let mut section: Option<(At, usize)> = None;
    while let Some(key) = file.word() {
        match key.to_ascii_uppercase().as_str() {
            "DATASET" => {
                let kind = file.need("the kind of data")?;
                if kind != "UNSTRUCTURED_GRID" {
                    let message = format!("the file has a `{}`, not an `UNSTRUCTURED_GRID`", short(kind));
                    return Err(StressError::new(message, "export the volume mesh as an unstructured grid"));
                }
            }
            "POINTS" => {
                let count = file.count("nodes")?;
                check_counts(count, 0)?;
                let kind = file.kind()?;
                mesh.points = file.numbers(kind, Expected { name: "POINTS", count: 3 * count })?;
            }
            "CELLS" => file.cells(&mut mesh)?,
            "CELL_TYPES" => {
                let count = file.count("elements")?;
                check_counts(0, count)?;
                mesh.types = file.numbers(Kind::I32, Expected { name: "CELL_TYPES", count })?;
            }
            "POINT_DATA" => section = Some((At::Nodes, file.count("nodes")?)),
            "CELL_DATA" => section = Some((At::Cells, file.count("elements")?)),
            "METADATA" => file.skip_to_empty_line(),
            "FIELD" => {
                let _name = file.need("the name of a field")?;
                let arrays = file.count("arrays")?;
                for _ in 0..arrays {
                    file.array(section, &mut fields)?;
                }
            }
            other => match section {
                Some(section) => file.attribute(other, section, &mut fields)?,
                None => return Err(StressError::damaged(format!("unknown key `{}`", short(key)))),
            },
        }
    }
    if mesh.types.len() != mesh.ends.len() {
        let message = format!("the file has {} elements and {} types of elements", mesh.ends.len(), mesh.types.len());
        return Err(StressError::damaged(message));
    }
    let (at, found) = match (fields.at_nodes, fields.at_cells) {
        (Some(found), _) => (At::Nodes, found),
        (None, Some(found)) => (At::Cells, found),
        (None, None) => return Err(StressError::no_field("field", stress, &fields.names)),
    };
    (mesh.at, mesh.components, mesh.stress) = (at, found.0, found.1);
    Ok(mesh)
}

/// The field that is wanted, where it is found, with its components.
struct Fields<'a> {
    wanted: &'a str,
    at_nodes: Option<(usize, Vec<f64>)>,
    at_cells: Option<(usize, Vec<f64>)>,
    names: Vec<String>,
}

impl Fields<'_> {
    fn keep(&mut self, at: At, components: usize, mut values: Vec<f64>) {
        if components == 9 {
            symmetric(&mut values);
        }
        let found = Some((if components == 1 { 1 } else { 6 }, values));
        match at {
            At::Nodes => self.at_nodes = found,
            At::Cells => self.at_cells = found,
        }
    }
}

struct File<'a> {
    rest: &'a [u8],
    binary: bool,
    /// Whether elements have offsets and connectivity, since version 5.
    with_offsets: bool,
}

impl<'a> File<'a> {
    fn new(bytes: &'a [u8]) -> Result<Self, StressError> {
        let mut file = Self { rest: bytes, binary: false, with_offsets: false };
        let first = file.line();
        let version = std::str::from_utf8(first).ok().and_then(|line| line.rsplit(' ').next()).unwrap_or("");
        file.with_offsets = version.split('.').next().and_then(|major| major.parse().ok()).is_some_and(|n: u32| n >= 5);
        let _title = file.line();
        match file.line().trim_ascii().to_ascii_uppercase().as_slice() {
            b"ASCII" => {}
            b"BINARY" => file.binary = true,
            _ => return Err(StressError::damaged("the third line is neither `ASCII` nor `BINARY`")),
        }
        Ok(file)
    }

    fn line(&mut self) -> &'a [u8] {
        let end = self.rest.iter().position(|byte| *byte == b'\n').unwrap_or(self.rest.len());
        let (line, rest) = self.rest.split_at(end);
        self.rest = rest.get(1..).unwrap_or_default();
        line
    }

    fn word(&mut self) -> Option<&'a str> {
        self.rest = self.rest.trim_ascii_start();
        let end = self.rest.iter().position(u8::is_ascii_whitespace).unwrap_or(self.rest.len());
        let (word, rest) = self.rest.split_at(end);
        self.rest = rest;
        (end > 0).then(|| std::str::from_utf8(word).unwrap_or("?"))
    }

    fn need(&mut self, what: &str) -> Result<&'a str, StressError> {
        self.word().ok_or_else(|| StressError::damaged(format!("the file ends before {what}")))
    }

    fn count(&mut self, what: &str) -> Result<usize, StressError> {
        let text = self.need(&format!("the number of {what}"))?;
        let number = text.parse().ok().filter(|count| *count < usize::MAX / 64);
        number.ok_or_else(|| StressError::damaged(format!("`{}` is not a number of {what}", short(text))))
    }

    fn kind(&mut self) -> Result<Kind, StressError> {
        let text = self.need("a type of numbers")?;
        Kind::of_legacy(&text.to_ascii_lowercase().replace("vtkidtype", "vtkIdType"))
            .ok_or_else(|| StressError::damaged(format!("unknown type of numbers `{}`", short(text))))
    }

    fn skip_to_empty_line(&mut self) {
        let _rest_of_line = self.line();
        while !self.rest.is_empty() && !self.line().trim_ascii().is_empty() {}
    }

    fn numbers<T: Number>(&mut self, kind: Kind, expected: Expected<'_>) -> Result<Vec<T>, StressError> {
        if !self.binary {
            let (numbers, rest) = some_of_text(self.rest, expected)?;
            self.rest = rest;
            return Ok(numbers);
        }
        let bytes = self.bytes(kind, expected)?;
        of_reader(bytes, kind, true, expected)
    }

    /// The bytes of a binary array, which begin on the next line.
    fn bytes(&mut self, kind: Kind, expected: Expected<'_>) -> Result<&'a [u8], StressError> {
        let _rest_of_line = self.line();
        let size = expected.count.saturating_mul(kind.size());
        let (bytes, rest) = self.rest.split_at_checked(size).ok_or_else(|| {
            StressError::damaged(format!("`{}` ends before its {} numbers", short(expected.name), expected.count))
        })?;
        self.rest = rest;
        Ok(bytes)
    }

    fn skip(&mut self, kind: Kind, expected: Expected<'_>) -> Result<(), StressError> {
        if self.binary {
            return self.bytes(kind, expected).map(drop);
        }
        for _ in 0..expected.count {
            self.need("all numbers of a field")?;
        }
        Ok(())
    }

    fn cells(&mut self, mesh: &mut Mesh) -> Result<(), StressError> {
        let (cells, size) = (self.count("elements")?, self.count("ids")?);
        if self.with_offsets {
            check_counts(0, cells.saturating_sub(1))?;
            check_ids(size)?;
            self.named("OFFSETS")?;
            let kind = self.kind()?;
            let offsets: Vec<u32> = self.numbers(kind, Expected { name: "OFFSETS", count: cells })?;
            self.named("CONNECTIVITY")?;
            let kind = self.kind()?;
            mesh.ids = self.numbers(kind, Expected { name: "CONNECTIVITY", count: size })?;
            if !offsets.is_sorted() || offsets.first().is_some_and(|first| *first != 0) {
                return Err(StressError::damaged("the `OFFSETS` of the elements do not rise from 0"));
            }
            if offsets.last().is_some_and(|last| *last as usize != size) {
                return Err(StressError::damaged("the `OFFSETS` do not end at the number of ids"));
            }
            mesh.ends = offsets.get(1..).unwrap_or_default().to_vec();
            return Ok(());
        }
        check_counts(0, cells)?;
        check_ids(size.saturating_sub(cells))?;
        let mut ids: Vec<u32> = self.numbers(Kind::I32, Expected { name: "CELLS", count: size })?;
        let (mut from, mut to) = (0, 0);
        for cell in 0..cells {
            let own = ids.get(from).map(|count| *count as usize);
            let own = own.filter(|own| *own < ids.len() - from);
            let Some(own) = own else {
                return Err(StressError::damaged(format!("element {cell} has more ids than the file")));
            };
            ids.copy_within(from + 1..from + 1 + own, to);
            (from, to) = (from + 1 + own, to + own);
            mesh.ends.push(to as u32);
        }
        if from != size {
            return Err(StressError::damaged("the file has more ids than its elements"));
        }
        ids.truncate(to);
        mesh.ids = ids;
        Ok(())
    }

    fn named(&mut self, name: &str) -> Result<(), StressError> {
        let found = self.need(name)?;
        if found == name {
            Ok(())
        } else {
            Err(StressError::damaged(format!("expected `{name}`, found `{}`", short(found))))
        }
    }

    /// An array of a `FIELD`.
    fn array(&mut self, section: Option<(At, usize)>, fields: &mut Fields<'_>) -> Result<(), StressError> {
        let mut name = self.need("the name of a field")?;
        if name == "METADATA" {
            self.skip_to_empty_line();
            name = self.need("the name of a field")?;
        }
        let name = decoded(name);
        let (components, tuples) = (self.count("components")?, self.count("values")?);
        let kind = self.kind()?;
        let count = tuples.checked_mul(components).ok_or_else(|| StressError::damaged("a field is too large"))?;
        let Some((at, own)) = section else { return self.skip(kind, Expected { name: &name, count }) };
        if name == fields.wanted && tuples != own {
            let message = format!("the field `{}` has {tuples} values for {own} {}s", short(&name), at.word());
            return Err(StressError::damaged(message));
        }
        self.field(&name, at, components, kind, count, fields)
    }

    /// A field in its own section, such as `SCALARS`.
    fn attribute(&mut self, key: &str, section: (At, usize), fields: &mut Fields<'_>) -> Result<(), StressError> {
        let (at, tuples) = section;
        let unknown = || StressError::damaged(format!("unknown key `{}`", short(key)));
        if !matches!(
            key,
            "SCALARS"
                | "VECTORS"
                | "NORMALS"
                | "TENSORS"
                | "TENSORS6"
                | "TEXTURE_COORDINATES"
                | "COLOR_SCALARS"
                | "LOOKUP_TABLE"
                | "GLOBAL_IDS"
                | "PEDIGREE_IDS"
        ) {
            return Err(unknown());
        }
        let name = decoded(self.need("the name of a field")?);
        let (components, kind) = match key {
            "VECTORS" | "NORMALS" => (3, self.kind()?),
            "TENSORS" => (9, self.kind()?),
            "TENSORS6" => (6, self.kind()?),
            "GLOBAL_IDS" | "PEDIGREE_IDS" => (1, self.kind()?),
            "TEXTURE_COORDINATES" => (self.count("components")?, self.kind()?),
            // Colours: bytes in a binary file, numbers from 0 to 1 in a text.
            "COLOR_SCALARS" => (self.count("components")?, Kind::U8),
            "LOOKUP_TABLE" => {
                let count = self.count("colours")?.saturating_mul(4);
                return self.skip(Kind::U8, Expected { name: &name, count });
            }
            _ => {
                let kind = self.kind()?;
                let line = self.line();
                let text = std::str::from_utf8(line).unwrap_or("").trim();
                let components = if text.is_empty() { Some(1) } else { text.parse().ok() };
                let components = components.filter(|n| *n > 0).ok_or_else(unknown)?;
                self.named("LOOKUP_TABLE")?;
                let _table = self.need("the name of a table of colours")?;
                (components, kind)
            }
        };
        let count = tuples.checked_mul(components).ok_or_else(unknown)?;
        self.field(&name, at, components, kind, count, fields)
    }

    fn field(
        &mut self,
        name: &str,
        at: At,
        components: usize,
        kind: Kind,
        count: usize,
        fields: &mut Fields<'_>,
    ) -> Result<(), StressError> {
        let expected = Expected { name, count };
        if name != fields.wanted {
            fields.names.push(name.to_owned());
            return self.skip(kind, expected);
        }
        check_components(name, components)?;
        let values = self.numbers(kind, expected)?;
        fields.keep(at, components, values);
        Ok(())
    }
}

/// A name without the escapes of spaces and other characters: `von%20Mises`.
fn decoded(name: &str) -> String {
    let bytes = name.as_bytes();
    let mut out = Vec::with_capacity(bytes.len());
    let mut at = 0;
    while at < bytes.len() {
        let digits = bytes.get(at + 1..at + 3).and_then(|digits| std::str::from_utf8(digits).ok());
        match digits.and_then(|digits| u8::from_str_radix(digits, 16).ok()).filter(|_| bytes[at] == b'%') {
            Some(byte) => {
                out.push(byte);
                at += 3;
            }
            None => {
                out.push(bytes[at]);
                at += 1;
            }
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}
