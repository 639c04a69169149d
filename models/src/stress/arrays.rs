//! Arrays of numbers as they are in files: as text, as bytes, in base64, and compressed.
//!
//! Nothing is allocated for what a header claims: an array grows with the data that is there, up to the number of values
//! that its file must have.

use std::io::Read;

use flate2::read::ZlibDecoder;

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

    fn check<T>(&self, out: Vec<T>) -> Result<Vec<T>, StressError> {
        if out.len() == self.count { Ok(out) } else { Err(self.wrong_count(&out.len().to_string())) }
    }
}

/// The numbers of a text, and what follows them.
pub(super) fn some_of_text<'a, T: Number>(
    mut text: &'a [u8],
    expected: Expected<'_>,
) -> Result<(Vec<T>, &'a [u8]), StressError> {
    let mut out = Vec::new();
    while out.len() < expected.count {
        text = text.trim_ascii_start();
        let end = text.iter().position(u8::is_ascii_whitespace).unwrap_or(text.len());
        if end == 0 {
            return Err(expected.wrong_count(&out.len().to_string()));
        }
        out.push(T::of_text(&text[..end]).ok_or_else(|| expected.wrong_number(out.len()))?);
        text = &text[end..];
    }
    Ok((out, text))
}

/// All numbers of a text.
pub(super) fn of_text<T: Number>(text: &str, expected: Expected<'_>) -> Result<Vec<T>, StressError> {
    let (out, rest) = some_of_text(text.as_bytes(), expected)?;
    if rest.trim_ascii().is_empty() { Ok(out) } else { Err(expected.wrong_count("more")) }
}

/// The numbers of a reader.
pub(super) fn of_reader<T: Number>(
    mut reader: impl Read,
    kind: Kind,
    big_endian: bool,
    expected: Expected<'_>,
) -> Result<Vec<T>, StressError> {
    let mut out: Vec<T> = Vec::new();
    let mut buffer = vec![0; 1 << 16];
    let mut kept = 0;
    loop {
        let read = reader.read(&mut buffer[kept..]);
        let read =
            read.map_err(|error| StressError::damaged(format!("`{}`: {error}", super::error::short(expected.name))))?;
        if read == 0 {
            break;
        }
        let filled = kept + read;
        let whole = filled - filled % kind.size();
        // The last block may be one number too long, not more.
        let room = (expected.count + 1).saturating_sub(out.len()).saturating_mul(kind.size());
        // Twice as large each time, but never larger than what is needed.
        let more = whole.min(room) / kind.size();
        if out.capacity() - out.len() < more {
            out.reserve_exact(more.max(out.len()).min(expected.count + 1 - out.len()));
        }
        if !append(kind, big_endian, &buffer[..whole.min(room)], &mut out) {
            return Err(expected.wrong_number(out.len()));
        }
        if out.len() > expected.count {
            return Err(expected.wrong_count("more"));
        }
        buffer.copy_within(whole..filled, 0);
        kept = filled - whole;
    }
    if kept > 0 {
        return Err(expected.wrong_count("a part of its"));
    }
    expected.check(out)
}

