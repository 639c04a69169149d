//! A picture of the team: a PNG or a JPEG by its first bytes, of a bounded size.

/// The largest file of a picture, in bytes.
pub const LARGEST: u64 = 4 << 20;
/// The largest number of bytes of all pictures of a talk.
pub const MOST_BYTES: usize = 24 << 20;
/// The largest width and height, in pixels: a small file can unpack to much memory.
pub const MOST_PIXELS: u32 = 8_000;

/// The format of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Portable Network Graphics (ISO/IEC 15948).
    Png,
    /// JPEG (ISO/IEC 10918-1).
    Jpeg,
}

impl Format {
    /// The media type.
    pub fn media_type(self) -> &'static str {
        match self {
            Self::Png => "image/png",
            Self::Jpeg => "image/jpeg",
        }
    }
}

/// Whether a path ends as a picture that can be shown.
pub fn is_picture(path: &str) -> bool {
    let ending = path.rsplit_once('.').map_or("", |(_, ending)| ending);
    ["png", "jpg", "jpeg"].iter().any(|own| ending.eq_ignore_ascii_case(own))
}

/// The format of a picture by its bytes, with its width and height.
///
/// # Errors
/// It is neither a PNG nor a JPEG, has no size, or is too large.
pub fn format(bytes: &[u8]) -> Result<(Format, [u32; 2]), String> {
    let (format, size) = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (Format::Png, png_size(bytes))
    } else if bytes.starts_with(b"\xff\xd8\xff") {
        (Format::Jpeg, jpeg_size(bytes))
    } else {
        return Err("its bytes are neither those of a PNG nor of a JPEG file".to_owned());
    };
    match size {
        Some([width, height]) if width == 0 || height == 0 => Err("it has no pixels".to_owned()),
        Some(size) if size.iter().any(|side| *side > MOST_PIXELS) => {
            Err(format!("it has {} × {} pixels; the limit is {MOST_PIXELS} × {MOST_PIXELS}", size[0], size[1]))
        }
        Some(size) => Ok((format, size)),
        None => Err("it is cut off".to_owned()),
    }
}

fn number(bytes: &[u8], at: usize, length: usize) -> Option<u32> {
    let bytes = bytes.get(at..at.checked_add(length)?)?;
    Some(bytes.iter().fold(0, |sum, byte| (sum << 8) | u32::from(*byte)))
}

/// The first chunk of a PNG has its size.
fn png_size(bytes: &[u8]) -> Option<[u32; 2]> {
    (bytes.get(12..16)? == b"IHDR").then_some(())?;
    Some([number(bytes, 16, 4)?, number(bytes, 20, 4)?])
}

/// The frame header of a JPEG has its size; the segments before it are skipped.
fn jpeg_size(bytes: &[u8]) -> Option<[u32; 2]> {
    let mut at = 2;
    loop {
        while *bytes.get(at)? == 0xff && *bytes.get(at + 1)? == 0xff {
            at += 1;
        }
        if *bytes.get(at)? != 0xff {
            return None;
        }
        let marker = *bytes.get(at + 1)?;
        let length = number(bytes, at + 2, 2)? as usize;
        match marker {
            // Start of frame; the three others of this range are tables.
            0xc0..=0xcf if !matches!(marker, 0xc4 | 0xc8 | 0xcc) => {
                return Some([number(bytes, at + 7, 2)?, number(bytes, at + 5, 2)?]);
            }
            // The image data, or its end, without a frame before it.
            0xda | 0xd9 => return None,
            _ if length < 2 => return None,
            _ => at += 2 + length,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn png(width: u32, height: u32) -> Vec<u8> {
        let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
        bytes.extend(width.to_be_bytes());
        bytes.extend(height.to_be_bytes());
        bytes
    }

    #[test]
    fn formats_are_found_by_their_bytes() {
        assert_eq!(format(&png(640, 480)), Ok((Format::Png, [640, 480])));
        let jpeg = b"\xff\xd8\xff\xe0\0\x04ab\xff\xff\xc0\0\x0b\x08\x01\xe0\x02\x80\x01\x01\x11\0";
        assert_eq!(format(jpeg), Ok((Format::Jpeg, [640, 480])));
        let wrong = |bytes: &[u8]| format(bytes).unwrap_err();
        assert!(wrong(b"<svg onload='alert(1)'/>").contains("neither"));
        assert!(wrong(b"GIF89a").contains("neither") && wrong(b"").contains("neither"));
        assert!(wrong(&png(0, 4)).contains("no pixels"));
        assert!(wrong(&png(8_001, 4)).contains("8001 × 4 pixels"));
        assert!(wrong(&png(4, 4)[..20]).contains("cut off"));
        for cut in 0..jpeg.len() - 4 {
            assert!(format(&jpeg[..cut]).is_err(), "{cut}");
        }
        assert!(wrong(b"\xff\xd8\xff\xe0\0\0").contains("cut off"), "a segment without a length");
        assert!(wrong(b"\xff\xd8\xff\xda\0\x04").contains("cut off"));
    }

    #[test]
    fn paths() {
        assert!(is_picture("a/b.png") && is_picture("b.JPG") && is_picture("c.jpeg"));
        assert!(!is_picture("b.svg") && !is_picture("png") && !is_picture("a.png.html"));
    }
}
