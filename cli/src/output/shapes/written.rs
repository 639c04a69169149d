//! The answers of `add` and `export`.

use super::shared::{BROKEN, FINDING, FIXED_FINDING};
use super::{Answer, Shape, TEXTS, VERSION, key};

pub(crate) static ADD: Answer = Answer {
    name: "add",
    command: "tierod add KIND ID KEY=VALUE... --format json",
    summary: "The lines of a new record, and the findings that it adds.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("id", Shape::Text, "id of the new record"),
            key("written", Shape::Flag, "whether the file was written; false with `--dry-run`"),
            key(
                "files",
                Shape::List(&Shape::Object(&[&[
                    key("path", Shape::Text, "the file, relative to the project root"),
                    key("created", Shape::Flag, "whether it is new"),
                    key(
                        "changes",
                        Shape::List(&Shape::Object(&[&[
                            key("line", Shape::Integer, "number of the first line in the new text, from 1"),
                            key("before", TEXTS, "the lines that it replaces"),
                            key("after", TEXTS, "the new lines"),
                        ]])),
                        "the lines that differ",
                    ),
                ]])),
                "the changed file",
            ),
            key("new", Shape::List(&Shape::Named(&FINDING)), "findings that the record adds"),
            key("fixed", Shape::List(&Shape::Named(&FIXED_FINDING)), "findings that it fixes"),
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
