//! The answers of `check` and `delta`.

use super::causes::{BEFORE_AND_AFTER, CAUSES, CONTEXT_RENAMED, LIMITS_CHANGED, LINK, RENAMED};
use super::shared::{
    CHANGED_FINDING, CHECK_FINDING, FAULT, FINDING, FINDING_KEYS, FIXED_FINDING, LEVELS, MEASURE, OFF, SOURCE, STAGES,
    STATUSES, UPPER_LIMIT,
};
use super::{Answer, Key, Keys, NUMBER_OR_NULL, Shape, TEXT_OR_NULL, TEXTS, VERSION, key, measure};

const COUNTS: &[Key] = &[
    key("error", Shape::Integer, "number of errors"),
    key("warning", Shape::Integer, "number of warnings"),
    key("note", Shape::Integer, "number of notes"),
];

const FILTERS: &[Key] = &[
    key("path", Shape::Text, "file or folder, relative to the top folder of the repository").optional(),
    key("lead", Shape::Text, "lead of the record").optional(),
    key("system", Shape::Text, "id of the system that the record is or belongs to").optional(),
    key("only", TEXTS, "names of checks").optional(),
    key("level", Shape::Words(LEVELS), "lowest level").optional(),
    key("due", Shape::Date, "date until which findings are due, with the levels of its stage").optional(),
];

pub(crate) static CHECK: Answer = Answer {
    name: "check",
    command: "tierod check --format json",
    summary: "The findings that pass the filters, and their counts. With `--staged`, only the findings that the next commit \
              adds, and the other changes of findings and rules (the optional keys).",
    variants: &[(
        "",
        &[&[
            VERSION,
            key("source", Shape::Named(&SOURCE), "what was read"),
            key("stage", Shape::Words(STAGES), "stage of the season on the date that is used as today"),
            key(
                "history",
                Shape::Words(&["on", "off", "shallow"]),
                "whether the history checks ran: `off` without a git history, `shallow` in a shallow clone",
            ),
            key("history_note", Shape::Text, "why the history checks were skipped").optional(),
            key(
                "last_commit",
                Shape::Date,
                "date of the last commit, if it is long ago and no date to use as today is given: consider `--on`",
            )
            .optional(),
            key("filters", Shape::Object(&[FILTERS]), "the filters that are set; empty without one"),
            key(
                "summary",
                Shape::Object(&[
                    &[
                        key("records", Shape::Integer, "number of records"),
                        key("unfiltered", Shape::Integer, "number of findings before the filters"),
                    ],
                    COUNTS,
                    &[
                        key("waived", Shape::Integer, "number of waived findings"),
                        key(
                            "held_back",
                            Shape::Integer,
                            "number of findings that may only follow from a file that cannot be read; only if there are any",
                        )
                        .optional(),
                        key(
                            "checks",
                            Shape::List(&Shape::Object(&[&[
                                key("check", Shape::Text, "name of the check"),
                                key("level", Shape::Words(LEVELS), "level at this stage"),
                                key("count", Shape::Integer, "number of findings"),
                            ]])),
                            "number of findings of each check, notes first",
                        ),
                        key(
                            "as_before",
                            Shape::Object(&[COUNTS]),
                            "findings that existed before; only with `--staged`",
                        )
                        .optional(),
                    ],
                ]),
                "counts of the findings that pass the filters",
            ),
            OFF,
            key("findings", Shape::List(&Shape::Named(&CHECK_FINDING)), "the findings, by file and line"),
            STOPS.optional(),
            key("uncovered", Shape::List(&Shape::Named(&CHECK_FINDING)), UNCOVERED.meaning).optional(),
            WORSE.optional(),
            BETTER.optional(),
            POSTPONED.optional(),
            SETTINGS.optional(),
        ]],
    )],
};

