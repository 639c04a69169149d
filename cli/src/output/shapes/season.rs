//! The answer of `audit`.

use super::numbers::NEEDED;
use super::review::{DECISIONS, MADE, MOVED_AND_UNPROVEN, OF_EVENT, OF_GOAL, SHOWN_GOAL, SHOWN_REVIEW};
use super::shared::{COMMIT_KEYS, HIGH, LIMIT, LOW, OFF, ORIGINS, SOURCE, STAGES, STATUSES, UNCERTAINTY};
use super::{Answer, Key, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

/// A number of points, for events and goals.
const SCORED: &[Key] = &[
    measure("plan", NUMBER_OR_NULL, "pts", "planned points"),
    measure("predicted", NUMBER_OR_NULL, "pts", "points predicted just before the contest"),
    measure("uncertainty", NUMBER_OR_NULL, "pts", "expanded uncertainty of the prediction (k = 2)"),
    measure("low", NUMBER_OR_NULL, "pts", LOW),
    measure("high", NUMBER_OR_NULL, "pts", HIGH),
    measure("scored", NUMBER_OR_NULL, "pts", "points scored; null if a result is missing"),
];

/// The difference between score and prediction, by cause.
const SPLIT: Shape = Shape::OrNull(&Shape::Object(&[&[
    measure("difference", Shape::Number, "pts", "points scored minus points predicted: the sum of all causes below"),
    measure("own_values", Shape::Number, "pts", "by the values of the car as driven (`reads` of the result)"),
    measure("others_best", Shape::Number, "pts", "by the best of the others (`best` of the result)"),
    measure("finish", Shape::Number, "pts", "because the car finished, or did not, which was a chance before"),
    measure("penalties", Shape::Number, "pts", "by other inputs of the score that the result has, for example cones"),
    measure("judges", Shape::Number, "pts", "by the points of judges"),
    measure(
        "mean",
        Shape::Number,
        "pts",
        "because the prediction is the mean over its uncertainty, not the score of the expected values",
    ),
    measure(
        "not_explained",
        Shape::Number,
        "pts",
        "score minus what the formula gives for the values of the contest: penalties that are not recorded, or unknown causes",
    ),
]]));

/// A goal with its points.
pub(super) const GOAL: [&[Key]; 4] = [
    &[
        key("id", Shape::Text, "id of the goal"),
        key("title", Shape::Text, "its title, or its id"),
        key("reason", TEXT_OR_NULL, "its reason"),
        key("place", Shape::OrNull(&Shape::Integer), "the place, if the goal is one"),
        key("place_reached", Shape::OrNull(&Shape::Integer), "the place reached, if a result has it"),
        key("place_result", TEXT_OR_NULL, "id of the result with the place reached"),
        key(
            "needed",
            Shape::OrNull(&Shape::Object(&[
                NEEDED,
                &[measure("level", Shape::Number, "1", "probability of the range from `low` to `high`")],
            ])),
            "points needed for the goal; null if they cannot be calculated",
        ),
    ],
    OF_GOAL,
    SCORED,
    &[
        measure("scored_so_far", NUMBER_OR_NULL, "pts", "points of the events that have a result"),
        key("events_scored", Shape::Integer, "number of events that have a result"),
        key(
            "reached",
            Shape::OrNull(&Shape::Flag),
            "whether the goal was reached: by the place, if it is known, otherwise by the points; null if this is not known yet",
        ),
        key("split", SPLIT, "why the points differ from the prediction; null if a score or a prediction is missing"),
        key(
            "events",
            Shape::List(&Shape::Object(&[
                &[key("id", Shape::Text, "id of the event"), key("title", Shape::Text, "its title, or its id")],
                SCORED,
                &[
                    key("result", TEXT_OR_NULL, "id of the result with the score"),
                    key("evidence", Shape::OrNull(&TEXTS), "files of evidence of that result"),
                    key("split", SPLIT, "why the score differs from the prediction; null if one of them is missing"),
                ],
                OF_EVENT,
            ])),
            "the events of the goal",
        ),
    ],
];

/// Times at risk.
pub(super) const PERIODS: Shape = Shape::List(&Shape::Object(&[&[
    key("target", Shape::Text, "id of the target"),
    key("since", Shape::Date, "first date"),
    key("until", Shape::OrNull(&Shape::Date), "last date; null if unresolved"),
    key(
        "end",
        Shape::OrNull(&Shape::Words(&[
            "met",
            "missed",
            "uncertain",
            "back within the limit",
            "revised",
            "limit changed without a revision",
            "value removed",
        ])),
        "how it ended: with a result (met, missed or uncertain), a value within the limit, or another limit",
    ),
    measure("days", Shape::Integer, "d", "its length; up to `day` if it is unresolved"),
]]));

const TARGETS: Shape = Shape::List(&Shape::Object(&[&[
    key("id", Shape::Text, "id of the target"),
    key("title", Shape::Text, "its title, or its id"),
    key("of", TEXT_OR_NULL, "the car, system or part that it belongs to"),
    key("system", TEXT_OR_NULL, "id of the system"),
    key("lead", TEXT_OR_NULL, "role of the lead"),
    key("safety_critical", Shape::Flag, "whether it is safety-critical"),
    key("unit", Shape::Text, "unit of its numbers; empty for a plain number"),
    key("limit", Shape::OrNull(&Shape::Named(&LIMIT)), "limit"),
    key("limit_text", Shape::Text, "limit as text with its unit"),
    key(
        "limits",
        Shape::List(&Shape::Object(&[
            COMMIT_KEYS,
            &[
                key("limit", Shape::Named(&LIMIT), "limit from then on"),
                key("unit", Shape::Text, "unit of that limit; empty for a plain number"),
                key("recorded", Shape::Flag, "whether a revision records the change; true for the first limit"),
                key("after_result", Shape::Flag, "whether it was set after a result of the target"),
            ],
        ])),
        "every limit that the target had, oldest first",
    ),
    key(
        "revisions",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the revision"),
            key("day", Shape::OrNull(&Shape::Date), "its date"),
            key("from", TEXT_OR_NULL, "limit before, as text"),
            key("to", TEXT_OR_NULL, "limit after, as text"),
            key("agreed_by", TEXT_OR_NULL, "role that agreed"),
            key("reason", TEXT_OR_NULL, "the reason"),
        ]])),
        "its revisions",
    ),
    key(
        "estimate",
        Shape::OrNull(&Shape::Object(&[&[
            measure("value", NUMBER_OR_NULL, "`unit`", "value expected without results"),
            measure("uncertainty", NUMBER_OR_NULL, "`unit`", UNCERTAINTY),
            key("origin", Shape::Words(ORIGINS), "where the value comes from"),
            key("by", TEXT_OR_NULL, "id of the analysis"),
        ]])),
        "the estimate",
    ),
    key(
        "result",
        Shape::OrNull(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the result"),
            key("day", Shape::OrNull(&Shape::Date), "its date"),
            measure("value", NUMBER_OR_NULL, "`unit`", "measured value; also one that was driven at the contest"),
            measure("uncertainty", NUMBER_OR_NULL, "`unit`", UNCERTAINTY),
            key("outcome", Shape::OrNull(&Shape::Words(&["pass", "fail"])), "outcome, for a result without a value"),
        ]])),
        "the latest result",
    ),
    measure("margin", NUMBER_OR_NULL, "1", "distance of the result to the limit as a share of the limit"),
    key("limit_changes", Shape::Integer, "number of changes of the limit"),
    key("unrecorded", Shape::Integer, "number of changes without a revision"),
    key("after_result", Shape::Flag, "whether a limit was set or changed after a result"),
    key(
        "first_limit_met",
        Shape::OrNull(&Shape::Flag),
        "whether the measured value meets the first limit, too; null unless the limit was loosened since",
    ),
    key(
        "inside_estimate",
        Shape::OrNull(&Shape::Flag),
        "whether the result is inside the interval of the estimate; null without a result or an uncertainty",
    ),
    key("verdict", Shape::Words(&["met", "missed", "never verified", "not due yet"]), "outcome"),
    key(
        "outcome",
        Shape::Words(&["met", "uncertain", "missed", "never verified", "not due yet"]),
        "the outcome in one word: uncertain if the limit is inside the uncertainty of the result",
    ),
    key(
        "qualifier",
        Shape::OrNull(&Shape::Words(&["limit inside the uncertainty", "limit changed after the result"])),
        "what qualifies the outcome: the limit is inside the uncertainty of the result, or the result does not meet the limit \
         that the target had when it was measured",
    ),
    key("status", Shape::Words(STATUSES), "status, as in `values`"),
    key("methods", TEXTS, "methods of its verification"),
    key("evidence", TEXTS, "files of evidence"),
]]));

