//! Arrays of numbers as they are in files: as text and as bytes.
//!
//! What is reserved for an array is the number of values that its file must have, and no more than its data can contain;
//! the limits of `mesh.rs` are checked before.

use std::io::Read;

use super::error::StressError;

/// The type of the numbers of an array.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    I64,
    U64,
    F32,
    F64,
}

impl Kind {
    pub(super) fn of_vtu(name: &str) -> Option<Self> {
        Some(match name {
            "Int8" => Self::I8,
            "UInt8" => Self::U8,
            "Int16" => Self::I16,
            "UInt16" => Self::U16,
            "Int32" => Self::I32,
            "UInt32" => Self::U32,
            "Int64" => Self::I64,
            "UInt64" => Self::U64,
            "Float32" => Self::F32,
            "Float64" => Self::F64,
            _ => return None,
        })
    }

    pub(super) fn of_legacy(name: &str) -> Option<Self> {
        Some(match name {
            "char" | "signed_char" => Self::I8,
            "unsigned_char" => Self::U8,
            "short" => Self::I16,
            "unsigned_short" => Self::U16,
            "int" | "vtkIdType" => Self::I32,
            "unsigned_int" => Self::U32,
            "long" | "vtktypeint64" => Self::I64,
            "unsigned_long" | "vtktypeuint64" => Self::U64,
            "float" => Self::F32,
            "double" => Self::F64,
            _ => return None,
        })
    }

    pub(super) fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::I64 | Self::U64 | Self::F64 => 8,
        }
    }
}

/// A number that arrays are read into.
pub(super) trait Number: Copy {
    fn of_integer(value: i64) -> Option<Self>;
    fn of_float(value: f64) -> Option<Self>;
    fn of_text(text: &[u8]) -> Option<Self>;
}

impl Number for f64 {
    fn of_integer(value: i64) -> Option<Self> {
        Some(value as f64)
    }
    fn of_float(value: f64) -> Option<Self> {
        Some(value)
    }
    fn of_text(text: &[u8]) -> Option<Self> {
        std::str::from_utf8(text).ok()?.parse().ok()
    }
}

impl Number for u32 {
    fn of_integer(value: i64) -> Option<Self> {
        Self::try_from(value).ok()
    }
    fn of_float(_: f64) -> Option<Self> {
        None
    }
    fn of_text(text: &[u8]) -> Option<Self> {
        if text.is_empty() || text.len() > 10 {
            return None;
        }
        let digits = text
            .iter()
            .try_fold(0_u64, |all, digit| digit.is_ascii_digit().then(|| all * 10 + u64::from(digit - b'0')));
        Self::try_from(digits?).ok()
    }
}

impl Number for u8 {
    fn of_integer(value: i64) -> Option<Self> {
        Self::try_from(value).ok()
    }
    fn of_float(_: f64) -> Option<Self> {
        None
    }
    fn of_text(text: &[u8]) -> Option<Self> {
        u32::of_text(text).and_then(|value| Self::try_from(value).ok())
    }
}

/// The name of an array in messages, and how many numbers it must have.
#[derive(Clone, Copy, Debug)]
pub(super) struct Expected<'a> {
    pub(super) name: &'a str,
    pub(super) count: usize,
}

impl Expected<'_> {
    fn wrong_count(&self, found: &str) -> StressError {
        let name = super::error::short(self.name);
        StressError::damaged(format!("`{name}` has {found} numbers; the file needs {} of them", self.count))
    }

    fn wrong_number(&self, at: usize) -> StressError {
        let name = super::error::short(self.name);
        StressError::damaged(format!("number {at} of `{name}` is not a number of its type"))
    }

    /// Reserves what is needed, if the data of an array can have no more than `most` bytes.
    fn reserve<T>(&self, out: &mut impl Sink<T>, kind: Kind, most: usize) {
        out.reserve(self.count.min(most / kind.size()));
    }
}

/// What takes the numbers of an array, one after the other.
pub(super) trait Sink<T> {
    /// So many more numbers will come.
    fn reserve(&mut self, more: usize);

    /// The next number.
    fn push(&mut self, number: T);
}

impl<T> Sink<T> for Vec<T> {
    fn reserve(&mut self, more: usize) {
        if self.is_empty() {
            self.reserve_exact(more);
        } else {
            Vec::reserve(self, more);
        }
    }

    fn push(&mut self, number: T) {
        Vec::push(self, number);
    }
}

/// Makes 6 components of 9 while they are read: XX XY XZ YX YY YZ ZX ZY ZZ to XX YY ZZ XY YZ XZ.
#[derive(Default)]
pub(super) struct Symmetric {
    tensor: [f64; 9],
    filled: usize,
    pub(super) out: Vec<f64>,
}

impl Symmetric {
    /// With the tensors before them.
    pub(super) fn after(out: Vec<f64>) -> Self {
        Self { out, ..Self::default() }
    }
}