const STOPS: Key = key("stops", TEXTS, "fingerprints of the new errors that stop the change: exit status 1");
const UNCOVERED: Key = key(
    "uncovered",
    Shape::List(&Shape::Named(&FINDING)),
    "findings that are not new: they could not be seen in the base, because a file or record was unreadable there",
);
const WORSE: Key = key("worse", Shape::List(&Shape::Named(&CHANGED_FINDING)), "findings of both that are worse now");
const BETTER: Key = key("better", Shape::List(&Shape::Named(&CHANGED_FINDING)), "findings of both that are better now");
const POSTPONED: Key = key(
    "postponed",
    Shape::List(&Shape::Object(&[&[
        key("id", Shape::Text, "id of the record"),
        key("before", Shape::Date, "due date in the base"),
        key("after", Shape::OrNull(&Shape::Date), "due date in the head; null if it has none"),
    ]])),
    "verifications without a result whose due date was moved later: they are not in `fixed`",
);
const SETTINGS: Key = key(
    "settings",
    Shape::List(&Shape::Object(&[&[
        key(
            "key",
            Shape::Text,
            "`levels.no-lead` for a setting, `waivers.ID` for a waiver, `templates/FILE` for a template",
        ),
        key("before", TEXT_OR_NULL, "value in the base; null if it was not set"),
        key("after", TEXT_OR_NULL, "value in the head; null if it is not set"),
        key("hidden", Shape::Integer, "number of findings that are no longer reported because of it"),
    ]])),
    "rules that changed; findings are compared with the levels of the base",
);

const ID_AND_KIND: Shape = Shape::List(&Shape::Object(&[&[
    key("id", Shape::Text, "id of the record"),
    key("kind", Shape::Text, "kind of the record"),
]]));

const COUNT_CHANGE: Shape = Shape::Object(&[&[
    key("before", Shape::Integer, "number in the base"),
    key("after", Shape::Integer, "number in the head"),
]]);

const STATES: &[Key] = &[
    VERSION,
    key("base", Shape::Named(&SOURCE), "the state that is compared with"),
    key("head", Shape::Named(&SOURCE), "the state that is compared"),
    key("base_reason", TEXT_OR_NULL, "why this is the base; null if it was given"),
    key("day", Shape::Date, "the date that is used as today for both"),
    key("shallow", Shape::Flag, "whether the clone is shallow"),
];

const FINDINGS: &[Key] = &[
    key("new", Shape::List(&Shape::Named(&FINDING)), "findings of the head only"),
    key(
        "fixed",
        Shape::List(&Shape::Named(&FIXED_FINDING)),
        "findings of the base only, and those that a new waiver accepts (with `waiver`)",
    ),
    UNCOVERED,
    WORSE,
    BETTER,
];

/// Templates see `waiver` and `measure` in every finding, because a template must not name a key that is missing.
const CONTEXT_FINDINGS: &[Key] = &[
    key("new", Shape::List(&CONTEXT_FINDING), "findings of the head only"),
    key("fixed", Shape::List(&CONTEXT_FINDING), "findings of the base only, and those that a new waiver accepts"),
    key("uncovered", Shape::List(&CONTEXT_FINDING), "findings that could not be seen in the base"),
    key("worse", Shape::List(&CONTEXT_CHANGE), "findings of both that are worse now"),
    key("better", Shape::List(&CONTEXT_CHANGE), "findings of both that are better now"),
];
const CONTEXT_KEYS: &[Key] = &[
    key("waiver", TEXT_OR_NULL, "id of the waiver that accepts it"),
    key("measure", Shape::OrNull(&Shape::Named(&MEASURE)), "how bad it is in the head, if that is a number"),
    LINK,
];
const CONTEXT_FINDING: Shape = Shape::Object(&[FINDING_KEYS, CONTEXT_KEYS]);
const CONTEXT_CHANGE: Shape = Shape::Object(&[
    FINDING_KEYS,
    CONTEXT_KEYS,
    &[key("before", Shape::Named(&MEASURE), "how bad it was in the base")],
]);

const PAIR_OR_NULL: Shape = Shape::OrNull(&Shape::Pair(&Shape::Number));

/// A budget in one state.
const BUDGET_SIDE: &[Key] = &[
    measure("value", NUMBER_OR_NULL, "`unit`", "value; null without one"),
    measure("uncertainty", NUMBER_OR_NULL, "`unit`", "expanded uncertainty (k = 2) of the value"),
    measure("limit", Shape::OrNull(&Shape::Named(&UPPER_LIMIT)), "`unit`", "limit; null without one"),
    key("over", Shape::Flag, "whether it is over its limit"),
];

