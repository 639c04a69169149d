//! What the answers of `audit` and `audit --brief` contain about why: who made the state, causes, limits that changed, what is
//! unproven, and the decisions.

use super::season::{GOAL, PERIODS};
use super::shared::{HIGH, LOW, OFF, SOURCE, STAGES, STATUSES, UNCERTAINTY};
use super::{Answer, Key, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

/// Who made the state.
pub(super) const MADE: Key = key(
    "made",
    Shape::Object(&[&[
        key("team", TEXT_OR_NULL, "team in the settings"),
        key("car", TEXT_OR_NULL, "car in the settings"),
        key("commit", TEXT_OR_NULL, "full id of the last commit that changed the records"),
        key("day", Shape::OrNull(&Shape::Date), "date of that commit"),
        key("uncommitted", Shape::Flag, "whether there are changes after it that are not committed"),
    ]]),
    "who made the state that is shown, and when",
);

/// What a goal has more than its points.
pub(super) const OF_GOAL: &[Key] = &[
    key(
        "place_predicted",
        Shape::OrNull(&Shape::Integer),
        "the place that the predicted points were expected to take, from past contests",
    ),
    measure("chance", NUMBER_OR_NULL, "1", "probability, before the contest, that the points are enough for the goal"),
];

/// What an event has more than its points.
pub(super) const OF_EVENT: &[Key] = &[
    measure("vs_plan", NUMBER_OR_NULL, "pts", "points scored, or before the contest predicted, minus planned"),
    key(
        "causes",
        Shape::List(&Shape::Object(&[&[
            key("cause", Shape::Text, "the cause: `prediction vs plan`, or one of `split`"),
            measure("points", Shape::Number, "pts", "what it adds"),
        ]])),
        "why `vs_plan` is not zero: the points add up to it; empty if a number is missing",
    ),
    key(
        "behind",
        Shape::List(&Shape::Object(&[&[
            key("target", Shape::Text, "id of the target"),
            measure("value", Shape::Number, "`unit`", "its latest value: driven, measured or expected"),
            measure("limit", Shape::Number, "`unit`", "the end of its limit that it is compared with"),
            key("unit", Shape::Text, "unit of both; empty for a plain number"),
            measure("points", Shape::Number, "pts", "points of the event with the value minus those with the limit"),
            key("read", Shape::Flag, "whether the event reads the target; otherwise it is under one that it reads"),
        ]])),
        "the targets behind `vs_plan`: of an event that is short those that miss their limits and cost points, of another one \
         those that it reads and that are better than their limits",
    ),
];

/// The limits that changed, and what is unproven.
pub(super) const MOVED_AND_UNPROVEN: &[Key] = &[
    key(
        "limit_moves",
        Shape::List(&Shape::Object(&[&[
            key("target", Shape::Text, "id of the target"),
            key("title", Shape::Text, "its title, or its id"),
            key(
                "day",
                Shape::OrNull(&Shape::Date),
                "date of the commit that changed the limit; of the revision if git has none",
            ),
            key("commit", TEXT_OR_NULL, "full id of the commit"),
            key("before", TEXT_OR_NULL, "limit before, as text; null if it was set for the first time"),
            key("after", Shape::Text, "limit after, as text"),
            key("revision", TEXT_OR_NULL, "id of the revision that records it"),
            key("agreed_by", TEXT_OR_NULL, "role that agreed"),
            key("reason", TEXT_OR_NULL, "the reason in the revision"),
            key(
                "record",
                Shape::Words(&["revision", "missing", "first limit", "not needed"]),
                "how it is recorded: `missing` if a revision is needed and does not exist",
            ),
            key("after_result", Shape::Flag, "whether the target had a result before"),
        ]])),
        "the limits that changed, and those first set after a result, by date",
    ),
    key("safety_critical", Shape::Integer, "number of safety-critical parts, requirements and targets"),
    key(
        "unproven",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the part, requirement or target"),
            key("title", Shape::Text, "its title, or its id"),
            key("kind", Shape::Text, "its kind"),
            key("system", TEXT_OR_NULL, "id of the system"),
            key("lead", TEXT_OR_NULL, "role of the lead"),
            key("why", Shape::Words(&["failed", "uncertain", "no test planned", "no result"]), "what is missing"),
            key("open_methods", TEXTS, "planned methods other than analysis that have no result"),
            key("due", Shape::OrNull(&Shape::Date), "first due date of its verification"),
        ]])),
        "safety-critical records without a passed test, demonstration or inspection, the worst first",
    ),
];

