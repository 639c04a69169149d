//! Unstructured grids in VTK's XML format (`.vtu`).
//!
//! The XML ends at `<AppendedData`: what is behind it may be raw bytes. Several pieces are put together.

use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

use super::arrays::{Expected, Kind, Number, Sink, Symmetric, of_text};
use super::base64::Base64;
use super::error::StressError;
use super::mesh::{At, Mesh, Stress, check_arrays, check_counts, check_ids, check_memory, kept};
use super::storage::Storage;
use crate::parallel::both;

/// From this number of ids on, two threads read the arrays of a piece.
const MANY_IDS: usize = 1 << 17;

/// An array as the XML describes it.
#[derive(Debug)]
struct Array<'a> {
    name: String,
    kind: Option<Kind>,
    components: usize,
    format: String,
    offset: Option<usize>,
    text: &'a str,
}

#[derive(Debug, Default)]
struct Piece<'a> {
    point_count: usize,
    cell_count: usize,
    points: Option<Array<'a>>,
    /// `connectivity`, `offsets`, `types`.
    cells: Vec<Array<'a>>,
    at_nodes: Vec<Array<'a>>,
    at_cells: Vec<Array<'a>>,
}

impl<'a> Piece<'a> {
    fn fields(&self, at: At) -> &[Array<'a>] {
        match at {
            At::Nodes => &self.at_nodes,
            At::Cells => &self.at_cells,
        }
    }

    fn field(&self, at: At, name: &str) -> Option<&Array<'a>> {
        self.fields(at).iter().find(|array| array.name == name)
    }

    fn cells(&self, name: &str) -> Result<&Array<'a>, StressError> {
        let found = self.cells.iter().find(|array| array.name == name);
        found.ok_or_else(|| StressError::damaged(format!("the elements have no `{name}`")))
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Section {
    Points,
    Cells,
    AtNodes,
    AtCells,
}

fn find(bytes: &[u8], what: &[u8]) -> Option<usize> {
    memchr::memmem::find(bytes, what)
}

/// The pieces of the XML, and how arrays are stored.
fn pieces(xml: &str) -> Result<(Storage, Vec<Piece<'_>>), StressError> {
    let mut reader = Reader::from_str(xml);
    let mut storage = None;
    let (mut pieces, mut section, mut array): (Vec<Piece<'_>>, _, Option<(Array<'_>, usize)>) =
        (Vec::new(), None, None);
    let mut count = 0;
    let mut count_one = || {
        count += 1;
        check_arrays(count)
    };
    loop {
        let event = reader.read_event();
        let damaged = |error: quick_xml::Error| {
            let text: String = error.to_string().chars().take(100).collect();
            StressError::damaged(format!("the XML of the file is damaged: {text}"))
        };
        let event = event.map_err(damaged)?;
        match event {
            Event::Eof => break,
            Event::Start(tag) => {
                if let Some((_, depth)) = &mut array {
                    *depth += 1;
                    continue;
                }
                match tag.name().as_ref() {
                    "VTKFile" => storage = Some(storage_of(&tag)?),
                    "Piece" => {
                        count_one()?;
                        pieces.push(piece_of(&tag)?);
                    }
                    "Points" => section = Some(Section::Points),
                    "Cells" => section = Some(Section::Cells),
                    "PointData" => section = Some(Section::AtNodes),
                    "CellData" => section = Some(Section::AtCells),
                    "FieldData" => section = None,
                    "DataArray" => {
                        count_one()?;
                        array = Some((array_of(&tag)?, 0));
                    }
                    _ => {}
                }
            }
            Event::Empty(tag) if array.is_none() => match tag.name().as_ref() {
                "Piece" => {
                    count_one()?;
                    pieces.push(piece_of(&tag)?);
                }
                "DataArray" => {
                    count_one()?;
                    keep(&mut pieces, section, array_of(&tag)?);
                }
                _ => {}
            },
            Event::Text(text) => {
                if let Some((array, 0)) = &mut array
                    && let std::borrow::Cow::Borrowed(text) = text.into_inner()
                    && array.text.is_empty()
                {
                    array.text = text.trim();
                }
            }
            Event::End(tag) => match array.take() {
                Some((array, 0)) => keep(&mut pieces, section, array),
                Some((open, depth)) => array = Some((open, depth - 1)),
                None if matches!(tag.name().as_ref(), "Points" | "Cells" | "PointData" | "CellData") => section = None,
                None => {}
            },
            _ => {}
        }
    }
    let storage = storage.ok_or_else(|| StressError::damaged("the file is XML, but not a VTK file"))?;
    if pieces.is_empty() {
        return Err(StressError::damaged("the file has no mesh"));
    }
    Ok((storage, pieces))
}