const CHANGES: &[Key] = &[
    STOPS,
    POSTPONED,
    SETTINGS,
    key("unchanged", Shape::Integer, "number of findings that are in both"),
    key(
        "counts",
        Shape::Object(&[&[
            key("error", COUNT_CHANGE, "errors"),
            key("warning", COUNT_CHANGE, "warnings"),
            key("note", COUNT_CHANGE, "notes"),
        ]]),
        "number of findings by level",
    ),
    key(
        "records",
        Shape::Object(&[&[
            key("added", ID_AND_KIND, "records of the head only"),
            key("removed", ID_AND_KIND, "records of the base only"),
            key(
                "renamed",
                Shape::List(&Shape::Object(&[&[
                    key("id", Shape::Text, "id in the head"),
                    key("before", Shape::Text, "id in the base"),
                    key("kind", Shape::Text, "kind of the record"),
                ]])),
                "records with a new id (`formerly`)",
            ),
            key("edited", ID_AND_KIND, "records with other content"),
        ]]),
        "changed records",
    ),
    key(
        "values",
        Shape::List(&Shape::Object(&[
            &[key("id", Shape::Text, "name of the value, as in `car.mass`")],
            BEFORE_AND_AFTER,
        ])),
        "values that changed",
    ),
    key(
        "status_changes",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the target"),
            key("before", Shape::Words(STATUSES), "status in the base"),
            key("after", Shape::Words(STATUSES), "status in the head"),
        ]])),
        "targets with a new status",
    ),
    LIMITS_CHANGED,
    key(
        "points",
        Shape::OrNull(&Shape::Object(&[&[
            measure("before", NUMBER_OR_NULL, "pts", "points in the base"),
            measure("after", NUMBER_OR_NULL, "pts", "points in the head"),
            measure(
                "low",
                NUMBER_OR_NULL,
                "pts",
                "lower end of the interval of `after` (95 %); null if it is as wide above",
            ),
            measure("high", NUMBER_OR_NULL, "pts", "upper end of that interval"),
            key(
                "intervals",
                Shape::Object(&[&[
                    measure("before", PAIR_OR_NULL, "pts", "in the base"),
                    measure("after", PAIR_OR_NULL, "pts", "in the head"),
                ]]),
                "lower and upper end of the interval (95 %) of each, also if it is as wide on both sides",
            ),
        ]])),
        "predicted points of the goal; null without a goal",
    ),
    key(
        "chances",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the goal"),
            measure("before", NUMBER_OR_NULL, "1", "probability in the base"),
            measure("after", NUMBER_OR_NULL, "1", "probability in the head"),
        ]])),
        "probability of reaching each goal",
    ),
    key(
        "budgets",
        Shape::List(&Shape::Object(&[&[
            key("id", Shape::Text, "id of the target"),
            key("unit", Shape::Text, "unit of its numbers"),
            key("before", Shape::Object(&[BUDGET_SIDE]), "in the base"),
            key("after", Shape::Object(&[BUDGET_SIDE]), "in the head"),
        ]])),
        "budgets whose value or limit changed",
    ),
    key("amounts", Shape::Map(&Shape::Object(&[BEFORE_AND_AFTER])), "totals of the car, by name of the amount"),
    key(
        "broken",
        Shape::Object(&[&[
            key("base", Shape::List(&Shape::Named(&FAULT)), "in the base"),
            key("head", Shape::List(&Shape::Named(&FAULT)), "in the head"),
        ]]),
        "what is wrong under the points of each state",
    ),
];

pub(crate) static DELTA: Answer = Answer {
    name: "delta",
    command: "tierod delta --format json",
    summary: "The difference between two states: findings, records, values and limits.",
    variants: &[("", &[STATES, FINDINGS, CHANGES, CAUSES, RENAMED])],
};

/// Three texts of a changed number.
const SHOWN: &[Key] = &[
    key("before", Shape::Text, "value in the base; `none` without one"),
    key("after", Shape::Text, "value in the head; `none` without one"),
    key("change", Shape::Text, "difference with its sign; empty without one"),
];

/// Two measures as text.
const MEASURES: &[Key] =
    &[key("before", Shape::Text, "measure in the base"), key("after", Shape::Text, "measure in the head")];