const RANKING: Shape = Shape::OrNull(&Shape::Object(&[
    &[measure("points", NUMBER_OR_NULL, "pts", "points of the goal with the records as they were")],
    INTERVAL,
    &[
        key(
            "alternatives",
            Shape::List(&Shape::Object(&[
                &[
                    key("name", Shape::Text, "name of the alternative"),
                    key("title", TEXT_OR_NULL, "its title"),
                    key("chosen", Shape::Flag, "whether it is the chosen one"),
                    measure(
                        "points",
                        NUMBER_OR_NULL,
                        "pts",
                        "points of the goal with it; null if it cannot be compared",
                    ),
                ],
                INTERVAL,
                &[measure("behind", NUMBER_OR_NULL, "pts", "its points minus those of the first one")],
            ])),
            "the alternatives, those with the most points first",
        ),
        key(
            "significant",
            Shape::OrNull(&Shape::Flag),
            "whether the first one is ahead of the second by more than the uncertainty; null if this is not known",
        ),
        key("place_of_chosen", Shape::OrNull(&Shape::Integer), "place of the chosen alternative, from 1"),
    ],
]));

const INTERVAL: &[Key] = &[measure("low", NUMBER_OR_NULL, "pts", LOW), measure("high", NUMBER_OR_NULL, "pts", HIGH)];

const KNOWN: Shape = Shape::OrNull(&Shape::Object(&[&[
    measure("value", NUMBER_OR_NULL, "`unit`", "the value"),
    measure("uncertainty", NUMBER_OR_NULL, "`unit`", UNCERTAINTY),
]]));

/// The decisions.
pub(super) const DECISIONS: Key = key(
    "decisions",
    Shape::List(&Shape::Object(&[&[
        key("id", Shape::Text, "id of the decision"),
        key("title", Shape::Text, "its title, or its id"),
        key("chosen", TEXT_OR_NULL, "name of the chosen alternative"),
        key("day", Shape::OrNull(&Shape::Date), "date of the commit that chose it"),
        key("commit", TEXT_OR_NULL, "full id of that commit"),
        key("reason", TEXT_OR_NULL, "reason of the choice"),
        key("then", RANKING, "the alternatives in that commit"),
        key("then_missing", TEXT_OR_NULL, "why `then` is null"),
        key("now", RANKING, "the alternatives with the current estimates"),
        key(
            "analyses",
            Shape::List(&Shape::Object(&[&[
                key("id", Shape::Text, "id of the analysis"),
                key("title", Shape::Text, "its title, or its id"),
                key("day", Shape::OrNull(&Shape::Date), "date of the commit that added it"),
                key(
                    "after_choice",
                    Shape::OrNull(&Shape::Flag),
                    "whether it was added after the choice; null if not known",
                ),
            ]])),
            "the analyses that inform it, by date",
        ),
        key(
            "values",
            Shape::List(&Shape::Object(&[&[
                key("id", Shape::Text, "id of a target, or an amount of a part"),
                key("unit", Shape::Text, "unit of its numbers; empty for a plain number"),
                key("criterion", Shape::Flag, "whether it is a criterion of the decision"),
                key("set", KNOWN, "what the chosen alternative sets"),
                key("then", KNOWN, "the value when the choice was made"),
                key("now", KNOWN, "the current estimate"),
                key("measured", KNOWN, "what was measured"),
                key(
                    "differs",
                    Shape::OrNull(&Shape::Flag),
                    "whether the measured value differs from `set` by more than both uncertainties; null without one of them",
                ),
                key("status", Shape::OrNull(&Shape::Words(STATUSES)), "status of a target"),
            ]])),
            "the criteria, and what the chosen alternative sets",
        ),
    ]])),
    "the decisions: what was known when the choice was made, the ranking then and now, and what was measured",
);

