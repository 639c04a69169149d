//! How the arrays of a VTU file are stored: with their length in front, and compressed.

use std::io::Read;

use flate2::read::ZlibDecoder;

use super::arrays::{Expected, Form, Kind, Number, Sink, append, of_reader};
use super::error::StressError;

/// No byte of zlib becomes more bytes (RFC 1951: 258 of them for two bits at least).
const LARGEST_RATIO: usize = 1032;

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
    /// Reads the numbers of an array with its header; the reader has `most` bytes at most.
    pub(super) fn numbers<T: Number>(
        self,
        mut reader: impl Read,
        most: usize,
        kind: Kind,
        expected: Expected<'_>,
        out: &mut impl Sink<T>,
    ) -> Result<(), StressError> {
        let form = Form { kind, big_endian: self.big_endian };
        if self.zlib {
            let blocks = Blocks::new(reader, self, expected.name)?;
            return of_reader(blocks, most.saturating_mul(LARGEST_RATIO), form, expected, out);
        }
        let bytes = self.length(&mut reader, expected.name)?;
        of_reader(reader.take(bytes), most, form, expected, out)
    }

    fn length(self, reader: &mut impl Read, name: &str) -> Result<u64, StressError> {
        let mut bytes = [0; 8];
        let own = &mut bytes[..self.header.size()];
        let cut = || StressError::damaged(format!("`{}` ends before its numbers", super::error::short(name)));
        reader.read_exact(own).map_err(|_| cut())?;
        let mut out: Vec<f64> = Vec::new();
        let form = Form { kind: self.header, big_endian: self.big_endian };
        append(form, own, &mut out).map_err(|_| cut())?;
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
