//! The answers of `graph`, `why` and `explain`.

use super::findings::CHECK_LEVELS;
use super::shared::{EDGE, NODE};
use super::{Answer, NUMBER_OR_NULL, Named, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

pub(crate) static GRAPH: Answer = Answer {
    name: "graph",
    command: "tierod graph --format json",
    summary: "All records and the links between them; with `--below ID`, only that record and those below it.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("nodes", Shape::List(&Shape::Named(&NODE)), "the records"),
            key("edges", Shape::List(&Shape::Named(&EDGE)), "the links"),
        ]],
    )],
};

/// A number that is read from an evidence file.
static READING: &[super::Key] = &[
    key("record", Shape::Text, "id of the record with the number"),
    key("key", Shape::Text, "key of the number, with dots between nested keys"),
    key("file", Shape::Text, "the file, relative to the project root"),
    key("column", TEXT_OR_NULL, "the column; null for a count of rows"),
    key("take", TEXT_OR_NULL, "what is taken of the readings"),
    key("rows", NUMBER_OR_NULL, "number of rows that are used; null with the numbers below if the file cannot be read"),
    key("of", NUMBER_OR_NULL, "number of rows of the file"),
    key("value", NUMBER_OR_NULL, "the number that the file gives"),
    key("unit", TEXT_OR_NULL, "its unit"),
    key("uncertainty", NUMBER_OR_NULL, "its expanded uncertainty (k = 2)"),
    key("deviation", NUMBER_OR_NULL, "experimental standard deviation of the readings"),
    key("of_mean", NUMBER_OR_NULL, "standard uncertainty of the mean"),
    key("instrument", NUMBER_OR_NULL, "standard uncertainty of the instrument"),
    key("coverage", NUMBER_OR_NULL, "Student's factor in the expanded uncertainty"),
    key("typed", TEXT_OR_NULL, "the number that was typed, which is used"),
    key("problem", TEXT_OR_NULL, "why it cannot be read"),
];

pub(crate) static WHY: Answer = Answer {
    name: "why",
    command: "tierod why ID --format json",
    summary: "Why a record exists: its links on all paths to the goals, and the links from the records below it.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("record", Shape::Named(&NODE), "the record"),
            key("title", TEXT_OR_NULL, "its title"),
            key("lead", TEXT_OR_NULL, "its lead, or the lead of its system"),
            key(
                "readings",
                Shape::List(&Shape::Object(&[READING])),
                "its numbers that are read from evidence files; for a target, also the one that is its value",
            ),
            key(
                "up",
                Shape::List(&Shape::Named(&EDGE)),
                "links of the record and of the records on its paths to the goals",
            ),
            key("more_up", Shape::Number, "number of further links of `up`, which has at most 20,000"),
            key("below", Shape::List(&Shape::Named(&EDGE)), "links to the record and to all records below it"),
            key("more_below", Shape::Number, "number of further links of `below`, which has at most 20,000"),
            key(
                "stress",
                Shape::List(&Shape::Object(&[STRESS])),
                "the stress files of a part, one entry for each current analysis",
            ),
        ]],
    )],
};

/// The stress of a part, with the iterations.
static STRESS: &[super::Key] = &[
    measure("needed_safety", NUMBER_OR_NULL, "1", "the largest limit of a target for `safety`; null without one"),
    key(
        "is_idle",
        Shape::Flag,
        "whether half of the volume or more is idle, and the safety is at least what is needed",
    ),
    key("stopped_early", Shape::Flag, "whether there are earlier iterations and the last one is idle"),
    key("caution", Shape::Text, "what applies before any material is taken away"),
    key(
        "iterations",
        Shape::List(&Shape::Object(&[ITERATION])),
        "the analyses, each superseded by the next; the last is current",
    ),
];

