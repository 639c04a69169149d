//! The answer of the commands that edit records.

use super::causes::BEFORE_AND_AFTER;
use super::shared::{FINDING, FIXED_FINDING};
use super::{Answer, Shape, TEXTS, VERSION, key};

pub(crate) static EDIT: Answer = Answer {
    name: "edit",
    command: "tierod set --format json",
    summary: "The changed lines of an edit, and what it does to findings, points and amounts. Also the answer of `revise` and \
              `rename`.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("id", Shape::Text, "id of the record after the edit"),
            key("revision", Shape::Text, "id of the added revision; only of `revise`").optional(),
            key("earlier", Shape::Text, "id of the record before the edit; only of `rename`").optional(),
            key(
                "mentions",
                TEXTS,
                "texts that have the earlier id in them and were not changed, as `id.key`; only of `rename`",
            )
            .optional(),
            key("written", Shape::Flag, "whether the files were written"),
            key(
                "files",
                Shape::List(&Shape::Object(&[&[
                    key("path", Shape::Text, "path relative to the project root"),
                    key("created", Shape::Flag, "whether the file is new"),
                    key(
                        "changes",
                        Shape::List(&Shape::Object(&[&[
                            key("line", Shape::Integer, "line after the edit, from 1"),
                            key("before", TEXTS, "lines before the edit"),
                            key("after", TEXTS, "lines after the edit"),
                        ]])),
                        "the changed lines, in order",
                    ),
                ]])),
                "the changed files; empty if the records have the value already",
            ),
            key(
                "points",
                Shape::OrNull(&Shape::Object(&[BEFORE_AND_AFTER])),
                "predicted points of the goal; null if they do not change",
            ),
            key(
                "amounts",
                Shape::Map(&Shape::Object(&[BEFORE_AND_AFTER])),
                "totals of the car that change, by name of the amount",
            ),
            key("new", Shape::List(&Shape::Named(&FINDING)), "new findings"),
            key("fixed", Shape::List(&Shape::Named(&FIXED_FINDING)), "fixed findings"),
            key("unchanged", Shape::Integer, "number of findings that existed before"),
            key("stops", TEXTS, "fingerprints of the new errors that stop a commit: exit status 1"),
        ]],
    )],
};