const PREDICTIONS: Shape = Shape::Object(&[&[
    key(
        "groups",
        Shape::List(&Shape::Object(&[&[
            key("quantity", Shape::Text, "the quantity, as in `mass`"),
            key("basis", Shape::Text, "basis of the estimates"),
            key("pairs", Shape::Integer, "number of pairs"),
            measure("bias", NUMBER_OR_NULL, "1", "mean of result / estimate, minus 1"),
            measure("spread", NUMBER_OR_NULL, "1", "standard deviation of result / estimate; null for a single pair"),
            key("inside", Shape::Integer, "number of results inside the interval of their estimate"),
            key("with_interval", Shape::Integer, "number of estimates with an uncertainty"),
            measure(
                "allowance_90",
                NUMBER_OR_NULL,
                "1",
                "smallest growth allowance that covers nine of ten results; null for fewer than ten pairs",
            ),
            measure("allowance_used", NUMBER_OR_NULL, "1", "growth allowance in the settings"),
        ]])),
        "pairs by quantity and basis",
    ),
    key(
        "inside",
        Shape::Integer,
        "number of all results inside the interval of their estimate, also of those without a ratio (degrees Celsius)",
    ),
    key("with_interval", Shape::Integer, "number of all estimates with an uncertainty and a result"),
    key(
        "pairs",
        Shape::List(&Shape::Object(&[&[
            key("of", Shape::Text, "id of the target, or amount of a part"),
            key("quantity", Shape::Text, "the quantity"),
            key("basis", Shape::Text, "basis of the estimate"),
            measure("estimate", NUMBER_OR_NULL, "`unit`", "estimate"),
            measure(
                "uncertainty",
                NUMBER_OR_NULL,
                "`unit`",
                "expanded uncertainty of the estimate (k = 2); 0 if it has none",
            ),
            measure("result", NUMBER_OR_NULL, "`unit`", "result"),
            key("unit", Shape::Text, "unit of both"),
            measure("error", NUMBER_OR_NULL, "1", "result / estimate, minus 1"),
            key(
                "inside",
                Shape::OrNull(&Shape::Flag),
                "whether the result is inside the interval of the estimate; null without an uncertainty",
            ),
        ]])),
        "every estimate that has a result",
    ),
]]);

