//! Pictures of the team: read through the snapshot, checked by their bytes, and put into the page.

use std::sync::Arc;

use schema::settings::FILE;
use schema::settings::deck::Deck;
use trace::snapshot::Snapshot;
use trace::talk::picture::{self, MOST_BYTES};

use super::text::typeset;

/// A picture of the team.
#[derive(Clone)]
pub(crate) struct Photo {
    /// The whole file as an address with its content.
    pub(crate) uri: Arc<str>,
    /// What it shows.
    pub(crate) alt: String,
}

/// The pictures by the id of their slide, and what is wrong with others: the keys that lead to it, and why.
pub(crate) type Photos = (Vec<(String, Photo)>, Vec<([String; 4], String)>);

/// The pictures of the settings, which the snapshot has read.
pub(crate) fn photos(snapshot: &Snapshot, deck: &Deck) -> Photos {
    let (mut all, mut wrong) = (Vec::new(), Vec::new());
    let mut left = MOST_BYTES;
    for (id, slide) in deck.slides.iter() {
        let Some(path) = &slide.picture else { continue };
        let read = || -> Result<Photo, String> {
            let content = snapshot.read(path).ok_or("no such file")?;
            let bytes = content.as_ref().map_err(|problem| problem.message.clone())?;
            let (format, _) = picture::format(bytes)?;
            if bytes.len() > left {
                return Err(format!("the pictures have more than {} MiB together", MOST_BYTES >> 20));
            }
            let uri = format!("data:{};base64,{}", format.media_type(), base64(bytes)).into();
            Ok(Photo { uri, alt: typeset(slide.alt.as_deref().unwrap_or_default()) })
        };
        match read() {
            Ok(photo) => {
                left = left.saturating_sub(photo.uri.len() / 4 * 3);
                all.push((id.to_string(), photo));
            }
            Err(why) => {
                let message = format!("cannot show `{}`: {why}", schema::words::shorten(path));
                wrong.push((["deck", "slides", id.as_str(), "picture"].map(str::to_owned), message));
            }
        }
    }
    (all, wrong)
}

/// Where the settings have something wrong: `tierod.yaml:12:7`.
pub(crate) fn place(snapshot: &Snapshot, route: &[String]) -> String {
    let bytes = snapshot.files.first().and_then(|file| file.content.as_deref().ok());
    let tree = bytes.and_then(schema::read::places);
    let spot = schema::read::locate(tree.as_ref(), route.iter().map(String::as_str), schema::read::Aim::Value);
    format!("{FILE}:{}:{}", spot.line, spot.column)
}

/// Bytes in base64 (RFC 4648, section 4).
pub(super) fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let bits = (0..3).fold(0u32, |bits, at| (bits << 8) | u32::from(three.get(at).copied().unwrap_or(0)));
        for at in 0..4 {
            let digit = DIGITS[(bits >> (18 - 6 * at)) as usize & 63];
            out.push(if at > three.len() { '=' } else { char::from(digit) });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn base64_is_that_of_the_standard() {
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
        assert_eq!(base64(&[0xff, 0xfe, 0xfd]), "//79");
    }
}
