//! The answers of `import`.

use super::{Answer, Key, Shape, TEXT_OR_NULL, TEXTS, VERSION, key};

const NAME: Key = key("name", Shape::Text, "name of the entry under `imports`");
const FILE: Key = key("file", Shape::Text, "the spreadsheet");

const SYSTEMS: Shape = Shape::List(&Shape::Object(&[&[
    key("id", Shape::Text, "id of the system"),
    key("title", TEXT_OR_NULL, "text of the sheet that names it"),
    key("lead", TEXT_OR_NULL, "lead, if all its parts have the same one in the sheet"),
    key("serves", TEXT_OR_NULL, "target that its parts serve, without a reason yet: the only one of the car"),
]]));

pub(crate) static IMPORT: Answer = Answer {
    name: "import",
    command: "tierod import --format json",
    summary: "What a spreadsheet adds to the parts and changes in them, and the totals of both; or a proposed entry.",
    variants: &[
        (
            "an entry of the settings",
            &[&[
                VERSION,
                NAME,
                FILE,
                key("written", Shape::Flag, "whether files were written"),
                key("systems", SYSTEMS, "the new systems, in the order of the sheet"),
                key("added", TEXTS, "ids of the new parts, in the order of the sheet"),
                key(
                    "changed",
                    Shape::List(&Shape::Object(&[&[
                        key("id", Shape::Text, "id of the part"),
                        key("field", Shape::Text, "key below the part, as in `amounts.mass`"),
                        key("before", TEXT_OR_NULL, "value before; null if there was none"),
                        key("after", Shape::Text, "new value"),
                    ]])),
                    "the changed values",
                ),
                key("unchanged", Shape::Integer, "number of parts that stay as they are"),
                key("agrees", Shape::Flag, "whether the records had everything that the sheet has, before the import"),
                key(
                    "differing",
                    Shape::List(&Shape::Object(&[&[
                        key("row", Shape::Integer, "row, as the spreadsheet counts"),
                        key("id", Shape::Text, "id of the part"),
                        key(
                            "field",
                            Shape::Text,
                            "key below the part: `title`, `in`, `lead`, `safety-critical`, or an amount that is read from a file",
                        ),
                        key("sheet", Shape::Text, "value in the sheet"),
                        key("records", TEXT_OR_NULL, "value in the records; null without one"),
                    ]])),
                    "the values that differ and that the import does not change",
                ),
                key("gone", TEXTS, "ids of parts in the files of the import that are not in the sheet; they stay"),
                key(
                    "renumbered",
                    Shape::List(&Shape::Object(&[&[
                        key("from", Shape::Text, "id of the part that is gone"),
                        key("to", Shape::Text, "id of the new part with the same title and amounts"),
                    ]])),
                    "the parts that seem to have a new part number",
                ),
                key(
                    "not_in_car",
                    Shape::List(&Shape::Object(&[&[
                        key("row", Shape::Integer, "row, as the spreadsheet counts"),
                        key("id", Shape::Text, "id of the part"),
                        key("reason", Shape::Text, "what the row has instead of a number of pieces"),
                    ]])),
                    "the parts of the records that are not in the car by the sheet; they stay",
                ),
                key(
                    "empty",
                    Shape::List(&Shape::Object(&[&[
                        key("row", Shape::Integer, "row, as the spreadsheet counts"),
                        key("column", Shape::Text, "column, as the spreadsheet names it: `D`"),
                        key("id", Shape::Text, "id of the part"),
                        key("amount", Shape::Text, "name of the amount"),
                        key("records", TEXT_OR_NULL, "amount in the records, which stays; null for a new part"),
                    ]])),
                    "the empty cells of amounts: of new parts, and of those whose amount only the records have",
                ),
                key(
                    "skipped",
                    Shape::List(&Shape::Object(&[&[
                        key("row", Shape::Integer, "row, as the spreadsheet counts"),
                        key("reason", Shape::Text, "why it is skipped"),
                    ]])),
                    "the rows that are not imported; without empty ones",
                ),
                key(
                    "unread",
                    Shape::List(&Shape::Object(&[&[
                        key("row", Shape::Integer, "row, as the spreadsheet counts"),
                        key("column", Shape::Text, "column, as the spreadsheet names it: `D`"),
                        key("id", TEXT_OR_NULL, "id of the part"),
                        key("reason", Shape::Text, "why the cell could not be read"),
                    ]])),
                    "the cells that could not be read; the amounts in the records stay",
                ),
                key(
                    "totals",
                    Shape::List(&Shape::Object(&[&[
                        key("amount", Shape::Text, "name of the amount"),
                        key("sheet", Shape::Number, "sum of the column, each row times its count, without subtotals"),
                        key("records", Shape::Number, "sum of the parts of the import in the records, with those gone"),
                        key("unit", Shape::Text, "unit of the numbers"),
                        key(
                            "differences",
                            Shape::List(&Shape::Object(&[&[
                                key("reason", Shape::Text, "the cause"),
                                key("value", Shape::Number, "what the records have more because of it"),
                                key("parts", TEXTS, "ids of the parts that it comes from, if they are in the records"),
                            ]])),
                            "why they differ; the values add up to the difference",
                        ),
                    ]])),
                    "the total of each amount on both sides",
                ),
                key("files", TEXTS, "paths of the changed files, relative to the project root"),
                key("new_findings", Shape::Integer, "number of new findings of `tierod check`"),
                key(
                    "new_checks",
                    Shape::List(&Shape::Object(&[&[
                        key("check", Shape::Text, "name of the check"),
                        key("findings", Shape::Integer, "number of its new findings"),
                    ]])),
                    "the checks of the new findings",
                ),
            ]],
        ),
        (
            "a file",
            &[&[
                VERSION,
                NAME,
                FILE,
                key("written", Shape::Flag, "whether the entry was written into the settings"),
                key("entry", Shape::Text, "the proposed entry, as the lines of `tierod.yaml`"),
                key("complete", Shape::Flag, "whether it has all keys that it needs"),
                key("unknown", TEXTS, "what was not found out, each with what to do"),
                key("systems", SYSTEMS, "the systems of the sheet that the records do not have"),
            ]],
        ),
    ],
};
