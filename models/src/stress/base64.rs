//! Text in base64 as bytes.

use std::io::Read;

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

    /// Decodes groups of four digits up to the first that has something else; returns how many bytes there are.
    fn decode_whole(&mut self, out: &mut [u8]) -> usize {
        let (groups, _) = self.text.as_chunks::<4>();
        let (bytes, _) = out.as_chunks_mut::<3>();
        let mut done = 0;
        for (group, bytes) in groups.iter().zip(bytes) {
            let [a, b, c, d] = group.map(|digit| DIGITS[usize::from(digit)]);
            if (a | b | c | d) >= 64 {
                break;
            }
            let bits = u32::from(a) << 18 | u32::from(b) << 12 | u32::from(c) << 6 | u32::from(d);
            let [_, decoded @ ..] = bits.to_be_bytes();
            *bytes = decoded;
            done += 1;
        }
        self.text = &self.text[4 * done..];
        3 * done
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
            if self.next == self.end {
                let quick = self.decode_whole(&mut out[written..]);
                written += quick;
                if quick == 0 && !self.decode()? {
                    break;
                }
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