/// What the templates get as text of the same.
pub(super) const SHOWN_REVIEW: &[Key] = &[
    key("made_by", Shape::Text, "team, car, commit and date"),
    key("no_goal", TEXT_OR_NULL, "that the project has no goal; null with one"),
    key("raced", Shape::Flag, "whether an event has a score, or a place is recorded"),
    key("figures", Shape::List(&TEXTS), "the few figures at the top: each a name, what counts most, and the others"),
    key("evaluated", TEXT_OR_NULL, "how many commits changed the records; null without a history"),
    key("curves", Shape::Text, "since when the curves of the season are drawn, or why they are missing"),
    key("uncertain", Shape::Integer, "number of targets with the limit inside the uncertainty of the result"),
    key(
        "moves",
        Shape::List(&Shape::Object(&[&[
            key("title", Shape::Text, "title of the target, or its id"),
            key("limits", Shape::Text, "limit before and after"),
            key("agreed", Shape::Text, "role that agreed, or how it is recorded"),
            key("line", Shape::Text, "all of it in one line"),
        ]])),
        "as `limit_moves`",
    ),
    key(
        "periods",
        Shape::List(&Shape::Object(&[&[
            key("title", Shape::Text, "title of the target, or its id"),
            key("days", Shape::Text, "length in days"),
            key("end", Shape::Text, "how and when it ended"),
            key("resolved", Shape::Flag, "whether the risk was dealt with"),
        ]])),
        "as `at_risk_periods`",
    ),
    key("unproven", TEXTS, "as `unproven`: what each record lacks"),
    key(
        "decisions",
        Shape::List(&Shape::Object(&[&[
            key("choice", Shape::Text, "what was chosen, and when"),
            key(
                "without_numbers",
                Shape::OrNull(&Shape::Text),
                "that it was made without a ranking by points or an analysis",
            ),
            key("known", TEXT_OR_NULL, "what was known then"),
            key("points", TEXT_OR_NULL, "points predicted then"),
            key("before", Shape::Text, "the analyses before the choice"),
            key("after", TEXT_OR_NULL, "the analyses after the choice; null without one"),
            key(
                "alternatives",
                Shape::List(&Shape::Object(&[&[
                    key("name", Shape::Text, "name of the alternative"),
                    key("title", TEXT_OR_NULL, "its title"),
                    key("chosen", Shape::Flag, "whether it is the chosen one"),
                    key("then", Shape::Text, "place and points then"),
                    key("now", Shape::Text, "place and points now"),
                ]])),
                "the alternatives, by the ranking now",
            ),
            key("then", TEXT_OR_NULL, "whether the first one was significantly ahead then"),
            key("now", TEXT_OR_NULL, "whether the first one is significantly ahead now"),
            key(
                "values",
                Shape::List(&Shape::Object(&[&[
                    key("name", Shape::Text, "id of a target, or an amount of a part"),
                    key("title", Shape::Text, "title of the target, or of the part with the amount"),
                    key("set", Shape::Text, "what the chosen alternative sets"),
                    key("then", Shape::Text, "the value then"),
                    key("now", Shape::Text, "the current estimate"),
                    key("measured", Shape::Text, "what was measured"),
                    key("differs", Shape::OrNull(&Shape::Flag), "as `decisions[].values[].differs`"),
                ]])),
                "as `decisions[].values`",
            ),
            key("measurements", TEXT_OR_NULL, "what the measurements show about the choice"),
        ]])),
        "as `decisions`",
    ),
];

/// What the templates get as text of a goal.
pub(super) const SHOWN_GOAL: &[Key] = &[
    key("about_rest", TEXT_OR_NULL, "what the rest of a cause is; null without one"),
    key("without_events", Shape::Flag, "whether no event serves it"),
    key("beside", TEXT_OR_NULL, "what was predicted before the contest; null before the first score"),
    key("why", TEXT_OR_NULL, "by how much events are short of their plan; null unless the goal was missed"),
    key(
        "short",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the event"),
            key("points", Shape::Text, "points minus planned"),
            key("cause", Shape::Text, "the main causes"),
            key("behind", TEXTS, "the targets that cost points"),
        ]])),
        "the events that are short of their plan; empty unless the goal was missed",
    ),
];

pub(crate) static AUDIT_BRIEF: Answer = Answer {
    name: "audit-brief",
    command: "tierod audit --brief --format json",
    summary: "The audit on one page: place and chance, points by event with causes, the ten longest at-risk periods, limits that \
              changed, safety-critical records without a passed test, and the checks that are off.",
    variants: &[(
        "",
        &[
            &[
                VERSION,
                key("source", Shape::Named(&SOURCE), "what was read"),
                key("season", Shape::OrNull(&Shape::Integer), "year of the season in the settings"),
                MADE,
                key("day", Shape::Date, "the date that is used as today"),
                key("stage", Shape::Words(STAGES), "stage of the season on that date"),
                key(
                    "goals",
                    Shape::List(&Shape::Object(&[
                        &[key(
                            "verdict",
                            Shape::Text,
                            "whether the goal was reached, or what is predicted, as a sentence",
                        )],
                        GOAL[0],
                        GOAL[1],
                        GOAL[2],
                        GOAL[3],
                    ])),
                    "the goals with their points",
                ),
                key("longest_at_risk", PERIODS, "the ten longest of the times at risk, the longest first"),
                key("at_risk_periods", Shape::Integer, "number of all of them"),
            ],
            MOVED_AND_UNPROVEN,
            &[OFF],
        ],
    )],
};
