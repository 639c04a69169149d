//! The answers of `values`, `budget`, `points` and `worth`.

use super::shared::{BROKEN, HIGH, LIMIT, LOW, ORIGINS, STATUSES, UNCERTAINTY, UPPER_LIMIT};
use super::{Answer, Key, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

pub(crate) static VALUES: Answer = Answer {
    name: "values",
    command: "tierod values --format json",
    summary: "Every target, event, goal and amount with its value, limit and status.",
    variants: &[(
        "",
        &[&[
            VERSION,
            BROKEN,
            key(
                "values",
                Shape::List(&Shape::Object(&[&[
                    key("id", Shape::Text, "id of the record, or name of an amount, as in `car.mass`"),
                    measure(
                        "value",
                        NUMBER_OR_NULL,
                        "`unit`",
                        "the value, the mean of its outcomes; null if it cannot be calculated",
                    ),
                    key("unit", Shape::Text, "unit; empty for a plain number"),
                    measure("si", NUMBER_OR_NULL, "SI", "the value in SI base units"),
                    measure("uncertainty", NUMBER_OR_NULL, "`unit`", UNCERTAINTY),
                    measure("low", NUMBER_OR_NULL, "`unit`", LOW),
                    measure("high", NUMBER_OR_NULL, "`unit`", HIGH),
                    key("origin", Shape::Words(ORIGINS), "where the value comes from"),
                    key("limit", Shape::OrNull(&Shape::Named(&LIMIT)), "limit; only for targets"),
                    key("status", Shape::OrNull(&Shape::Words(STATUSES)), "status; only for targets"),
                    measure(
                        "margin",
                        NUMBER_OR_NULL,
                        "1",
                        "distance to the limit as a share of the limit, negative beyond it; null in degrees Celsius",
                    ),
                    measure(
                        "conformance",
                        NUMBER_OR_NULL,
                        "1",
                        "probability that the true value is within the limit; only for results with an uncertainty",
                    ),
                    measure("not_in_parts", NUMBER_OR_NULL, "`unit`", NOT_IN_PARTS),
                ]])),
                "the values",
            ),
        ]],
    )],
};

const NOT_IN_PARTS: &str = "what a measured total has more than its parts; null if it was not measured";

const WITHOUT_SHARE: &[Key] = &[
    key("id", Shape::Text, "id of the system"),
    measure("value", NUMBER_OR_NULL, "`unit` of the budget", "its part of the value"),
];

/// What a budget and a share have in common.
const SPENT: &[Key] = &[
    measure("limit", Shape::Named(&UPPER_LIMIT), "`unit` of the budget", "limit"),
    measure("value", NUMBER_OR_NULL, "`unit` of the budget", "value, including the growth allowance"),
    measure("uncertainty", NUMBER_OR_NULL, "`unit` of the budget", UNCERTAINTY),
    measure("growth", NUMBER_OR_NULL, "`unit` of the budget", "growth allowance that is included in the value"),
    measure("not_in_parts", NUMBER_OR_NULL, "`unit` of the budget", NOT_IN_PARTS),
    measure("room", NUMBER_OR_NULL, "`unit` of the budget", "limit minus value; negative if over"),
    measure("over", NUMBER_OR_NULL, "`unit` of the budget", "value above the limit; null if within it"),
];

pub(crate) static BUDGET: Answer = Answer {
    name: "budget",
    command: "tierod budget --format json",
    summary: "Every limit on an amount with its shares, and the smallest limit changes that bring all shares within \
              their limits.",
    variants: &[(
        "",
        &[&[
            VERSION,
            BROKEN,
            key(
                "budgets",
                Shape::List(&Shape::Object(&[
                    &[
                        key("id", Shape::Text, "id of the target with the limit"),
                        key("of", TEXT_OR_NULL, "the car, system or part that it limits"),
                        key("amount", Shape::Text, "name of the amount, as in `mass`"),
                        key("unit", Shape::Text, "unit of all numbers of this budget"),
                        measure("reserve", NUMBER_OR_NULL, "`unit`", "reserve; null if its unit does not match"),
                    ],
                    SPENT,
                    &[
                        key("share_of", TEXT_OR_NULL, "id of the budget that this one is a share of"),
                        key(
                            "shares",
                            Shape::List(&Shape::Object(&[
                                &[
                                    key("id", Shape::Text, "id of the target that is a share"),
                                    key("of", TEXT_OR_NULL, "the system or part that it limits"),
                                ],
                                SPENT,
                                &[key("safety_critical", Shape::Flag, "whether the share is safety-critical")],
                            ])),
                            "the shares",
                        ),
                        measure("allocated", NUMBER_OR_NULL, "`unit`", "sum of the limits of the shares"),
                        measure(
                            "unallocated",
                            NUMBER_OR_NULL,
                            "`unit`",
                            "limit minus reserve minus allocated; negative if over-allocated",
                        ),
                        measure("outside", NUMBER_OR_NULL, "`unit`", "part of the value that is not in any share"),
                        key("without_share", Shape::List(&Shape::Object(&[WITHOUT_SHARE])), "systems without a share"),
                        key("not_counted", TEXTS, "ids of shares whose unit does not match"),
                        key(
                            "transfer",
                            Shape::OrNull(&Shape::Object(&[&[
                                key(
                                    "closes",
                                    Shape::OrNull(&Shape::Flag),
                                    "whether limit changes can close the gap; null if no solution was found",
                                ),
                                key(
                                    "changes",
                                    Shape::List(&Shape::Object(&[&[
                                        key("id", Shape::Text, "id of the share"),
                                        measure(
                                            "from",
                                            Shape::Named(&UPPER_LIMIT),
                                            "`unit` of the budget",
                                            "limit now",
                                        ),
                                        measure("to", Shape::Named(&UPPER_LIMIT), "`unit` of the budget", "new limit"),
                                        measure("change", NUMBER_OR_NULL, "`unit`", "difference"),
                                        key("safety_critical", Shape::Flag, "whether the share is safety-critical"),
                                        key("revision", Shape::Text, "a revision to add, as YAML"),
                                    ]])),
                                    "the smallest limit changes",
                                ),
                                measure(
                                    "shortfall",
                                    NUMBER_OR_NULL,
                                    "`unit`",
                                    "amount that is missing; only if the gap cannot be closed",
                                )
                                .optional(),
                                key(
                                    "largest_growth",
                                    Shape::OrNull(&Shape::Object(&[&[
                                        key("id", Shape::Text, "id of the share"),
                                        measure("growth", NUMBER_OR_NULL, "`unit`", "its growth allowance"),
                                    ]])),
                                    "the share with the largest growth allowance; only if the gap cannot be closed",
                                )
                                .optional(),
                            ]])),
                            "limit changes between the shares; null without shares and for a share of another budget",
                        ),
                        key("caution", TEXT_OR_NULL, "caution on reducing mass; only for masses"),
                    ],
                ])),
                "the budgets",
            ),
        ]],
    )],
};

/// The points that a place needs.
pub(super) const NEEDED: &[Key] = &[
    measure("points", NUMBER_OR_NULL, "pts", "points needed"),
    measure("low", NUMBER_OR_NULL, "pts", "lower end of the range for next year (90 % probability)"),
    measure("high", NUMBER_OR_NULL, "pts", "upper end of the range for next year (90 % probability)"),
    key("years", Shape::List(&Shape::Integer), "years of the past standings that were used"),
    key(
        "too_small",
        Shape::List(&Shape::Integer),
        "years that are skipped because they have fewer cars than the place",
    ),
];

pub(crate) static POINTS: Answer = Answer {
    name: "points",
    command: "tierod points --format json",
    summary: "The points of the first goal and of its events: planned, predicted and needed.",
    variants: &[(
        "",
        &[&[
            VERSION,
            BROKEN,
            key("goal", Shape::Text, "id of the goal"),
            key(
                "events",
                Shape::List(&Shape::Object(&[&[
                    key("id", Shape::Text, "id of the event"),
                    measure("plan", NUMBER_OR_NULL, "pts", "planned points"),
                    measure("most", NUMBER_OR_NULL, "pts", "most points that the event gives"),
                    measure(
                        "predicted",
                        NUMBER_OR_NULL,
                        "pts",
                        "predicted points: the mean of what it may score; those scored, if it has a result",
                    ),
                    key("scored", Shape::Flag, "whether it has a result"),
                    measure("uncertainty", NUMBER_OR_NULL, "pts", UNCERTAINTY),
                    measure("low", NUMBER_OR_NULL, "pts", LOW),
                    measure("high", NUMBER_OR_NULL, "pts", HIGH),
                    measure("chance", NUMBER_OR_NULL, "1", "chance that it scores; null if it always does"),
                    key("reads", TEXT_OR_NULL, "name of the input of the score; null if it has none or several"),
                    key("unit", TEXT_OR_NULL, "unit of the input"),
                    measure("value", NUMBER_OR_NULL, "`unit`", "input now"),
                    measure("needed_value", NUMBER_OR_NULL, "`unit`", "input that would score exactly the plan"),
                ]])),
                "the events",
            ),
            measure("plan", NUMBER_OR_NULL, "pts", "sum of the plans"),
            measure(
                "predicted",
                NUMBER_OR_NULL,
                "pts",
                "sum of the predictions, or of the points scored; null unless every event has a value",
            ),
            measure(
                "at_least",
                NUMBER_OR_NULL,
                "pts",
                "sum over the events that have a value, if others have none; otherwise null",
            ),
            key("without_value", TEXTS, "ids of events without a value"),
            key("scored", Shape::Flag, "whether every event has a result"),
            measure("uncertainty", NUMBER_OR_NULL, "pts", UNCERTAINTY),
            measure("low", NUMBER_OR_NULL, "pts", LOW),
            measure("high", NUMBER_OR_NULL, "pts", HIGH),
            key(
                "needed",
                Shape::OrNull(&Shape::Object(&[NEEDED])),
                "points needed for the goal; null if they cannot be calculated",
            ),
            measure("chance", NUMBER_OR_NULL, "1", "probability that the predicted points are enough for the goal"),
        ]],
    )],
};

const WORTHS: Shape = Shape::List(&Shape::Object(&[&[
    key("id", Shape::Text, "name of the value"),
    measure("value", NUMBER_OR_NULL, "`unit`", "value now"),
    key("unit", Shape::Text, "unit; empty for a plain number"),
    measure(
        "points_per_unit",
        NUMBER_OR_NULL,
        "pts per `unit`",
        "change of the points if the value is one unit higher; of a part, the value of one piece",
    ),
    key("count", Shape::Integer, "how often the value counts in the car: the count of a part, otherwise 1"),
    measure(
        "points_per_unit_of_all",
        NUMBER_OR_NULL,
        "pts per `unit`",
        "change of the points if all pieces of the part together have one unit more",
    ),
    measure("points_per_percent", NUMBER_OR_NULL, "pts", "change of the points if the value is 1 % higher"),
]]));

pub(super) const RESULTS_IGNORED: Key = key(
    "results_ignored",
    Shape::Integer,
    "number of results that were ignored; estimates are used, because a measured value does not change with the parts",
);

pub(crate) static WORTH: Answer = Answer {
    name: "worth",
    command: "tierod worth --format json",
    summary: "How many points one unit, or 1 %, of each value is worth.",
    variants: &[(
        "",
        &[&[
            VERSION,
            BROKEN,
            key("goal", Shape::Text, "id of the goal"),
            key("event", TEXT_OR_NULL, "id of the event whose points count; null for all events"),
            measure(
                "points",
                NUMBER_OR_NULL,
                "pts",
                "predicted points from estimates; null unless every event has a value",
            ),
            measure("points_with_results", NUMBER_OR_NULL, "pts", "the same with results, as in `points`"),
            key("not_counted", TEXTS, "ids of events whose points do not count, because they have no value"),
            key(
                "bending",
                TEXTS,
                "ids of events whose points reach a limit of the score within their uncertainty: their slope is not that of the mean",
            ),
            RESULTS_IGNORED,
            key("car", WORTHS, "totals of the car; empty if a value was named"),
            key("values", WORTHS, "values that others depend on, or the value that was named"),
        ]],
    )],
};