impl Sink<f64> for Symmetric {
    fn reserve(&mut self, more: usize) {
        Sink::reserve(&mut self.out, more / 9 * 6);
    }

    fn push(&mut self, number: f64) {
        self.tensor[self.filled] = number;
        self.filled += 1;
        if self.filled == 9 {
            let t = &self.tensor;
            let six = [t[0], t[4], t[8], (t[1] + t[3]) / 2.0, (t[5] + t[7]) / 2.0, (t[2] + t[6]) / 2.0];
            self.out.extend_from_slice(&six);
            self.filled = 0;
        }
    }
}

/// Reads numbers of a text; returns what follows them.
pub(super) fn some_of_text<'a, T: Number>(
    mut text: &'a [u8],
    expected: Expected<'_>,
    out: &mut impl Sink<T>,
) -> Result<&'a [u8], StressError> {
    // A number and a space have two bytes or more.
    out.reserve(expected.count.min(text.len() / 2 + 1));
    for read in 0..expected.count {
        text = text.trim_ascii_start();
        let end = text.iter().position(u8::is_ascii_whitespace).unwrap_or(text.len());
        if end == 0 {
            return Err(expected.wrong_count(&read.to_string()));
        }
        let (word, rest) = text.split_at(end);
        out.push(T::of_text(word).ok_or_else(|| expected.wrong_number(read))?);
        text = rest;
    }
    Ok(text)
}

/// Reads all numbers of a text.
pub(super) fn of_text<T: Number>(
    text: &str,
    expected: Expected<'_>,
    out: &mut impl Sink<T>,
) -> Result<(), StressError> {
    let rest = some_of_text(text.as_bytes(), expected, out)?;
    if rest.trim_ascii().is_empty() { Ok(()) } else { Err(expected.wrong_count("more")) }
}

/// Numbers as bytes: their type and their order.
#[derive(Clone, Copy, Debug)]
pub(super) struct Form {
    pub(super) kind: Kind,
    pub(super) big_endian: bool,
}

/// Reads the numbers of a reader, which has `most` bytes at most.
pub(super) fn of_reader<T: Number>(
    mut reader: impl Read,
    most: usize,
    form: Form,
    expected: Expected<'_>,
    out: &mut impl Sink<T>,
) -> Result<(), StressError> {
    let size = form.kind.size();
    expected.reserve(out, form.kind, most);
    let mut buffer = vec![0; (1 << 16).min(most.max(size))];
    let (mut kept, mut done) = (0, 0);
    loop {
        let read = reader.read(&mut buffer[kept..]);
        let read =
            read.map_err(|error| StressError::damaged(format!("`{}`: {error}", super::error::short(expected.name))))?;
        if read == 0 {
            break;
        }
        let filled = kept + read;
        let whole = filled - filled % size;
        // The last block may be one number too long, not more.
        let used = whole.min((expected.count + 1 - done).saturating_mul(size));
        append(form, &buffer[..used], out).map_err(|at| expected.wrong_number(done + at))?;
        done += used / size;
        if done > expected.count {
            return Err(expected.wrong_count("more"));
        }
        buffer.copy_within(whole..filled, 0);
        kept = filled - whole;
    }
    if kept > 0 {
        return Err(expected.wrong_count("a part of its"));
    }
    if done == expected.count { Ok(()) } else { Err(expected.wrong_count(&done.to_string())) }
}

/// Appends numbers; the position of the first one that does not fit into the type of the array is an error.
pub(super) fn append<T: Number>(form: Form, bytes: &[u8], out: &mut impl Sink<T>) -> Result<(), usize> {
    macro_rules! all {
        ($number:ty, $make:expr) => {{
            let (chunks, _) = bytes.as_chunks::<{ size_of::<$number>() }>();
            for (at, chunk) in chunks.iter().enumerate() {
                let number =
                    if form.big_endian { <$number>::from_be_bytes(*chunk) } else { <$number>::from_le_bytes(*chunk) };
                out.push($make(number).ok_or(at)?);
            }
            Ok(())
        }};
    }
    match form.kind {
        Kind::I8 => all!(i8, |n| T::of_integer(i64::from(n))),
        Kind::U8 => all!(u8, |n| T::of_integer(i64::from(n))),
        Kind::I16 => all!(i16, |n| T::of_integer(i64::from(n))),
        Kind::U16 => all!(u16, |n| T::of_integer(i64::from(n))),
        Kind::I32 => all!(i32, |n| T::of_integer(i64::from(n))),
        Kind::U32 => all!(u32, |n| T::of_integer(i64::from(n))),
        Kind::I64 => all!(i64, |n| T::of_integer(n)),
        Kind::U64 => all!(u64, |n| i64::try_from(n).ok().and_then(T::of_integer)),
        Kind::F32 => all!(f32, |n| T::of_float(f64::from(n))),
        Kind::F64 => all!(f64, |n| T::of_float(n)),
    }
}
