//! The answer of `history`.

use super::shared::{COMMIT, COMMIT_KEYS, LIMIT, ORIGINS, STATUSES, UNCERTAINTY};
use super::{Answer, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

pub(crate) static HISTORY: Answer = Answer {
    name: "history",
    command: "tierod history ID --format json",
    summary: "Every commit that changed a record, and its value and limit over time.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("id", Shape::Text, "id of the record, or name of the amount"),
            key("kind", TEXT_OR_NULL, "kind of the record; null for an amount of the car"),
            key("older_ids", TEXTS, "earlier ids of the record (`formerly`)"),
            key(
                "added",
                Shape::OrNull(&Shape::Named(&COMMIT)),
                "the commit that added it; null for an amount of the car",
            ),
            key("removed", Shape::OrNull(&Shape::Named(&COMMIT)), "the commit that removed it; null if it exists"),
            key("shallow", Shape::Flag, "whether the clone is shallow, so that older commits are missing"),
            key("unreadable_versions", Shape::Integer, "number of versions of files that could not be read"),
            key("note", TEXT_OR_NULL, "which commits have no values because their models need too much work"),
            key(
                "changes",
                Shape::List(&Shape::Object(&[
                    COMMIT_KEYS,
                    &[
                        key("record", TEXT_OR_NULL, "id of the record that changed: this one, or one about it"),
                        key(
                            "what",
                            Shape::Text,
                            "`added`, `removed`, `added again`, `renamed`, `moved to another file`, or the changed key; after \
                             kind and id for a record about this one",
                        ),
                        key("before", TEXT_OR_NULL, "text before; null if the key was added"),
                        key("after", TEXT_OR_NULL, "text after; null if the key was removed"),
                        key(
                            "source",
                            Shape::OrNull(&Shape::Object(&[&[
                                key("file", Shape::Text, "evidence file"),
                                key("column", TEXT_OR_NULL, "its column; null if none is named"),
                            ]])),
                            "where `after` is read; null for what is typed",
                        ),
                        key(
                            "branch_commit",
                            Shape::OrNull(&Shape::Named(&COMMIT)),
                            "the commit of the merged branch that made the change",
                        ),
                    ],
                ])),
                "changes, oldest first; `commit` is on the first-parent history",
            ),
            key(
                "values",
                Shape::List(&Shape::Object(&[
                    COMMIT_KEYS,
                    &[
                        measure("value", NUMBER_OR_NULL, "`unit`", "the value then"),
                        key("unit", Shape::Text, "unit; empty for a plain number"),
                        measure("si", NUMBER_OR_NULL, "SI", "the value in SI base units"),
                        measure("uncertainty", NUMBER_OR_NULL, "`unit`", UNCERTAINTY),
                        key("limit", Shape::OrNull(&Shape::Named(&LIMIT)), "limit then; only for targets"),
                        key("status", Shape::OrNull(&Shape::Words(STATUSES)), "status; only for targets"),
                        key("origin", Shape::Words(ORIGINS), "where the value came from"),
                    ],
                ])),
                "the value at the evaluated commits, oldest first",
            ),
        ]],
    )],
};
