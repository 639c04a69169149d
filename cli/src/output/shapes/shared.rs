//! Objects that several answers contain.

use super::{Key, NUMBER_OR_NULL, Named, Shape, TEXT_OR_NULL, key, measure};

pub(super) const LEVELS: &[&str] = &["error", "warning", "note"];
pub(super) const STAGES: &[&str] = &["concept", "design", "build", "test", "contest"];
pub(super) const STATUSES: &[&str] = &["met", "missed", "uncertain", "on target", "at risk", "no value"];
pub(super) const ORIGINS: &[&str] = &["result", "analysis", "formula", "total", "estimate", "score", "events", "none"];

/// The expanded uncertainty, which most numbers have.
pub(super) const UNCERTAINTY: &str = "expanded uncertainty (k = 2)";
/// The ends of an interval: `value ± U` to first order, otherwise 2.5 % of the outcomes are beyond each end.
pub(super) const LOW: &str = "lower end of the interval that contains 95 % of the outcomes";
pub(super) const HIGH: &str = "upper end of that interval";

pub(super) const SOURCE: Named = Named {
    name: "source",
    summary: "The state of the records that was read.",
    keys: &[&[
        key(
            "kind",
            Shape::Words(&["worktree", "index", "revision", "nothing"]),
            "working tree, index, a revision, or nothing (before the first commit)",
        ),
        key("revision", TEXT_OR_NULL, "full commit id, only for a revision"),
    ]],
};

/// The keys of every finding.
pub(super) const FINDING_KEYS: &[Key] = &[
    key("check", Shape::Text, "name of the check; `tierod explain` lists all"),
    key("level", Shape::Words(LEVELS), "level at this stage; in a comparison, with the settings of the base"),
    key(
        "about",
        Shape::Words(&["records", "car"]),
        "`records`: they are broken, incomplete or contradict each other; `car`: the car, the plan or the calendar",
    ),
    key("record", TEXT_OR_NULL, "id of the record"),
    key("field", TEXT_OR_NULL, "key in the record, with dots between nested keys"),
    key("path", Shape::Text, "file, relative to the top folder of the repository"),
    key("line", Shape::Integer, "line, from 1"),
    key("column", Shape::Integer, "column in characters, from 1"),
    key("message", Shape::Text, "what is wrong or missing"),
    key("help", Shape::Text, "how to fix it; may be empty"),
    key("fingerprint", Shape::Text, "the same for the same finding in every revision, even if its line changes"),
];

/// How bad a finding is.
pub(super) const MEASURE: Named = Named {
    name: "measure",
    summary: "How bad a finding is; a larger number is worse. As in 2 kg over a limit, 12.5 pts missing, 4 days late.",
    keys: &[&[
        measure("value", NUMBER_OR_NULL, "`unit`", "the number"),
        key("unit", Shape::Text, "its unit; empty for a plain number"),
    ]],
};

/// The measure of a finding, which not every finding has.
pub(super) const FINDING_MEASURE: Key =
    key("measure", Shape::Named(&MEASURE), "how bad it is, if that is a number").optional();

pub(super) const FINDING: Named =
    Named { name: "finding", summary: "A finding of a check.", keys: &[FINDING_KEYS, &[FINDING_MEASURE]] };

pub(super) const CHANGED_FINDING: Named = Named {
    name: "changed-finding",
    summary: "A finding of base and head that became worse or better.",
    keys: &[
        FINDING_KEYS,
        &[
            key("measure", Shape::Named(&MEASURE), "how bad it is in the head"),
            key("before", Shape::Named(&MEASURE), "how bad it was in the base"),
        ],
    ],
};

/// A finding in the answer of `check`.
pub(super) const CHECK_FINDING: Named = Named {
    name: "check-finding",
    summary: "A finding of a check, with since when it is open.",
    keys: &[
        FINDING_KEYS,
        &[FINDING_MEASURE],
        &[key(
            "since",
            Shape::OrNull(&Shape::Object(&[&[
                key("commit", TEXT_OR_NULL, "full id of the commit that caused it; null if no commit did"),
                key("day", Shape::Date, "day of that commit, otherwise the first day on which it was found"),
                key(
                    "cause",
                    Shape::Words(&["commit", "date", "uncommitted"]),
                    "a commit, a date that was reached, or a change that is not committed",
                ),
            ]])),
            "since when it is open, only with `--since`; null if unknown or, with `--due`, not open yet",
        )
        .optional()],
    ],
};

