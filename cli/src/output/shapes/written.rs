//! The answers of `add` and `export`.

use super::shared::{BROKEN, FINDING};
use super::{Answer, Shape, TEXTS, VERSION, key};

pub(crate) static ADD: Answer = Answer {
    name: "add",
    command: "tierod add KIND ID KEY=VALUE... --format json",
    summary: "The lines of a new record, and the findings that it adds.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("added", TEXTS, "id of the new record"),
            key("path", Shape::Text, "its file, relative to the repository's top"),
            key("new_file", Shape::Flag, "whether the file is new"),
            key(
                "lines",
                Shape::List(&Shape::Object(&[&[
                    key("line", Shape::Integer, "number of the line, from 1"),
                    key("text", Shape::Text, "its text"),
                ]])),
                "the lines that are added",
            ),
            key("findings", Shape::List(&Shape::Named(&FINDING)), "findings that the record adds"),
            key("written", Shape::Flag, "whether the file was written; false with `--dry-run`"),
        ]],
    )],
};

pub(crate) static EXPORT: Answer = Answer {
    name: "export",
    command: "tierod export FILE.xlsx --format json",
    summary: "The workbook that was written.",
    variants: &[(
        "",
        &[&[
            VERSION,
            BROKEN,
            key("file", Shape::Text, "the file, as it was named"),
            key(
                "sheets",
                Shape::List(&Shape::Object(&[&[
                    key("name", Shape::Text, "name of the sheet"),
                    key("rows", Shape::Integer, "number of its rows below the head"),
                ]])),
                "the sheets, each with one table",
            ),
        ]],
    )],
};