fn keep<'a>(pieces: &mut [Piece<'a>], section: Option<Section>, array: Array<'a>) {
    let (Some(piece), Some(section)) = (pieces.last_mut(), section) else { return };
    match section {
        Section::Points => piece.points = Some(array),
        Section::Cells => piece.cells.push(array),
        Section::AtNodes => piece.at_nodes.push(array),
        Section::AtCells => piece.at_cells.push(array),
    }
}

fn attribute(tag: &BytesStart<'_>, name: &str) -> Result<Option<String>, StressError> {
    let damaged = || StressError::damaged("the XML of the file has a damaged attribute");
    let Some(found) = tag.try_get_attribute(name).map_err(|_| damaged())? else { return Ok(None) };
    let value = found.normalized_value(XmlVersion::Implicit1_0).map_err(|_| damaged())?;
    Ok(Some(value.into_owned()))
}

fn count(tag: &BytesStart<'_>, name: &str) -> Result<usize, StressError> {
    let text = attribute(tag, name)?;
    let number = text.and_then(|text| text.trim().parse().ok());
    number.ok_or_else(|| StressError::damaged(format!("the mesh has no `{name}`")))
}

fn piece_of<'a>(tag: &BytesStart<'_>) -> Result<Piece<'a>, StressError> {
    Ok(Piece {
        point_count: count(tag, "NumberOfPoints")?,
        cell_count: count(tag, "NumberOfCells")?,
        ..Piece::default()
    })
}

fn storage_of(tag: &BytesStart<'_>) -> Result<Storage, StressError> {
    let kind = attribute(tag, "type")?.unwrap_or_default();
    if kind != "UnstructuredGrid" {
        return Err(StressError::new(
            format!("the file has a `{}`, not an `UnstructuredGrid`", super::error::short(&kind)),
            "export the volume mesh as VTU; a parallel file (`.pvtu`) only lists the `.vtu` files",
        ));
    }
    let zlib = match attribute(tag, "compressor")?.as_deref() {
        None | Some("") => false,
        Some("vtkZLibDataCompressor") => true,
        Some(other) => {
            return Err(StressError::new(
                format!("the file is compressed by `{}`, which is not read", super::error::short(other)),
                "export it with zlib, or without compression",
            ));
        }
    };
    let header = match attribute(tag, "header_type")?.as_deref() {
        None | Some("UInt32") => Kind::U32,
        Some("UInt64") => Kind::U64,
        Some(other) => {
            return Err(StressError::damaged(format!("unknown type of header `{}`", super::error::short(other))));
        }
    };
    let big_endian = attribute(tag, "byte_order")?.is_some_and(|order| order == "BigEndian");
    Ok(Storage { header, big_endian, zlib })
}

fn array_of<'a>(tag: &BytesStart<'_>) -> Result<Array<'a>, StressError> {
    let number = |name: &str| -> Result<Option<usize>, StressError> {
        let Some(text) = attribute(tag, name)? else { return Ok(None) };
        let number = text.trim().parse().map_err(|_| StressError::damaged(format!("an array has a wrong `{name}`")))?;
        Ok(Some(number))
    };
    Ok(Array {
        name: attribute(tag, "Name")?.unwrap_or_default(),
        kind: Kind::of_vtu(&attribute(tag, "type")?.unwrap_or_default()),
        components: number("NumberOfComponents")?.unwrap_or(1).max(1),
        format: attribute(tag, "format")?.unwrap_or_else(|| "ascii".to_owned()),
        offset: number("offset")?,
        text: "",
    })
}

