//! Unstructured grids in VTK's legacy format (`.vtk`), up to version 5.1; binary data is big-endian.

use super::arrays::{Expected, Form, Kind, Number, Sink, Symmetric, of_reader, some_of_text};
use super::error::{StressError, short};
use super::mesh::{At, Mesh, Stress, check_arrays, check_counts, check_ids, check_memory, kept};

/// A file of which everything but the numbers of fields was read.
pub(super) struct File<'a> {
    mesh: Mesh,
    fields: Vec<Field<'a>>,
    binary: bool,
    /// Why it cannot be read to its end.
    broken: Option<StressError>,
}

/// A field, with the text that begins with its numbers.
struct Field<'a> {
    name: String,
    at: At,
    components: usize,
    kind: Kind,
    /// How many values it has.
    values: usize,
    /// How many its section has.
    places: usize,
    rest: &'a [u8],
}

impl<'a> File<'a> {
    /// Reads the mesh, counts the numbers that are read or skipped, and finds the fields.
    pub(super) fn open(bytes: &'a [u8], work: &mut u64) -> Result<Self, StressError> {
        let mut text = Text::new(bytes)?;
        let (mut mesh, mut fields) = (Mesh::default(), Vec::new());
        let read = text.read(&mut mesh, &mut fields);
        *work += text.work;
        // What is wrong with a field may be why what follows it cannot be read.
        let broken = read.err();
        if let Some(error) = broken.as_ref().filter(|_| fields.is_empty() || mesh.types.len() != mesh.ends.len()) {
            return Err(error.clone());
        }
        if mesh.types.len() != mesh.ends.len() {
            let message =
                format!("the file has {} elements and {} types of elements", mesh.ends.len(), mesh.types.len());
            return Err(StressError::damaged(message));
        }
        Ok(Self { mesh, fields, binary: text.binary, broken })
    }

    pub(super) fn mesh(&self) -> &Mesh {
        &self.mesh
    }

    /// The field of a name: the last one of those at nodes, otherwise of those in elements.
    fn field(&self, name: &str) -> Option<&Field<'a>> {
        let of = |at: At| self.fields.iter().rfind(|field| field.at == at && field.name == name);
        of(At::Nodes).or_else(|| of(At::Cells))
    }

    /// The numbers that a field has.
    pub(super) fn count(&self, name: &str) -> u64 {
        self.field(name).map_or(0, |field| (field.values as u64).saturating_mul(field.components as u64))
    }

    /// Reads a field.
    pub(super) fn stress(&self, name: &str) -> Result<Stress, StressError> {
        let broken = || self.broken.clone().map_or(Ok(()), Err);
        let Some(field) = self.field(name) else {
            broken()?;
            let names: Vec<String> = self.fields.iter().map(|field| field.name.clone()).collect();
            return Err(StressError::no_field("field", name, &names));
        };
        let (at, components) = (field.at, field.components);
        let (found, places, word) = (field.values, self.mesh.places(at), at.word());
        if found != field.places || found != places {
            let places = if found == field.places { places } else { field.places };
            let message = format!("the field `{}` has {found} values for {places} {word}s", short(name));
            return Err(StressError::damaged(message));
        }
        self.mesh.check_field(name, at, components)?;
        broken()?;
        let mut text = Text { rest: field.rest, binary: self.binary, with_offsets: false, work: 0 };
        let expected = Expected { name, count: field.values * components };
        let values = if components == 9 {
            let mut all = Symmetric::default();
            text.numbers(field.kind, expected, &mut all)?;
            all.out
        } else {
            let mut values = Vec::new();
            text.numbers(field.kind, expected, &mut values)?;
            values
        };
        Ok(Stress { at, components: kept(components), values })
    }
}

/// The text that is not read yet.
struct Text<'a> {
    rest: &'a [u8],
    binary: bool,
    /// Whether elements have offsets and connectivity, since version 5.
    with_offsets: bool,
    /// The numbers that were read or skipped.
    work: u64,
}

