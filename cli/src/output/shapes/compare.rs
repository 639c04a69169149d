//! The answer of `compare`.

use super::numbers::RESULTS_IGNORED;
use super::shared::{BROKEN, HIGH, LOW, STATUSES, UNCERTAINTY};
use super::{Answer, Key, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

const SIGNIFICANT: Key = key(
    "significant",
    Shape::OrNull(&Shape::Flag),
    "whether the difference is larger than its uncertainty; null if values that change it have no uncertainty",
);

const DIFFERENCE_UNCERTAINTY: Key =
    measure("difference_uncertainty", NUMBER_OR_NULL, "pts", "expanded uncertainty of the difference (k = 2)");

/// The keys of an alternative.
const ALTERNATIVE: &[Key] = &[
    key("name", Shape::Text, "name of the alternative"),
    key("title", TEXT_OR_NULL, "its title"),
    key("chosen", Shape::Flag, "whether it is the chosen one"),
    key(
        "problems",
        Shape::List(&Shape::Object(&[&[
            key("field", Shape::Text, "key in the record, with dots between nested keys"),
            key("message", Shape::Text, "what is wrong"),
            key("help", Shape::Text, "how to fix it; may be empty"),
        ]])),
        "what it sets and cannot be set; then it has no points",
    ),
    measure("points", NUMBER_OR_NULL, "pts", "predicted points with it"),
    measure("uncertainty", NUMBER_OR_NULL, "pts", UNCERTAINTY),
    measure("low", NUMBER_OR_NULL, "pts", LOW),
    measure("high", NUMBER_OR_NULL, "pts", HIGH),
    measure("difference", NUMBER_OR_NULL, "pts", "points with it minus points of the records without it"),
    DIFFERENCE_UNCERTAINTY,
    SIGNIFICANT,
    key(
        "without_uncertainty",
        TEXTS,
        "names of the values that it sets or removes, that the points depend on and that have no uncertainty",
    ),
    key(
        "sets",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "name of the value"),
            key("to", Shape::Text, "what it is set to, as in the record"),
            key("basis", TEXT_OR_NULL, "basis of the value"),
            key("evidence", TEXTS, "evidence files, relative to the project root"),
        ]])),
        "what it sets",
    ),
    key(
        "events",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the event"),
            measure("points", NUMBER_OR_NULL, "pts", "predicted points"),
        ]])),
        "points by event",
    ),
    key(
        "amounts",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "name of the amount, as in `car.mass`"),
            measure("value", NUMBER_OR_NULL, "`unit`", "its value"),
            key("unit", Shape::Text, "unit"),
        ]])),
        "totals of the car",
    ),
    key(
        "criteria",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the target"),
            measure("value", NUMBER_OR_NULL, "`unit`", "its value"),
            key("unit", Shape::Text, "unit"),
            key("status", Shape::Words(STATUSES), "its status"),
        ]])),
        "the targets under `criteria`",
    ),
    key("newly_at_risk", TEXTS, "ids of targets that are at risk only with it"),
    key("newly_on_target", TEXTS, "ids of targets that are on target only with it"),
];

/// The keys of one state: now, or when the choice was made.
const STATE: &[Key] = &[
    BROKEN,
    measure("points", NUMBER_OR_NULL, "pts", "predicted points (estimates) without any alternative"),
    RESULTS_IGNORED,
    key("alternatives", Shape::List(&Shape::Object(&[ALTERNATIVE])), "the alternatives"),
    key(
        "criteria",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the target"),
            key("moves_points", Shape::Flag, "whether what the alternatives change in it reaches the points"),
            key("changed", Shape::Flag, "whether an alternative changes its value"),
        ]])),
        "the targets under `criteria`, for all alternatives together",
    ),
    key(
        "verdict",
        Shape::OrNull(&Shape::Object(&[&[
            key("best", Shape::Text, "name of the alternative with the most points"),
            key("next", Shape::Text, "name of the next one"),
            measure("difference", NUMBER_OR_NULL, "pts", "points of the best minus points of the next"),
            DIFFERENCE_UNCERTAINTY,
            SIGNIFICANT,
        ]])),
        "the alternative with the most points; null with fewer than two that have points",
    ),
];

pub(crate) static COMPARE: Answer = Answer {
    name: "compare",
    command: "tierod compare ID --format json",
    summary: "The points, amounts and targets of the whole car with each alternative of a decision: now, and at the \
              commit in which the alternative was chosen.",
    variants: &[(
        "",
        &[
            &[
                VERSION,
                key("decision", Shape::Text, "id of the decision"),
                key("when", Shape::Words(&["now", "chosen", "both"]), "the states that were asked for"),
                key(
                    "chosen_at",
                    Shape::OrNull(&Shape::Object(&[&[
                        key("commit", Shape::Text, "full id of the commit"),
                        key("day", Shape::Date, "its day"),
                    ]])),
                    "when the choice was made; null if nothing is chosen, or if that is not known or was not asked for",
                ),
                key(
                    "analyses_after_choice",
                    Shape::List(&Shape::Object(&[&[
                        key("id", Shape::Text, "id of the analysis"),
                        key("day", Shape::Date, "day on which it was added"),
                        key("commit", TEXT_OR_NULL, "full id of the commit; null if it is not committed yet"),
                    ]])),
                    "analyses that inform the decision and were added after the choice",
                ),
            ],
            STATE,
            &[
                key(
                    "then",
                    Shape::OrNull(&Shape::Object(&[STATE])),
                    "the same keys for the commit in which the choice was made; null if they were not asked for or are missing",
                ),
                key("then_missing", TEXT_OR_NULL, "why `then` is missing although it was asked for"),
            ],
        ],
    )],
};
