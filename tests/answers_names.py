"""The names that differ between the two binaries that answers.py compares: old -> new.

The tables follow the list of names to change in the style guide of this project. Add a row here only for a change that
was decided and documented; everything else has to be equal.
"""

import re

COMMITTER = {"NAME": "Team", "EMAIL": "team@example.org", "DATE": "2027-03-19T12:00:00Z"}

# Words of the command line, new -> old.
OLD_WORDS = {"compare": "weigh", "timeline": "moments"}

CHECKS = {
    "open-loop": "no-action",
    "target-off-course": "target-at-risk",
    "childless": "no-children",
    "over-margin": "excess-margin",
    "unfed-target": "no-effect-on-points",
    "target-off-plan": "plan-above-targets",
    "two-estimates": "two-sources",
    "unweighed-decision": "incomplete-decision",
    "idle-analysis": "unused-analysis",
    "unallocated": "no-share",
    "wrong-level": "wrong-tier",
}

# Keys of records: kind -> old -> new.
RECORD_KEYS = {
    "decision": {"weighs": "criteria"},
    "goal": {"field": "past-standings"},
    "waiver": {"on": "of"},
}

# Keys of JSON answers: command -> (old parent key or "", old, new). A parent of "" is any parent.
KEYS = {
    "graph": [("nodes", "level", "tier")],
    "why": [("record", "level", "tier")],
    "budget": [("transfer", "short", "shortfall")],
    "delta": [
        ("", "staying", "unchanged"),
        ("", "open", "counts"),
        ("", "statuses", "status_changes"),
        ("", "targets_moved", "limits_changed"),
        ("causes", "way", "affects"),
        ("limits_changed", "date", "day"),
    ],
    "audit": [
        ("", "loops", "at_risk_periods"),
        ("", "moments", "timeline"),
        ("", "carry_over", "next_season"),
        ("", "idle_analyses", "unused_analyses"),
        ("targets", "moved", "limit_changes"),
        ("limits", "date", "day"),
        ("result", "date", "day"),
        ("revisions", "date", "day"),
        ("moments", "date", "day"),
        ("waivers", "on", "of"),
    ],
    "history": [
        ("", "born", "added"),
        ("", "gone", "removed"),
        ("", "unread", "unreadable_versions"),
        ("changes", "written", "branch_commit"),
    ],
    "worth": [("", "results_aside", "results_ignored")],
    "compare": [
        ("", "results_aside", "results_ignored"),
        ("", "told_apart", "significant"),
        ("", "weighed", "criteria"),
        ("", "on_course", "newly_on_target"),
        ("", "off_course", "newly_at_risk"),
    ],
    "explain": [
        ("", "finds", "reports"),
        ("", "mend", "fix"),
        ("", "found", "bad_example"),
        ("", "mended", "good_example"),
    ],
}

# Words that are values of JSON answers and cells of CSV: (key or "", old, new).
VALUES = [
    ("", "on course", "on target"),
    ("", "off course", "at risk"),
    ("status", "open", "no value"),
    ("before", "open", "no value"),
    ("after", "open", "no value"),
    ("history", "short", "shallow"),
    ("link", "weighs", "criteria"),
    ("key", "weighs", "criteria"),
    ("key", "field", "past-standings"),
    ("key", "on", "of"),
    ("field", "weighs", "criteria"),
    ("field", "field", "past-standings"),
    ("field", "on", "of"),
    ("$ref", "#/$defs/Field", "#/$defs/PastStandings"),
]

# Heads of CSV tables: table -> old -> new.
HEADS = {
    "targets": {"moved": "limit_changes", "date": "day"},
    "timeline": {"date": "day"},
}

# Keys whose values are words for people: their numbers, ids and places are compared, and not their words.
PROSE = {
    "message", "help", "text", "description", "title", "note", "caution", "why", "reports", "fix", "bad_example",
    "good_example", "meaning", "summary", "source", "end", "next_season", "history_note", "shown",
}  # fmt: skip


def new_checks(text):
    """The names of checks in a text, renamed. `unallocated` is also a plain word."""
    for old, new in CHECKS.items():
        if old != "unallocated":
            text = re.sub(rf"(?<![\w-]){old}(?![\w-])", new, text)
    return re.sub(r"(?m)((?<=[\[`=])|^ *)unallocated(?=[\]`:]|  )", rf"\1{CHECKS['unallocated']}", text)