const AUDIT_KEYS: &[Key] = &[
    VERSION,
    key("source", Shape::Named(&SOURCE), "what was read"),
    key("season", Shape::OrNull(&Shape::Integer), "year of the season in the settings"),
    MADE,
    key("day", Shape::Date, "the date that is used as today"),
    key("stage", Shape::Words(STAGES), "stage of the season on that date"),
    key(
        "history",
        Shape::Object(&[&[
            key("on", Shape::Flag, "whether the git history was read"),
            key("commits", Shape::OrNull(&Shape::Integer), "number of commits that changed the records"),
            key("shallow", Shape::Flag, "whether the clone is shallow"),
            key(
                "complete_from",
                Shape::OrNull(&Shape::Date),
                "date of the first evaluated commit at which the car was complete on paper; null if that is not reached, or an event has no value",
            ),
            key("note", TEXT_OR_NULL, "why parts of the history are missing"),
        ]]),
        "the git history",
    ),
    key("goals", Shape::List(&Shape::Object(&GOAL)), "the goals with their points"),
    key("targets", TARGETS, "the targets"),
    key(
        "verification",
        Shape::List(&Shape::Object(&[&[
            key("method", Shape::Words(&["test", "analysis", "inspection", "demonstration"]), "method"),
            key("planned", Shape::Integer, "number of verifications"),
            key("closed", Shape::Integer, "number of them that passed: the latest result meets the record"),
            key(
                "uncertain",
                Shape::Integer,
                "number of them with the limit inside the uncertainty of the latest result",
            ),
            key("failed", Shape::Integer, "number of them that failed"),
            key("open", Shape::Integer, "number of them without a result"),
        ]])),
        "verifications by method",
    ),
    key("predictions", PREDICTIONS, "how good the estimates were"),
    key(
        "timeline",
        Shape::List(&Shape::Object(&[&[
            key("day", Shape::Date, "date of the commit"),
            key("commit", TEXT_OR_NULL, "full commit id; null for changes that are not committed"),
            key(
                "amounts",
                Shape::Map(&Shape::Object(&[&[
                    measure("value", NUMBER_OR_NULL, "`unit`", "total of the car"),
                    key("unit", TEXT_OR_NULL, "unit; null for SI base units"),
                ]])),
                "totals of the car, by name of the amount",
            ),
            key("points", Shape::Map(&NUMBER_OR_NULL), "predicted points [pts], by id of the goal"),
        ]])),
        "the car at the evaluated commits",
    ),
    key("at_risk_periods", PERIODS, "times during which the estimate of a target did not meet its limit"),
    key(
        "unused_analyses",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the analysis"),
            key("title", Shape::Text, "its title, or its id"),
        ]])),
        "analyses that informed no decision or part, and change no points",
    ),
    OFF,
    key(
        "waivers",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the waiver"),
            key("check", TEXT_OR_NULL, "name of the check"),
            key("of", TEXT_OR_NULL, "id of the record"),
            key("until", Shape::OrNull(&Shape::Date), "end date"),
            key("agreed_by", TEXT_OR_NULL, "role that agreed"),
            key("reason", TEXT_OR_NULL, "the reason"),
            key("in_force", Shape::Flag, "whether it is valid on `day`"),
        ]])),
        "the waivers",
    ),
    key("next_season", TEXTS, "what to do differently next season, as sentences"),
    DECISIONS,
];