impl<'a> Text<'a> {
    fn new(bytes: &'a [u8]) -> Result<Self, StressError> {
        let mut file = Self { rest: bytes, binary: false, with_offsets: false, work: 0 };
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

    /// Reads the mesh, and finds the fields.
    fn read(&mut self, mesh: &mut Mesh, fields: &mut Vec<Field<'a>>) -> Result<(), StressError> {
        // The section of data, and the number of its tuples.
        let mut section: Option<(At, usize)> = None;
        while let Some(key) = self.word() {
            match key.to_ascii_uppercase().as_str() {
                "DATASET" => {
                    let kind = self.need("the kind of data")?;
                    if kind != "UNSTRUCTURED_GRID" {
                        let message = format!("the file has a `{}`, not an `UNSTRUCTURED_GRID`", short(kind));
                        return Err(StressError::new(message, "export the volume mesh as an unstructured grid"));
                    }
                }
                "POINTS" => {
                    let count = self.count("nodes")?;
                    check_counts(count, 0)?;
                    check_memory(count, mesh.types.len(), mesh.ids.len(), 0)?;
                    let kind = self.kind()?;
                    mesh.points.clear();
                    self.numbers(kind, Expected { name: "POINTS", count: 3 * count }, &mut mesh.points)?;
                }
                "CELLS" => self.cells(mesh)?,
                "CELL_TYPES" => {
                    let count = self.count("elements")?;
                    check_counts(0, count)?;
                    mesh.types.clear();
                    self.numbers(Kind::I32, Expected { name: "CELL_TYPES", count }, &mut mesh.types)?;
                }
                "POINT_DATA" => section = Some((At::Nodes, self.count("nodes")?)),
                "CELL_DATA" => section = Some((At::Cells, self.count("elements")?)),
                "METADATA" => self.skip_to_empty_line(),
                "FIELD" => {
                    let _name = self.need("the name of a field")?;
                    let arrays = self.count("arrays")?;
                    for _ in 0..arrays {
                        self.array(section, fields)?;
                    }
                }
                other => match section {
                    Some(section) => self.attribute(other, section, fields)?,
                    None => return Err(StressError::damaged(format!("unknown key `{}`", short(key)))),
                },
            }
        }
        Ok(())
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

    fn numbers<T: Number>(
        &mut self,
        kind: Kind,
        expected: Expected<'_>,
        out: &mut impl Sink<T>,
    ) -> Result<(), StressError> {
        self.work += expected.count as u64;
        if !self.binary {
            self.rest = some_of_text(self.rest, expected, out)?;
            return Ok(());
        }
        let bytes = self.bytes(kind, expected)?;
        of_reader(bytes, bytes.len(), Form { kind, big_endian: true }, expected, out)
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
        self.work = self.work.saturating_add(expected.count.min(self.rest.len()) as u64);
        if self.binary {
            return self.bytes(kind, expected).map(drop);
        }
        for _ in 0..expected.count {
            self.rest = self.rest.trim_ascii_start();
            let end = self.rest.iter().position(u8::is_ascii_whitespace).unwrap_or(self.rest.len());
            if end == 0 {
                return Err(StressError::damaged("the file ends before all numbers of a field"));
            }
            self.rest = &self.rest[end..];
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
            check_memory(mesh.nodes(), cells, size, 0)?;
            let mut offsets: Vec<u32> = Vec::new();
            self.numbers(kind, Expected { name: "OFFSETS", count: cells }, &mut offsets)?;
            self.named("CONNECTIVITY")?;
            let kind = self.kind()?;
            mesh.ids.clear();
            self.numbers(kind, Expected { name: "CONNECTIVITY", count: size }, &mut mesh.ids)?;
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
        check_memory(mesh.nodes(), cells, size, 0)?;
        let mut ids: Vec<u32> = Vec::new();
        self.numbers(Kind::I32, Expected { name: "CELLS", count: size }, &mut ids)?;
        let (mut from, mut to) = (0, 0);
        mesh.ends.clear();
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
    fn array(&mut self, section: Option<(At, usize)>, fields: &mut Vec<Field<'a>>) -> Result<(), StressError> {
        let mut name = self.need("the name of a field")?;
        if name == "METADATA" {
            self.skip_to_empty_line();
            name = self.need("the name of a field")?;
        }
        check_arrays(fields.len())?;
        let name = decoded(name);
        let (components, tuples) = (self.count("components")?, self.count("values")?);
        let kind = self.kind()?;
        let count = tuples.checked_mul(components).ok_or_else(|| StressError::damaged("a field is too large"))?;
        if let Some((at, own)) = section {
            let name = name.clone();
            fields.push(Field { name, at, components, kind, values: tuples, places: own, rest: self.rest });
        }
        self.skip(kind, Expected { name: &name, count })
    }

    /// A field in its own section, such as `SCALARS`.
    fn attribute(&mut self, key: &str, section: (At, usize), fields: &mut Vec<Field<'a>>) -> Result<(), StressError> {
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
        check_arrays(fields.len())?;
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
        fields.push(Field {
            name: name.clone(),
            at,
            components,
            kind,
            values: tuples,
            places: tuples,
            rest: self.rest,
        });
        self.skip(kind, Expected { name: &name, count })
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