/// What is behind the XML.
enum Appended<'a> {
    None,
    Raw(&'a [u8]),
    Base64(&'a [u8]),
}

impl<'a> Appended<'a> {
    fn new(bytes: &'a [u8]) -> Result<Self, StressError> {
        if bytes.is_empty() {
            return Ok(Self::None);
        }
        let cut = || StressError::damaged("the appended data is cut off");
        let end = bytes.iter().position(|byte| *byte == b'>').ok_or_else(cut)?;
        let (tag, rest) = bytes.split_at(end);
        let begin = rest.iter().position(|byte| *byte == b'_').ok_or_else(cut)?;
        let data = &rest[begin + 1..];
        if find(tag, b"\"raw\"").or_else(|| find(tag, b"'raw'")).is_some() {
            return Ok(Self::Raw(data));
        }
        let end = data.iter().position(|byte| *byte == b'<').unwrap_or(data.len());
        Ok(Self::Base64(&data[..end]))
    }
}

/// A file of which the XML was read.
pub(super) struct File<'a> {
    storage: Storage,
    appended: Appended<'a>,
    pieces: Vec<Piece<'a>>,
}

impl<'a> File<'a> {
    /// Reads the XML.
    pub(super) fn open(bytes: &'a [u8]) -> Result<Self, StressError> {
        let at = find(bytes, b"<AppendedData");
        let (xml, appended) = bytes.split_at(at.unwrap_or(bytes.len()));
        let xml = std::str::from_utf8(xml).map_err(|_| StressError::damaged("the XML of the file is not UTF-8"))?;
        let (storage, pieces) = pieces(xml)?;
        Ok(Self { storage, appended: Appended::new(appended)?, pieces })
    }

    /// Reads an array of numbers.
    fn numbers<T: Number>(
        &self,
        array: &Array<'_>,
        expected: usize,
        out: &mut impl Sink<T>,
    ) -> Result<(), StressError> {
        let expected = Expected { name: &array.name, count: expected };
        let short = super::error::short(&array.name);
        let kind = array.kind.ok_or_else(|| StressError::damaged(format!("`{short}` has no numbers")))?;
        let outside = || {
            let offset = array.offset.map_or_else(|| "none".to_owned(), |offset| offset.to_string());
            StressError::damaged(format!("`{short}` is outside of the appended data (offset {offset})"))
        };
        match (array.format.as_str(), &self.appended) {
            ("ascii", _) => of_text(array.text, expected, out),
            // An array without numbers may have no text at all.
            ("binary", _) if array.text.is_empty() && expected.count == 0 => Ok(()),
            ("binary", _) => {
                let text = array.text.as_bytes();
                self.storage.numbers(Base64::new(text), text.len(), kind, expected, out)
            }
            ("appended", Appended::Raw(data)) => {
                let data = array.offset.and_then(|offset| data.get(offset..)).ok_or_else(outside)?;
                self.storage.numbers(data, data.len(), kind, expected, out)
            }
            ("appended", Appended::Base64(data)) => {
                let data = array.offset.and_then(|offset| data.get(offset..)).ok_or_else(outside)?;
                self.storage.numbers(Base64::new(data), data.len(), kind, expected, out)
            }
            ("appended", Appended::None) => Err(outside()),
            (other, _) => Err(StressError::damaged(format!("unknown format `{}`", super::error::short(other)))),
        }
    }

    /// Reads the mesh, and counts its numbers.
    pub(super) fn mesh(&self, work: &mut u64) -> Result<Mesh, StressError> {
        let mut mesh = Mesh::default();
        for piece in self.used() {
            self.add(piece, &mut mesh, work)?;
        }
        Ok(mesh)
    }

