//! The XML of a workbook as a row of starts, ends and texts. Nothing is expanded: no entity, no repetition.

use std::borrow::Cow;

use quick_xml::XmlVersion;
use quick_xml::events::{BytesStart, Event};
use schema::words::shorten;

use super::damaged;
use crate::Error;

/// A piece of a part; an empty element has a start and an end.
pub(super) enum Piece<'p> {
    /// The start of an element.
    Start(Start<'p>),
    /// The end of an element, by its name as it is written.
    End(&'p str),
    /// A text, or a part of one.
    Text(&'p str),
}

/// The start of an element.
pub(super) struct Start<'p> {
    part: &'p str,
    element: &'p BytesStart<'p>,
}

impl Start<'_> {
    /// The name as it is written, with its prefix.
    pub(super) fn name(&self) -> &str {
        self.element.name().into_inner()
    }

    /// The name without its prefix.
    pub(super) fn local_name(&self) -> &str {
        local(self.name())
    }

    /// An attribute by its name as it is written.
    pub(super) fn attribute(&self, key: &str) -> Result<Option<String>, Error> {
        let found = self.element.try_get_attribute(key).map_err(|error| self.damaged(&error))?;
        let Some(found) = found else { return Ok(None) };
        let value = found.normalized_value(XmlVersion::Explicit1_0);
        value.map(|value| Some(value.into_owned())).map_err(|error| self.damaged(&error))
    }

    /// An attribute with any prefix, by its name without it.
    pub(super) fn prefixed(&self, key: &str) -> Result<Option<String>, Error> {
        for found in self.element.attributes().with_checks(false) {
            let found = found.map_err(|error| self.damaged(&error))?;
            let name = found.key.as_ref();
            if name.contains(':') && local(name) == key {
                return self.attribute(name);
            }
        }
        Ok(None)
    }

    /// A number of an attribute, if it has one.
    pub(super) fn number(&self, key: &str) -> Result<Option<u32>, Error> {
        let Some(text) = self.attribute(key)? else { return Ok(None) };
        let wrong = || damaged(format!("{}: `{}` is `{}`", self.part, shorten(key), shorten(&text)));
        text.trim().parse::<u32>().map(Some).map_err(|_| wrong())
    }

    fn damaged(&self, error: &dyn std::fmt::Display) -> Error {
        damaged(format!("{}: {}", self.part, shorten(&error.to_string())))
    }
}

/// A name without its prefix.
pub(super) fn local(name: &str) -> &str {
    name.rsplit_once(':').map_or(name, |(_, local)| local)
}

/// Gives the pieces of a part one after the other.
pub(super) fn read(
    bytes: &[u8],
    part: &str,
    mut each: impl FnMut(Piece<'_>) -> Result<(), Error>,
) -> Result<(), Error> {
    let wrong = |error: &dyn std::fmt::Display| damaged(format!("{part}: {}", shorten(&error.to_string())));
    let content = decoded(bytes).ok_or_else(|| wrong(&"it is not UTF-8"))?;
    let mut reader = quick_xml::Reader::from_str(&content);
    reader.config_mut().expand_empty_elements = true;
    loop {
        match reader.read_event().map_err(|error| wrong(&error))? {
            Event::Start(element) => each(Piece::Start(Start { part, element: &element }))?,
            Event::End(end) => each(Piece::End(end.name().as_ref()))?,
            Event::Text(text) => each(Piece::Text(&text.xml10_content()))?,
            Event::CData(text) => each(Piece::Text(&text.xml10_content()))?,
            Event::GeneralRef(reference) => {
                let name = reference.xml10_content();
                let known = match name.as_ref() {
                    "lt" => Some('<'),
                    "gt" => Some('>'),
                    "amp" => Some('&'),
                    "apos" => Some('\''),
                    "quot" => Some('"'),
                    _ => reference.resolve_char_ref().map_err(|error| wrong(&error))?,
                };
                let known = known.ok_or_else(|| wrong(&format!("it defines an entity `{name}`")))?;
                each(Piece::Text(known.encode_utf8(&mut [0; 4])))?;
            }
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

/// The text of a part: UTF-8, or UTF-16 with a byte order mark.
fn decoded(bytes: &[u8]) -> Option<Cow<'_, str>> {
    let encoding = match bytes {
        [0xff, 0xfe, ..] => encoding_rs::UTF_16LE,
        [0xfe, 0xff, ..] => encoding_rs::UTF_16BE,
        _ => encoding_rs::UTF_8,
    };
    let (text, wrong) = encoding.decode_with_bom_removal(bytes);
    (!wrong).then_some(text)
}
