//! The answers of `values`, `budget`, `points`, `worth` and `compare`.

use super::shared::{HIGH, LIMIT, LOW, ORIGINS, STATUSES, UNCERTAINTY, UPPER_LIMIT};
use super::{Answer, Key, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

pub(crate) static VALUES: Answer = Answer {
    name: "values",
    command: "tierod values --format json",
    summary: "Every target, event, goal and amount with its value, limit and status.",
    variants: &[(
        "",
        &[&[
            VERSION,
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
                ]])),
                "the values",
            ),
        ]],
    )],
};

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
];

pub(crate) static POINTS: Answer = Answer {
    name: "points",
    command: "tierod points --format json",
    summary: "The points of the first goal and of its events: planned, predicted and needed.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("goal", Shape::Text, "id of the goal"),
            key(
                "events",
                Shape::List(&Shape::Object(&[&[
                    key("id", Shape::Text, "id of the event"),
                    measure("plan", NUMBER_OR_NULL, "pts", "planned points"),
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
            measure("predicted", NUMBER_OR_NULL, "pts", "sum of the predictions, or of the points scored"),
            key("scored", Shape::Flag, "whether every event has a result"),
            measure("uncertainty", NUMBER_OR_NULL, "pts", UNCERTAINTY),
            measure("low", NUMBER_OR_NULL, "pts", LOW),
            measure("high", NUMBER_OR_NULL, "pts", HIGH),
            key(
                "needed",
                Shape::OrNull(&Shape::Object(&[NEEDED])),
                "points needed for the goal; null if they cannot be calculated",
            ),
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
        "change of the points if the value is one unit higher",
    ),
    measure("points_per_percent", NUMBER_OR_NULL, "pts", "change of the points if the value is 1 % higher"),
]]));

const RESULTS_IGNORED: Key = key(
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
            key("goal", Shape::Text, "id of the goal"),
            RESULTS_IGNORED,
            key("car", WORTHS, "totals of the car; empty if a value was named"),
            key("values", WORTHS, "values that others depend on, or the value that was named"),
        ]],
    )],
};

pub(crate) static COMPARE: Answer = Answer {
    name: "compare",
    command: "tierod compare ID --format json",
    summary: "The points, amounts and targets of the whole car with each alternative of a decision.",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("decision", Shape::Text, "id of the decision"),
            measure("points", NUMBER_OR_NULL, "pts", "predicted points now (estimates)"),
            RESULTS_IGNORED,
            key(
                "alternatives",
                Shape::List(&Shape::Object(&[&[
                    key("name", Shape::Text, "name of the alternative"),
                    key("title", TEXT_OR_NULL, "its title"),
                    key("chosen", Shape::Flag, "whether it is the chosen one"),
                    measure("points", NUMBER_OR_NULL, "pts", "predicted points with it"),
                    measure("uncertainty", NUMBER_OR_NULL, "pts", UNCERTAINTY),
                    measure("low", NUMBER_OR_NULL, "pts", LOW),
                    measure("high", NUMBER_OR_NULL, "pts", HIGH),
                    measure("difference", NUMBER_OR_NULL, "pts", "points with it minus points now"),
                    measure(
                        "difference_uncertainty",
                        NUMBER_OR_NULL,
                        "pts",
                        "expanded uncertainty of the difference (k = 2)",
                    ),
                    key(
                        "significant",
                        Shape::OrNull(&Shape::Flag),
                        "whether the difference is larger than its uncertainty",
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
                ]])),
                "the alternatives",
            ),
        ]],
    )],
};