/// The checks that the settings switch off.
pub(super) const OFF: Key = key(
    "off",
    Shape::List(&Shape::Object(&[&[
        key("check", Shape::Text, "name of the check"),
        key(
            "since",
            Shape::OrNull(&Shape::Date),
            "day of the commit that switched it off; null if it is not committed, or without a history",
        ),
        key("findings", Shape::Integer, "number of findings that are not reported"),
    ]])),
    "checks that the settings switch off at this stage",
);

pub(super) const FIXED_FINDING: Named = Named {
    name: "fixed-finding",
    summary: "A finding of the base that the head does not have, or accepts by a waiver.",
    keys: &[
        FINDING_KEYS,
        &[FINDING_MEASURE],
        &[key("waiver", Shape::Text, "id of the waiver that accepts it; only if the head has one").optional()],
    ],
};

/// What is broken under the numbers of an answer.
pub(super) const BROKEN: Key = key("broken", Shape::List(&Shape::Named(&FAULT)), BROKEN_MEANING);

const BROKEN_MEANING: &str = "what is wrong under the numbers; with an entry of the kind `error` they are missing or \
                              calculated without it, and the exit status is 2";

pub(super) const FAULT: Named = Named {
    name: "fault",
    summary: "Something wrong that a number depends on.",
    keys: &[&[
        key(
            "kind",
            Shape::Words(&["error", "no value", "doubt"]),
            "`error`: it cannot be used; `no value`: it is not in the records; `doubt`: it has more than one source",
        ),
        key("record", TEXT_OR_NULL, "id of the record"),
        key("path", Shape::Text, "file, relative to the top folder of the repository"),
        key("line", Shape::Integer, "line, from 1"),
        key("column", Shape::Integer, "column in characters, from 1"),
        key("message", Shape::Text, "what is wrong or missing"),
        key("help", Shape::Text, "how to fix it; may be empty"),
    ]],
};

pub(super) const LIMIT: Named = Named {
    name: "limit",
    summary: "The limit of a target, as one of three keys.",
    keys: &[&[
        measure("at_least", NUMBER_OR_NULL, "`unit`", "lower limit").optional(),
        measure("at_most", NUMBER_OR_NULL, "`unit`", "upper limit").optional(),
        measure("between", Shape::Pair(&NUMBER_OR_NULL), "`unit`", "lower and upper limit").optional(),
    ]],
};

pub(super) const UPPER_LIMIT: Named = Named {
    name: "upper-limit",
    summary: "A limit that is always an upper one, as in a budget.",
    keys: &[&[measure("at_most", NUMBER_OR_NULL, "`unit`", "upper limit")]],
};

pub(super) const COMMIT: Named = Named { name: "commit", summary: "A commit and its date.", keys: &[COMMIT_KEYS] };

pub(super) const COMMIT_KEYS: &[Key] = &[
    key("commit", TEXT_OR_NULL, "full commit id; null for changes that are not committed"),
    key("day", Shape::Date, "date of the commit"),
];

pub(super) const NODE: Named = Named {
    name: "node",
    summary: "A record in the graph.",
    keys: &[&[
        key("id", Shape::Text, "id of the record"),
        key("kind", Shape::Text, "kind of the record, as in `part`"),
        key(
            "tier",
            Shape::OrNull(&Shape::Words(&["goal", "event", "car", "system", "part"])),
            "tier in the chain; null if the kind has none",
        ),
        key("path", Shape::Text, "file, relative to the top folder of the repository"),
        key("line", Shape::Integer, "line, from 1"),
    ]],
};

pub(super) const EDGE: Named = Named {
    name: "edge",
    summary: "A link between two records.",
    keys: &[&[
        key("from", Shape::Text, "id of the record that contains the link"),
        key("to", Shape::Text, "id of the record that it names"),
        key("link", Shape::Text, "the kind of link, as in `serves`, `of`, `in`, `finds` or `informs`"),
        key("reason", TEXT_OR_NULL, "the reason under `serves`"),
        key("inherited_from", Shape::Text, "the system from whose `for-parts` a part inherits the link").optional(),
    ]],
};