static ITERATION: &[super::Key] = &[
    key("analysis", Shape::Text, "id of the analysis"),
    key("file", Shape::Text, "its stress file"),
    key("problem", TEXT_OR_NULL, "why it has no numbers"),
    measure("allowable", NUMBER_OR_NULL, "Pa", "allowable stress"),
    measure("little", NUMBER_OR_NULL, "1", "share of it below which a volume is idle"),
    measure(
        "safety",
        NUMBER_OR_NULL,
        "1",
        "allowable stress over the stress that 99.9 % of the volume does not exceed; it never means that a part is safe",
    ),
    measure("peak_safety", NUMBER_OR_NULL, "1", "allowable stress over the highest stress"),
    measure("idle_share", NUMBER_OR_NULL, "1", "share of the volume that is idle"),
    measure("volume", NUMBER_OR_NULL, "m^3", "volume"),
    measure("mass", NUMBER_OR_NULL, "kg", "mass; null without a density"),
    measure("idle_mass", NUMBER_OR_NULL, "kg", "idle part of it"),
    key(
        "bins",
        Shape::List(&Shape::Object(&[BIN])),
        "the distribution of the volume on a fixed scale; empty without numbers",
    ),
];

static BIN: &[super::Key] = &[
    measure("from", Shape::Number, "1", "begin of the bin, as a share of the allowable stress"),
    measure("to", NUMBER_OR_NULL, "1", "its end; null for all above the allowable stress"),
    measure("share", Shape::Number, "1", "share of the volume"),
];

/// What every key of records or settings has.
static KEY_DOCS: &[super::Key] = &[
    key("key", Shape::Text, "the key"),
    key("in", Shape::Text, "the kind of record, or `settings`, and the keys above it, joined by dots"),
    key("meaning", Shape::Text, "its meaning"),
    key("required", Shape::Flag, "whether it must be given"),
    key("forms", TEXTS, "the forms that its value can have"),
];

/// A key of records or settings.
static RECORD_KEY: Named = Named {
    name: "record-key",
    summary: "A key of records or of the settings.",
    keys: &[KEY_DOCS, &[key("keys", Shape::List(&Shape::Object(&[KEY_DOCS])), "all keys in its value, also deeper")]],
};