const CONTEXT: Keys = &[
    STATES,
    CONTEXT_FINDINGS,
    CHANGES,
    CAUSES,
    CONTEXT_RENAMED,
    &[key(
        "shown",
        Shape::Object(&[&[
            key("base", Shape::Text, "name of the base"),
            key("head", Shape::Text, "name of the head"),
            key("how", TEXT_OR_NULL, "how the base was chosen"),
            key("incomplete", TEXTS, "notes on states with read errors"),
            key(
                "headline",
                Shape::List(&Shape::Object(&[
                    SHOWN,
                    &[
                        key("name", Shape::Text, "points, or the name of an amount"),
                        key("changed", Shape::Flag, "whether it changed by so much that it is shown"),
                        key("same_as", TEXT_OR_NULL, "id of the budget of the same amount; null without one"),
                    ],
                ])),
                "points and totals of the car",
            ),
            key("first", Shape::Text, "the first line: what the change does to points, place and budgets"),
            key("most", Shape::Integer, "number of rows that a group should have at most"),
            key(
                "chances",
                Shape::List(&Shape::Object(&[
                    MEASURES,
                    &[key("name", Shape::Text, "what is reached with this probability, as in `place 8`")],
                ])),
                "probabilities of reaching a goal that changed",
            ),
            key(
                "budgets",
                Shape::List(&Shape::Object(&[
                    SHOWN,
                    &[
                        key("id", Shape::Text, "id of the target"),
                        key("limit", TEXT_OR_NULL, "limit, if it is the same in both; otherwise it is in the texts"),
                    ],
                ])),
                "as `budgets`",
            ),
            key(
                "status_changes",
                Shape::List(&Shape::Object(&[&[
                    key("before", Shape::Words(STATUSES), "status in the base"),
                    key("after", Shape::Words(STATUSES), "status in the head"),
                    key("ids", TEXTS, "ids of the targets"),
                ]])),
                "targets with a new status, those that need attention first",
            ),
            key(
                "causes",
                Shape::List(&Shape::Object(&[
                    SHOWN,
                    &[
                        key("id", Shape::Text, "name of the value"),
                        key("affects", TEXTS, "the values on the path to the points, in order"),
                        key("points", TEXT_OR_NULL, "its part of the change of the points"),
                        key("effect", Shape::Text, "its part of the change of points and amounts; empty without one"),
                        key("edited", Shape::Text, "the edited key, after the id of its record; empty without one"),
                    ],
                ])),
                "as `causes`",
            ),
            key(
                "values",
                Shape::List(&Shape::Object(&[
                    SHOWN,
                    &[
                        key("id", Shape::Text, "name of the value"),
                        key("same_as", TEXT_OR_NULL, "id of the target whose value it is as well; null without one"),
                    ],
                ])),
                "as `values`",
            ),
            key(
                "limits_changed",
                Shape::List(&Shape::Object(&[&[
                    key("before", Shape::Text, "limit in the base; empty without one"),
                    key("after", Shape::Text, "limit in the head; empty without one"),
                    key("agreed", Shape::Text, "role, date and reason of the revision; empty without one"),
                ]])),
                "as `limits_changed`",
            ),
            key("worse", Shape::List(&Shape::Object(&[MEASURES])), "as `worse`"),
            key("better", Shape::List(&Shape::Object(&[MEASURES])), "as `better`"),
            key(
                "settings",
                Shape::List(&Shape::Object(&[&[
                    key("key", Shape::Text, "the rule"),
                    key("before", Shape::Text, "value in the base; `not set` without one"),
                    key("after", Shape::Text, "value in the head; `not set` without one"),
                    key("hidden", Shape::Integer, "number of findings that are no longer reported because of it"),
                ]])),
                "as `settings`",
            ),
            key("other", Shape::Text, "as `other`; empty if nothing is left"),
            key("empty", Shape::Flag, "whether there is no difference"),
        ]]),
        "the same numbers as text with units, for templates",
    )],
];

pub(crate) static DELTA_CONTEXT: Answer = Answer {
    name: "delta-context",
    command: "tierod delta --context",
    summary: "The data for the template `templates/delta.md`: the answer of `delta`, and its numbers as text.",
    variants: &[("", CONTEXT)],
};

/// The levels of a check, which can also be off.
pub(super) const CHECK_LEVELS: &[&str] = &["off", LEVELS[2], LEVELS[1], LEVELS[0]];
