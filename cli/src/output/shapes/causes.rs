//! The keys of the causes, edited keys, renames and changed limits in the answer of `delta`.

use trace::delta::What;

use super::shared::LIMIT;
use super::{Key, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, key, measure};

pub(super) const BEFORE_AND_AFTER: &[Key] = &[
    measure("before", NUMBER_OR_NULL, "`unit`", "value in the base"),
    measure("after", NUMBER_OR_NULL, "`unit`", "value in the head"),
    key("unit", Shape::Text, "unit of both"),
];

const AMOUNTS: Key = key(
    "amounts",
    Shape::Map(&Shape::Object(&[&[
        measure("change", NUMBER_OR_NULL, "`unit`", "change of the total of the car"),
        key("unit", Shape::Text, "unit"),
    ]])),
    "its part of the change of each amount of the car",
);

const EDITED_KEY: Shape = Shape::OrNull(&Shape::Object(&[&[
    key("record", TEXT_OR_NULL, "id of the record; null for the settings"),
    key("key", Shape::Text, "key, with dots between nested keys"),
    key("text", Shape::Text, "text of the key"),
]]));

/// The causes of changed values, and what is left without one.
pub(super) const CAUSES: &[Key] = &[
    key(
        "causes",
        Shape::List(&Shape::Object(&[
            &[key("id", Shape::Text, "name of what changed, as in `front-upright.mass`")],
            BEFORE_AND_AFTER,
            &[
                key("affects", TEXTS, "the values on the path to the points, in order"),
                measure(
                    "points",
                    NUMBER_OR_NULL,
                    "pts",
                    "its part of the change of the points of the goal; the parts of all causes and `other` add up to it",
                ),
                key("what", Shape::Words(What::WORDS), "kind of change"),
                key(
                    "edited",
                    Shape::Object(&[&[
                        key("before", EDITED_KEY, "the key that gives it in the base"),
                        key("after", EDITED_KEY, "the key that gives it in the head"),
                    ]]),
                    "the edited key; both sides are null if it is not written in one",
                ),
                AMOUNTS,
            ],
        ])),
        "edited keys, added and removed records, and settings that change values",
    ),
    key(
        "other",
        Shape::OrNull(&Shape::Object(&[&[
            measure("points", NUMBER_OR_NULL, "pts", "change of the points that no cause has"),
            AMOUNTS,
        ]])),
        "the change that no cause has; null if nothing is left",
    ),
    key(
        "edits",
        Shape::List(&Shape::Object(&[&[
            key("record", Shape::Text, "id of the record in the head"),
            key("kind", Shape::Text, "kind of the record"),
            key("key", Shape::Text, "key, with dots between nested keys"),
            key("before", TEXT_OR_NULL, "text in the base; null if the key was added"),
            key("after", TEXT_OR_NULL, "text in the head; null if the key was removed"),
        ]])),
        "edited keys of records that are in both",
    ),
];

const RENAMED_KEYS: &[Key] = &[
    key("from", Shape::Text, "id in the base"),
    key("to", Shape::Text, "id in the head"),
    key("kind", Shape::Text, "kind of the record"),
    key(
        "formerly",
        Shape::Flag,
        "whether `formerly` names the old id; otherwise the records are also under `added` and `removed`",
    ),
    key("path", Shape::Text, "file in the head, relative to the top folder of the repository"),
    key("line", Shape::Integer, "line of the record, from 1"),
    key("add", TEXT_OR_NULL, "line to add to the record; null if it has `formerly`"),
    measure("alike", NUMBER_OR_NULL, "1", "share of keys with the same text, at least 0.75; null if it has `formerly`"),
];

const RENAMED_MEANING: &str =
    "records with a new id, and pairs of a removed and an added record that seem to be the same";

/// The renamed records.
pub(super) const RENAMED: &[Key] = &[key("renamed", Shape::List(&Shape::Object(&[RENAMED_KEYS])), RENAMED_MEANING)];

/// The renamed records for a template.
pub(super) const CONTEXT_RENAMED: &[Key] =
    &[key("renamed", Shape::List(&Shape::Object(&[RENAMED_KEYS, &[LINK]])), RENAMED_MEANING)];

/// The address of a line.
pub(super) const LINK: Key =
    key("link", TEXT_OR_NULL, "address of the line at the forge of the CI; null outside of one");

/// The changed limits.
pub(super) const LIMITS_CHANGED: Key = key(
    "limits_changed",
    Shape::List(&Shape::Object(&[&[
        key("id", Shape::Text, "id of the target"),
        key(
            "before",
            Shape::OrNull(&Shape::Named(&LIMIT)),
            "limit in the base; null if it had none, or one whose unit does not match",
        ),
        key("after", Shape::OrNull(&Shape::Named(&LIMIT)), "limit in the head; null if it has none"),
        key("unit", Shape::Text, "unit of both; empty for a plain number"),
        key("revision", TEXT_OR_NULL, "id of the revision that records the change; null without one"),
        key("agreed_by", TEXT_OR_NULL, "role that agreed, from the revision"),
        key("day", Shape::OrNull(&Shape::Date), "date of the agreement, from the revision"),
        key("reason", TEXT_OR_NULL, "reason, from the revision"),
    ]])),
    "targets with a new limit",
);