    /// The pieces that have elements.
    fn used(&self) -> impl Iterator<Item = &Piece<'a>> {
        self.pieces.iter().filter(|piece| piece.cell_count > 0)
    }

    /// Adds a piece to a mesh.
    fn add(&self, piece: &Piece<'_>, mesh: &mut Mesh, work: &mut u64) -> Result<(), StressError> {
        let (first_point, first_cell, first_id) = (mesh.nodes(), mesh.types.len(), mesh.ids.len());
        let (points, cells) =
            (first_point.saturating_add(piece.point_count), first_cell.saturating_add(piece.cell_count));
        check_counts(points, cells)?;
        check_memory(points, cells, first_id, 0)?;
        *work += (3 * piece.point_count + 2 * piece.cell_count) as u64;
        let place = piece.points.as_ref().ok_or_else(|| StressError::damaged("the mesh has no points"))?;
        let (offsets, connectivity, types) =
            (piece.cells("offsets")?, piece.cells("connectivity")?, piece.cells("types")?);
        self.numbers::<u32>(offsets, piece.cell_count, &mut mesh.ends)?;
        let ends = &mut mesh.ends[first_cell..];
        if !ends.is_sorted() {
            return Err(StressError::damaged("the `offsets` of the elements do not rise"));
        }
        let count = ends.last().copied().unwrap_or(0) as usize;
        check_ids(first_id.saturating_add(count))?;
        check_memory(points, cells, first_id + count, 0)?;
        *work += count as u64;
        ends.iter_mut().for_each(|end| *end += first_id as u32);

        let ids = || {
            let mut ids: Vec<u32> = Vec::new();
            self.numbers(connectivity, count, &mut ids).map(|()| ids)
        };
        let (all_points, all_types) = (&mut mesh.points, &mut mesh.types);
        let mut others = || {
            self.numbers::<f64>(place, 3 * piece.point_count, all_points)?;
            self.numbers::<u8>(types, piece.cell_count, all_types)
        };
        let (ids, others) = if count < MANY_IDS { (ids(), others()) } else { both(ids, others) };
        others?;
        let mut ids = ids?;
        if first_cell == 0 {
            mesh.ids = ids;
            return Ok(());
        }
        if ids.iter().any(|id| *id as usize >= piece.point_count) {
            return Err(StressError::damaged("an element names a node that its piece does not have"));
        }
        ids.iter_mut().for_each(|id| *id += first_point as u32);
        mesh.ids.extend(ids);
        Ok(())
    }

    /// Where a field is, and its components.
    fn place(&self, name: &str) -> Option<(At, usize)> {
        let of = |at: At| self.pieces.iter().find_map(|piece| Some((at, piece.field(at, name)?.components)));
        of(At::Nodes).or_else(|| of(At::Cells))
    }

    /// The numbers that a field of a mesh has.
    pub(super) fn count(&self, mesh: &Mesh, name: &str) -> u64 {
        self.place(name).map_or(0, |(at, components)| (mesh.places(at) as u64).saturating_mul(components as u64))
    }

    /// Reads a field of a mesh.
    pub(super) fn stress(&self, mesh: &Mesh, name: &str) -> Result<Stress, StressError> {
        let Some((at, _)) = self.place(name) else {
            let arrays = self.pieces.iter().flat_map(|piece| piece.at_nodes.iter().chain(&piece.at_cells));
            let known = arrays.filter(|array| array.kind.is_some()).map(|array| array.name.as_str());
            let mut seen = std::collections::HashSet::new();
            let names: Vec<&str> = known.filter(|name| seen.insert(*name)).collect();
            return Err(StressError::no_field("field", name, &names));
        };
        let (mut components, mut values) = (None, Vec::new());
        for piece in self.used() {
            let Some(field) = piece.field(at, name) else {
                return Err(StressError::damaged(format!("a piece has no field `{}`", super::error::short(name))));
            };
            mesh.check_field(name, at, field.components)?;
            if components.is_some_and(|components| components != kept(field.components)) {
                return Err(StressError::damaged("the pieces have fields of different kinds"));
            }
            components = Some(kept(field.components));
            let count = field.components * if at == At::Nodes { piece.point_count } else { piece.cell_count };
            if field.components == 9 {
                let mut all = Symmetric::after(std::mem::take(&mut values));
                self.numbers(field, count, &mut all)?;
                values = all.out;
            } else {
                self.numbers(field, count, &mut values)?;
            }
        }
        Ok(Stress { at, components: components.unwrap_or(1), values })
    }
}