/// Appends numbers; `false` if one does not fit into the type of the array.
fn append<T: Number>(kind: Kind, big_endian: bool, bytes: &[u8], out: &mut Vec<T>) -> bool {
    macro_rules! all {
        ($number:ty, $make:expr) => {{
            let (chunks, _) = bytes.as_chunks::<{ size_of::<$number>() }>();
            out.reserve(chunks.len());
            for chunk in chunks {
                let number =
                    if big_endian { <$number>::from_be_bytes(*chunk) } else { <$number>::from_le_bytes(*chunk) };
                match $make(number) {
                    Some(number) => out.push(number),
                    None => return false,
                }
            }
            true
        }};
    }
    match kind {
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

/// How the arrays of a VTU file are stored.
#[derive(Clone, Copy, Debug)]
pub(super) struct Storage {
    /// The type of the numbers in front of each array.
    pub(super) header: Kind,
    pub(super) big_endian: bool,
    /// Whether arrays are compressed with zlib.
    pub(super) zlib: bool,
}

impl Storage {
    /// The numbers of an array with its header.
    pub(super) fn numbers<T: Number>(
        self,
        mut reader: impl Read,
        kind: Kind,
        expected: Expected<'_>,
    ) -> Result<Vec<T>, StressError> {
        if self.zlib {
            let blocks = Blocks::new(reader, self, expected.name)?;
            return of_reader(blocks, kind, self.big_endian, expected);
        }
        let bytes = self.length(&mut reader, expected.name)?;
        of_reader(reader.take(bytes), kind, self.big_endian, expected)
    }

    fn length(self, reader: &mut impl Read, name: &str) -> Result<u64, StressError> {
        let mut bytes = [0; 8];
        let own = &mut bytes[..self.header.size()];
        let cut = || StressError::damaged(format!("`{}` ends before its numbers", super::error::short(name)));
        reader.read_exact(own).map_err(|_| cut())?;
        let mut out: Vec<f64> = Vec::new();
        append(self.header, self.big_endian, own, &mut out);
        out.first().filter(|length| **length >= 0.0).map(|length| *length as u64).ok_or_else(cut)
    }
}

/// The content of compressed blocks.
struct Blocks<R: Read> {
    /// The compressed sizes of the blocks that are left, the next one last.
    sizes: Vec<u64>,
    block: Option<ZlibDecoder<std::io::Take<R>>>,
    source: Option<R>,
}

impl<R: Read> Blocks<R> {
    /// Reads the number of blocks, their size before and that of the last one, and the compressed size of each.
    fn new(mut reader: R, storage: Storage, name: &str) -> Result<Self, StressError> {
        let count = storage.length(&mut reader, name)?;
        let _sizes = [storage.length(&mut reader, name)?, storage.length(&mut reader, name)?];
        let mut sizes = Vec::new();
        for _ in 0..count {
            sizes.push(storage.length(&mut reader, name)?);
        }
        sizes.reverse();
        Ok(Self { sizes, block: None, source: Some(reader) })
    }
}

impl<R: Read> Read for Blocks<R> {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        loop {
            if let Some(block) = &mut self.block {
                let read = block.read(out)?;
                if read > 0 || out.is_empty() {
                    return Ok(read);
                }
                let mut rest = self.block.take().map(ZlibDecoder::into_inner);
                if let Some(rest) = &mut rest {
                    std::io::copy(rest, &mut std::io::sink())?;
                }
                self.source = rest.map(std::io::Take::into_inner);
            }
            match (self.sizes.pop(), self.source.take()) {
                (Some(size), Some(source)) => self.block = Some(ZlibDecoder::new(source.take(size))),
                _ => return Ok(0),
            }
        }
    }
}

/// The bytes of a text in base64. White space is skipped, and padding may be in the middle: the header of a compressed array
/// is encoded on its own.
pub(super) struct Base64<'a> {
    text: &'a [u8],
    ready: [u8; 3],
    /// The range of `ready` that is not read yet.
    next: usize,
    end: usize,
}

impl<'a> Base64<'a> {
    pub(super) fn new(text: &'a [u8]) -> Self {
        Self { text, ready: [0; 3], next: 0, end: 0 }
    }

    /// Decodes four characters; `false` at the end.
    fn decode(&mut self) -> std::io::Result<bool> {
        let (mut bits, mut count, mut padding) = (0_u32, 0, 0);
        while count < 4 {
            let Some((first, rest)) = self.text.split_first() else { break };
            self.text = rest;
            let value = DIGITS[usize::from(*first)];
            if value < 64 && padding == 0 {
                bits = bits << 6 | u32::from(value);
            } else if *first == b'=' {
                bits <<= 6;
                padding += 1;
            } else if first.is_ascii_whitespace() {
                continue;
            } else {
                return Err(std::io::Error::new(std::io::ErrorKind::InvalidData, "not valid base64"));
            }
            count += 1;
        }
        if count == 0 {
            return Ok(false);
        }
        if count < 4 || padding > 2 {
            return Err(std::io::Error::new(std::io::ErrorKind::InvalidData, "not valid base64"));
        }
        let [_, bytes @ ..] = bits.to_be_bytes();
        (self.ready, self.next, self.end) = (bytes, 0, 3 - padding);
        Ok(true)
    }
}

impl Read for Base64<'_> {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let mut written = 0;
        while written < out.len() {
            if self.next == self.end && !self.decode()? {
                break;
            }
            while self.next < self.end && written < out.len() {
                out[written] = self.ready[self.next];
                self.next += 1;
                written += 1;
            }
        }
        Ok(written)
    }
}

/// The value of each character of base64; 64 for others.
const DIGITS: [u8; 256] = {
    let mut digits = [64; 256];
    let alphabet = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut at = 0;
    while at < 64 {
        digits[alphabet[at] as usize] = at as u8;
        at += 1;
    }
    digits
};