pub(crate) static AUDIT: Answer = Answer {
    name: "audit",
    command: "tierod audit --format json",
    summary: "The review of the season: points, targets, evidence, and how good the predictions were.",
    variants: &[("", &[AUDIT_KEYS, MOVED_AND_UNPROVEN])],
};

/// The points of an event or a goal as text.
const SHOWN: &[Key] = &[
    key("plan", Shape::Text, "planned points"),
    key("predicted", Shape::Text, "predicted points with their uncertainty"),
    key("scored", Shape::Text, "points scored"),
    key("to_plan", Shape::Text, "scored minus planned, with its sign"),
    key("to_predicted", Shape::Text, "scored minus predicted, with its sign"),
    key("split", TEXTS, "the points of each of `causes`, rounded so that they add up to `to_predicted`"),
];

pub(crate) static AUDIT_CONTEXT: Answer = Answer {
    name: "audit-context",
    command: "tierod audit --context",
    summary: "The data for the templates `templates/audit.md` and `templates/audit.html`: the answer of `audit`, and its \
              numbers as text. A text is empty if its number is missing.",
    variants: &[(
        "",
        &[
            AUDIT_KEYS,
            MOVED_AND_UNPROVEN,
            &[key(
                "shown",
                Shape::Object(&[
                    SHOWN_REVIEW,
                    &[
                        key(
                            "goals",
                            Shape::List(&Shape::Object(&[
                                SHOWN,
                                SHOWN_GOAL,
                                &[
                                    key("verdict", Shape::Text, "whether the goal was reached, as a sentence"),
                                    key(
                                        "raced",
                                        Shape::Flag,
                                        "whether an event of it has a score, or the place is recorded",
                                    ),
                                    key("causes", TEXTS, "the causes that are shown, which are the columns of `split`"),
                                    key("about_split", Shape::Text, "what the less obvious causes mean"),
                                    key(
                                        "events",
                                        Shape::List(&Shape::Object(&[
                                            SHOWN,
                                            &[key(
                                                "cause",
                                                Shape::Text,
                                                "the main causes of the difference to the plan",
                                            )],
                                        ])),
                                        "as `goals[].events`",
                                    ),
                                ],
                            ])),
                            "as `goals`",
                        ),
                        key(
                            "targets",
                            Shape::List(&Shape::Object(&[&[
                                key("estimate", Shape::Text, "estimate with its uncertainty and unit"),
                                key("result", Shape::Text, "measured value with its uncertainty and unit"),
                                key("outcome", Shape::Text, "outcome with its qualifier"),
                                key(
                                    "short_outcome",
                                    Shape::Text,
                                    "outcome in one word: uncertain if the limit is inside the uncertainty",
                                ),
                                key("result_title", TEXT_OR_NULL, "title of the result, or its id"),
                                key("margin", Shape::Text, "margin"),
                                key("unrecorded", Shape::Integer, "number of changes of the limit without a revision"),
                                key("limits", TEXTS, "as `targets[].limits[].limit`, with units"),
                            ]])),
                            "as `targets`",
                        ),
                        key(
                            "groups",
                            Shape::List(&Shape::Object(&[&[
                                key("bias", Shape::Text, "bias in percent"),
                                key("spread", Shape::Text, "spread in percent"),
                                key(
                                    "inside",
                                    Shape::Text,
                                    "results inside the interval of their estimate, as in `4 of 5`",
                                ),
                                key("allowance_90", Shape::Text, "allowance for nine of ten results in percent"),
                                key("allowance_used", Shape::Text, "allowance in the settings in percent"),
                            ]])),
                            "as `predictions.groups`",
                        ),
                        key("verdicts", TEXTS, "the possible outcomes of a target, in the order of the tables"),
                        key("counts", Shape::Text, "number of targets by outcome, without those that have a qualifier"),
                        key(
                            "qualified",
                            TEXT_OR_NULL,
                            "number of targets with a qualifier, by outcome; null without one",
                        ),
                        key(
                            "inside",
                            TEXT_OR_NULL,
                            "how many results are inside the interval of their estimate, as a sentence",
                        ),
                        key(
                            "met",
                            Shape::Integer,
                            "number of targets that were met, without those that have a qualifier",
                        ),
                        key("met_uncertain", Shape::Integer, "number of those with the limit inside the uncertainty"),
                        key(
                            "met_after_change",
                            Shape::Integer,
                            "number of those met by a limit that changed after the result",
                        ),
                        key(
                            "missed",
                            Shape::Integer,
                            "number of targets that were missed, without those that have a qualifier",
                        ),
                        key(
                            "missed_uncertain",
                            Shape::Integer,
                            "number of those with the limit inside the uncertainty",
                        ),
                        key("never_verified", Shape::Integer, "number of targets without a result that was due"),
                        key("not_due", Shape::Integer, "number of targets whose verification is not due yet"),
                        key("off", TEXT_OR_NULL, "checks that the settings switch off; null without one"),
                    ],
                ]),
                "the same numbers as text with units, for templates",
            )],
        ],
    )],
};