def new_keys(value, command, parent=""):
    """The keys of a JSON answer, renamed."""
    if isinstance(value, list):
        return [new_keys(item, command, parent) for item in value]
    if not isinstance(value, dict):
        return value
    if command == "history" and parent == "values":
        value = one_limit(value)
    if parent == "" and "shown" in value:
        value = dict(value, shown=with_limits(value, command))
    if command == "budget" and "limit" in value:
        value = dict(value, limit={"at_most": value["limit"]})
    if command == "budget" and parent == "changes":
        value = dict(value, **{"from": {"at_most": value["from"]}, "to": {"at_most": value["to"]}})
    if command == "delta" and "over" in value and not isinstance(value["limit"], dict | None):
        value = dict(value, limit={"at_most": value["limit"]})
    if command == "audit" and parent == "limits":
        value = dict(value, limit=limit_of(value["limit"])[0], unit=limit_of(value["limit"])[1])
    if command == "delta" and parent == "targets_moved":
        before, (after, unit) = limit_of(value["before"])[0], limit_of(value["after"])
        value = dict(value, before=before, after=after, unit=unit)
    renamed = {old: new for where, old, new in KEYS.get(command, []) if where in ("", parent)}
    if command == "schema" and parent in ("Decision", "Goal", "Waiver"):
        own = RECORD_KEYS[parent.lower()]
        value = dict(value, properties={own.get(key, key): item for key, item in value.get("properties", {}).items()})
        value |= {"required": [own.get(key, key) for key in value["required"]]} if "required" in value else {}
    if command == "schema" and parent == "$defs" and "Field" in value:
        value = {("PastStandings" if key == "Field" else key): item for key, item in value.items()}
    return {renamed.get(key, key): new_keys(item, command, key) for key, item in value.items()}


def one_limit(entry):
    """An entry with `limit` in place of `at_least` and `at_most`, as in the other answers."""
    low, high = entry.get("at_least"), entry.get("at_most")
    both = {"between": [low, high]} if None not in (low, high) else None
    limit = both or ({"at_least": low} if low is not None else {"at_most": high} if high is not None else None)
    return {key: item for key, item in entry.items() if key not in ("at_least", "at_most")} | {"limit": limit}


def with_limits(context, command):
    """The texts of the data for a template, with the limits, which were in the answer itself."""
    shown = context["shown"]
    if command == "delta":
        limits = [{"before": entry["before"], "after": entry["after"]} for entry in context["targets_moved"]]
        return dict(shown, limits_changed=limits)
    if command == "audit":
        pairs = zip(shown["targets"], context["targets"])
        return dict(shown, targets=[dict(own, limits=[step["limit"] for step in full["limits"]]) for own, full in pairs])
    return shown


class Written(float):
    """A number as it is written in the records; the new answers give it after a conversion to SI and back."""


def limit_of(text):
    """The limit that a text gives, as an object, and its unit."""
    words = text.replace("at most", "≤").replace("at least", "≥")
    ends = [end.split(" ", 1) for end in words.lstrip("≤≥ ").split(" to ") if end]
    if not ends:
        return None, ""
    numbers, unit = [Written(end[0]) for end in ends], ends[-1][1] if len(ends[-1]) > 1 else ""
    key = {"≤": "at_most", "≥": "at_least"}.get(words[0])
    return {key: numbers[0]} if key else {"between": numbers}, unit


def new_value(key, text):
    """A whole value, renamed if it is a word of the tool."""
    text = CHECKS.get(text, text)
    for where, old, new in VALUES:
        if text == old and where in ("", key):
            return new
        if key == where == "field" and text.startswith(f"{old}."):
            return new + text[len(old):]
    return text


def rename_records(text):
    """A record file or the settings, with the keys and the names of checks renamed; no line is added or removed."""
    lines, block = [], ""
    for line in text.split("\n"):
        top = re.match(r"([a-z-]+):", line)
        block = top.group(1) if top else block
        for kind, keys in RECORD_KEYS.items():
            if block == kind + "s":
                for old, new in keys.items():
                    line = re.sub(rf"(^ +(?:\S+: *\{{)?|[{{,] *){old}:", rf"\1{new}:", line)
        if block in ("levels", "waivers"):
            for old, new in CHECKS.items():
                line = re.sub(rf"(?<![\w-]){old}(?![\w-])", new, line)
        lines.append(line)
    return "\n".join(lines)
