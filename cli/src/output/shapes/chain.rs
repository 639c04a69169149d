//! The answers of `graph`, `why` and `explain`.

use super::findings::CHECK_LEVELS;
use super::shared::{EDGE, NODE};
use super::{Answer, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

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
                "up",
                Shape::List(&Shape::Named(&EDGE)),
                "links of the record and of the records on its paths to the goals",
            ),
            key("below", Shape::List(&Shape::Named(&EDGE)), "links to the record and to all records below it"),
        ]],
    )],
};

pub(crate) static EXPLAIN: Answer = Answer {
    name: "explain",
    command: "tierod explain [NAME] --format json",
    summary: "All checks, or one check, kind of record, model or score sheet. The keys depend on what NAME is.",
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
            "a kind of record",
            &[&[
                VERSION,
                key("kind", Shape::Text, "the kind, as in `part`"),
                key(
                    "keys",
                    Shape::List(&Shape::Object(&[&[
                        key("key", Shape::Text, "a key of such a record"),
                        key("meaning", Shape::Text, "its meaning"),
                    ]])),
                    "the keys",
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
                key("left_out", Shape::List(&Shape::Text), "what it does not model"),
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
            "a score sheet",
            &[&[
                VERSION,
                key("sheet", Shape::Text, "name of the sheet, as in `sae-2024.skidpad`"),
                key("source", Shape::Text, "the rule book"),
                key("rule", Shape::Text, "the rule in it"),
                key("reads", TEXTS, "names under `reads`"),
                key("given", TEXTS, "names under `given`"),
                key("constants", Shape::Map(&Shape::Text), "constants of the rule, by name, as formulas"),
                key("formula", Shape::Text, "the formula of the points"),
            ]],
        ),
    ],
};