pub(crate) static EXPLAIN: Answer = Answer {
    name: "explain",
    command: "tierod explain [NAME] --format json",
    summary: "All checks, or one check, kind of record, key, model or score sheet, or the units. The keys depend on what NAME is.",
    variants: &[
        (
            "no name, or a check",
            &[&[
                VERSION,
                key(
                    "checks",
                    Shape::List(&Shape::Object(&[&[
                        key("check", Shape::Text, "name of the check"),
                        key(
                            "group",
                            Shape::Words(&["reading", "structure", "verification", "values", "history", "waivers"]),
                            "group of the check",
                        ),
                        key("about", Shape::Words(&["records", "car"]), "what its findings are about"),
                        key(
                            "levels",
                            Shape::List(&Shape::Words(CHECK_LEVELS)),
                            "level at the stages concept, design, build, test and contest",
                        ),
                        key("reports", Shape::Text, "what the check reports"),
                        key("why", Shape::Text, "why it matters"),
                        key("fix", Shape::Text, "how to fix a finding"),
                        key("bad_example", Shape::Text, "records (YAML) with a finding"),
                        key("good_example", Shape::Text, "the same records without the finding"),
                    ]])),
                    "the checks",
                ),
            ]],
        ),
        (
            "a kind of record, or `settings`",
            &[&[
                VERSION,
                key("kind", Shape::Text, "the kind, as in `part`, or `settings`"),
                key("keys", Shape::List(&Shape::Named(&RECORD_KEY)), "the keys"),
            ]],
        ),
        (
            "a key",
            &[&[
                VERSION,
                key("key", Shape::Text, "the name asked for"),
                key("keys", Shape::List(&Shape::Named(&RECORD_KEY)), "the keys with this name, one for each place"),
            ]],
        ),
        (
            "`units`",
            &[&[
                VERSION,
                key(
                    "units",
                    Shape::List(&Shape::Object(&[&[
                        key("name", Shape::Text, "name of the unit"),
                        key("quantity", Shape::Text, "what it measures"),
                        key("si_unit", Shape::Text, "SI unit; empty for a number without unit"),
                        key(
                            "factor",
                            Shape::Number,
                            "value of one unit in the SI unit; for °C and °F without the zero",
                        ),
                        key("takes_prefixes", Shape::Flag, "whether it takes SI prefixes"),
                    ]])),
                    "the units of the table",
                ),
            ]],
        ),
        (
            "a model",
            &[&[
                VERSION,
                key("model", Shape::Text, "name of the model"),
                key("summary", Shape::Text, "what it calculates"),
                key("source", Shape::Text, "where it is published"),
                key("equations", Shape::List(&Shape::Text), "what it calculates, equation by equation"),
                key("omitted", Shape::List(&Shape::Text), "what it does not model"),
                key(
                    "accuracy",
                    Shape::List(&Shape::Text),
                    "how exact it is, and what its inputs must be like for that",
                ),
                key(
                    "inputs",
                    Shape::List(&Shape::Object(&[&[
                        key("name", Shape::Text, "name under `given`"),
                        key("unit", Shape::Text, "unit; for a table, the columns with their units"),
                        measure("default", NUMBER_OR_NULL, "`unit`", "default value"),
                        key("needed", Shape::Flag, "whether it has to be given"),
                        key("meaning", Shape::Text, "its meaning"),
                    ]])),
                    "the inputs",
                ),
                key(
                    "outputs",
                    Shape::List(&Shape::Object(&[&[
                        key("name", Shape::Text, "name under `finds`"),
                        key("unit", Shape::Text, "unit"),
                        key("meaning", Shape::Text, "its meaning"),
                    ]])),
                    "the outputs; the first is used if `finds` names only a target",
                ),
            ]],
        ),
        (
            "an event of a score sheet",
            &[&[
                VERSION,
                key("sheet", Shape::Text, "name of the sheet, as in `sae-2024.skidpad`"),
                key("source", Shape::Text, "the rule book"),
                key("rule", Shape::Text, "the rule in it"),
                key("inferred", TEXT_OR_NULL, "where the formula is from, if it is not in the rule book"),
                key("most", Shape::Text, "the most points, as a formula"),
                key("reads", TEXTS, "required names under `reads`"),
                key("given", TEXTS, "required names under `given`"),
                key(
                    "inputs",
                    Shape::List(&Shape::Object(&[&[
                        key("name", Shape::Text, "name of the input"),
                        key("under", Shape::Words(&["reads", "given"]), "key that it belongs under"),
                        key("unit", TEXT_OR_NULL, "a unit of its dimension"),
                        key("default", TEXT_OR_NULL, "its default, as a formula; null if it is required"),
                        key("meaning", Shape::Text, "its meaning"),
                    ]])),
                    "all inputs",
                ),
                key(
                    "tables",
                    Shape::List(&Shape::Object(&[&[
                        key("name", Shape::Text, "name under `given`"),
                        key("by", Shape::Text, "input that selects the entry"),
                        key("meaning", Shape::Text, "its meaning"),
                    ]])),
                    "lists of points that the organizer sets",
                ),
                key("constants", Shape::Map(&Shape::Text), "constants of the rule, by name, as formulas"),
                key(
                    "steps",
                    Shape::Map(&Shape::Text),
                    "values between the inputs and the points, by name, as formulas",
                ),
                key("formula", Shape::Text, "the formula of the points"),
                key("no_finish", Shape::Text, "the points without a valid run or a finish, as a formula"),
                key("notes", TEXTS, "what the formula does not contain"),
            ]],
        ),
        (
            "a score sheet with all its events",
            &[&[
                VERSION,
                key("sheet", Shape::Text, "name of the sheet, as in `sae-2024`"),
                key("source", Shape::Text, "the rule book"),
                key("total", TEXT_OR_NULL, "the most points of the contest"),
                key("events", TEXTS, "names of the events with a formula"),
                key(
                    "judged",
                    Shape::List(&Shape::Object(&[&[
                        key("event", Shape::Text, "name of the event"),
                        key("rule", Shape::Text, "the rule"),
                        key("most", Shape::Text, "the most points"),
                        key("notes", TEXTS, "notes on it from the rule book"),
                    ]])),
                    "the events that judges score",
                ),
            ]],
        ),
    ],
};
