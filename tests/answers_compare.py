"""Compares two folders that `answers.py run` wrote: numbers, ids, places, counts, statuses and structure."""

import csv
import difflib
import functools
import io
import json
import re
import subprocess
import urllib.parse
from collections import Counter

import answers_names as names

# What is listed and is no error without --strict.
NOTES = {"rounded", "reordered", "added", "column after a renamed key"}
UNITS = r"%|°C|EUR|USD|pts|N\*m|k?N|kW|kWh|MJ|kJ|MPa|kPa|bar|kg|mm|cm|m\^2|m/s|km/h|deg|s|m|g|l|V|A|dB"
TOKEN = re.compile(
    r"(?P<place>[\w.-]+(?:/[\w.-]+)*\.(?:yaml|yml|csv|md|html|json|png|svg|txt)(?::\d+(?::\d+)?)?)"
    r"|(?P<date>\d{4}-\d\d-\d\d)"
    r"|(?P<commit>\b[0-9a-f]{7,40}\b)"
    r"|(?P<id>\b[a-z][a-z0-9]*(?:[-.][a-z0-9]+)+\b|(?<=[`(])[a-z][a-z0-9]*(?=[`)])|(?<=^)[a-z][a-z0-9]*(?=  ))"
    r"|(?P<number>(?<![\w.])[-+]?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?:(?: |\n +)?(?:" + UNITS + r")(?![\w*/^]))?)",
    re.MULTILINE,
)
IDENTITY = (
    "check", "ruleId", "check_name", "record", "id", "path", "line", "of", "commit", "from", "to", "link", "key",
    "name",
)  # fmt: skip


class Number(float):
    """A number with its digits."""

    def __new__(cls, text):
        number = super().__new__(cls, text)
        number.text = text
        return number


class Side:
    """One folder of answers."""

    def __init__(self, folder):
        self.folder = folder
        about = json.loads((folder / "index.json").read_text())
        self.answers, self.old = about["answers"], about["old"]
        log = self.git("rev-list", "--topo-order", "--reverse", "HEAD").split()
        self.commits = {name: number for number, name in enumerate(log)}
        self.short = {name[:7]: number for name, number in self.commits.items()}
        self.ids = set()
        for path in folder.glob("answers/**/graph-json.json"):
            self.ids |= {node["id"] for node in json.loads(path.read_text())["nodes"]}

    def git(self, *words):
        done = subprocess.run(["git", "-C", self.folder / "season", *words], capture_output=True)
        return done.stdout.decode(errors="replace")

    def commit(self, text):
        """The place of a commit in the history, or None."""
        number = self.short.get(text[:7])
        return number if number is not None and list(self.commits)[number].startswith(text) else None

    @functools.cache
    def lines(self, state, path):
        if state != "car":
            return self.git("show", f"{state}:{path}").split("\n")
        file = self.folder / "car" / path
        return file.read_text().split("\n") if file.is_file() else []

    def read(self, name):
        return (self.folder / "answers" / name).read_bytes().decode()


class Comparison:
    def __init__(self, old, new):
        self.old, self.new, self.found, self.words = old, new, [], 0
        self.ids = old.ids | new.ids | set(names.CHECKS.values())
        every = json.loads(new.read("explain/all-json.json")).get("checks", [])
        self.ids |= {entry["check"] for entry in every}

    def report(self, kind, where, old, new):
        self.found.append((kind, self.name, where, old, new))

    def shifted(self, path, line):
        """Whether this line of a record file differs between the two sides, so that its columns may, too."""
        states = zip(self.old.answers[self.name]["states"], self.new.answers[self.name]["states"])
        pick = lambda side, state: dict(enumerate(side.lines(state, path), 1)).get(line)
        return any(pick(self.old, before) != pick(self.new, after) for before, after in states)

    def tokens(self, side, text):
        """The numbers, ids, places, dates and commits of a text in order, line by line: the line, and what is in it."""
        if side.old:
            text = names.new_checks(text)
        text = re.sub(r"file=([^,]+),line=(\d+),col=(\d+),", r"\1:\2:\3 ", text)
        lines = [(line.strip(), []) for line in text.split("\n")]
        line, end = 0, 0
        for match in TOKEN.finditer(text):
            kind, token = match.lastgroup, match.group()
            line, end = line + text.count("\n", end, match.start()), match.start()
            if kind == "commit":
                number = side.commit(token)
                if number is not None:
                    token = f"commit {number}"
                elif not token.isdigit():
                    continue
            elif kind == "place":
                place = re.fullmatch(r"(.*):(\d+):\d+", token)
                if place and self.shifted(place.group(1), int(place.group(2))):
                    token = token.rpartition(":")[0]
            elif kind == "id" and token not in self.ids and token.split(".")[0] not in self.ids | {"car"}:
                continue
            lines[line][1].append(re.sub(r"\s", "", token))
        return [(text, found) for text, found in lines if found]

    def prose(self, where, old, new):
        """Compares two texts; the order of their lines counts, their words do not."""
        if old == new:
            return
        rows = [self.tokens(side, text) for side, text in ((self.old, old), (self.new, new))]
        lost, added, lines = Counter(), Counter(), ([], [])
        matcher = difflib.SequenceMatcher(None, *[[tuple(found) for _, found in part] for part in rows], autojunk=False)
        changed = False
        for what, a, b, c, d in matcher.get_opcodes():
            before, after = rows[0][a:b], rows[1][c:d]
            flat = [[token for _, found in part for token in found] for part in (before, after)]
            if what == "equal" or flat[0] == flat[1]:
                continue
            changed = True
            lost.update(flat[0])
            added.update(flat[1])
            lines[0].extend(line for line, _ in before)
            lines[1].extend(line for line, _ in after)
        if not changed:
            self.words += 1
            return
        lost, added = lost - added, added - lost
        rounded = pair_rounded(lost, added)
        kind = "lost or changed" if lost else "rounded" if rounded else "added" if added else "reordered"
        details = " ".join([f"-{token}" for token in lost.elements()] + [f"+{token}" for token in added.elements()])
        self.report(kind, f"{where} {details}".strip(), " / ".join(lines[0][:4]), " / ".join(lines[1][:4]))

    def json(self, where, old, new, path=None):
        """Compares two JSON values; `path` is the file that a place is in."""
        key = where.rpartition(".")[2].split("[")[0]
        if isinstance(old, dict) and isinstance(new, dict):
            for name in [name for name in old if name not in new]:
                self.report("structure", f"{where}.{name}", "key", "missing")
            for name in [name for name in new if name not in old]:
                self.report("structure", f"{where}.{name}", "missing", "key")
            path = place_of(old, path)
            renamed = any(str(old.get(name)) in self.renamed for name in ("check", "ruleId", "check_name"))
            for name in [name for name in old if name in new]:
                if renamed and name in ("fingerprint", "partialFingerprints"):
                    continue
                if name in ("startColumn", "column") and old[name] != new[name]:
                    line = old.get("startLine", old.get("line"))
                    if line is not None and self.shifted(path, int(line)):
                        self.report("column after a renamed key", f"{where}.{name}", old[name].text, new[name].text)
                        continue
                if name == "ruleIndex":
                    continue
                self.json(f"{where}.{name}", old[name], new[name], path)
        elif isinstance(old, list) and isinstance(new, list):
            self.lists(where, old, new, path)
        elif isinstance(old, names.Written) and isinstance(new, Number):
            if abs(old - new) > 1e-12 * abs(old):
                self.report("number", where, str(old), new.text)
        elif isinstance(old, Number) and isinstance(new, Number):
            if old.text != new.text:
                self.report("number", where, old.text, new.text)
        elif isinstance(old, str) and isinstance(new, str):
            if old == new or names.new_value(key, old) == new or names.new_checks(old) == new:
                return
            commits = self.old.commit(old), self.new.commit(new)
            if re.fullmatch(r"[0-9a-f]{7,40}", old) and None not in commits and commits[0] == commits[1]:
                return
            if key in names.PROSE or " " in old:
                self.prose(where, old, new)
            else:
                self.report("value", where, old, new)
        elif type(old) is not type(new) or old != new:
            self.report("value", where, json.dumps(old)[:80], json.dumps(new)[:80])

    def lists(self, where, old, new, path):
        if len(old) != len(new):
            self.report("count", where, str(len(old)), str(len(new)))
        before, words = len(self.found), self.words
        for number, (one, other) in enumerate(zip(old, new)):
            self.json(f"{where}[{number}]", one, other, path)
        worse = [entry for entry in self.found[before:] if entry[0] not in NOTES]
        if not worse or len(old) < 2:
            return
        # The same entries in another order?
        first, first_words = self.found[before:], self.words
        del self.found[before:]
        self.words = words
        pairs = {}
        for side, part in enumerate((old, new)):
            for item in part:
                pairs.setdefault(self.identity(item, side == 0), ([], []))[side].append(item)
        for number, (ours, theirs) in enumerate(pairs.values()):
            for item in ours[len(theirs):]:
                self.report("count", where, json.dumps(item)[:200], "missing")
            for item in theirs[len(ours):]:
                self.report("count", where, "missing", json.dumps(item)[:200])
            for one, other in zip(ours, theirs):
                self.json(f"{where}[{number}]", one, other, path)
        again = [entry for entry in self.found[before:] if entry[0] not in NOTES]
        if len(again) < len(worse):
            if len(old) == len(new):
                self.report("reordered", where, f"{len(old)} entries", f"{len(new)} entries")
        else:
            self.found[before:], self.words = first, first_words

    def identity(self, item, old):
        if not isinstance(item, dict):
            text = item if isinstance(item, str) else json.dumps(item)
            return names.new_value("", text) if old else text
        side, values = self.old if old else self.new, []
        for key in IDENTITY:
            value = item.get(key)
            if isinstance(value, str):
                commit = side.commit(value) if re.fullmatch(r"[0-9a-f]{7,40}", value) else None
                value = commit if commit is not None else names.new_value(key, value) if old else value
            values.append(json.dumps(value))
        return tuple(values)

    def csv(self, old, new):
        tables = [list(csv.reader(io.StringIO(text))) for text in (old, new)]
        heads = names.HEADS.get(self.name.rpartition("audit-")[2].removesuffix(".csv"), {})
        if tables[0] and self.renamed:
            tables[0][0] = [heads.get(head, head) for head in tables[0][0]]
        if [len(row) for row in tables[0]] != [len(row) for row in tables[1]]:
            self.report("count", "rows or columns", str(len(tables[0])), str(len(tables[1])))
        for number, (one, other) in enumerate(zip(*tables)):
            for column, (cell, theirs) in enumerate(zip(one, other)):
                head = tables[1][0][column]
                if is_number(cell) and is_number(theirs):
                    self.json(f"row {number}.{head}", Number(cell), Number(theirs))
                else:
                    self.json(f"row {number}.{head}", cell, theirs)

    def answer(self, name):
        self.name = name
        one, other = self.old.answers[name], self.new.answers[name]
        if one["status"] != other["status"]:
            self.report("status", "", str(one["status"]), str(other["status"]))
        self.prose("stderr", one["error"], other["error"])
        old, new = self.old.read(name), self.new.read(name)
        self.renamed = names.CHECKS if self.old.old and not self.new.old else {}
        if name.endswith(".json") and old and new:
            group, _, file = name.partition("/")
            command = group if group in ("schema", "explain") else file.rpartition("/")[2].split("-")[0]
            values = [json.loads(text, parse_int=Number, parse_float=Number) for text in (old, new)]
            if self.renamed:
                values[0] = names.new_keys(values[0], command)
            self.json("", *values)
            self.rules(values)
        elif name.endswith(".csv"):
            self.csv(old, new)
        elif name.endswith(".html"):
            self.prose("", *[visible(text) for text in (old, new)])
        elif "github" in name:
            self.prose("", *[urllib.parse.unquote(text.replace("%0A", " ")) for text in (old, new)])
        else:
            self.prose("", old, new)

    def rules(self, values):
        """In SARIF the index of a rule has to name the rule."""
        for run in values[1].get("runs", []) if isinstance(values[1], dict) else []:
            rules = run["tool"]["driver"]["rules"]
            for result in run["results"]:
                if rules[int(result["ruleIndex"])]["id"] != result["ruleId"]:
                    self.report("value", "ruleIndex", result["ruleId"], rules[int(result["ruleIndex"])]["id"])


def place_of(entry, path):
    """The file that an entry of a JSON answer names, else the one around it."""
    location = entry.get("artifactLocation")
    own = location.get("uri") if isinstance(location, dict) else entry.get("path")
    return own if isinstance(own, str) else path


def is_number(text):
    return re.fullmatch(r"[-+]?\d+(\.\d+)?(e[-+]?\d+)?", text) is not None


def visible(page):
    """A page without its styles, one tag or text per line."""
    page = re.sub(r"<style.*?</style>", "", page, flags=re.DOTALL)
    return re.sub(r"\s*<", "\n<", page.replace(">", ">\n"))


def pair_rounded(lost, added):
    """Takes the pairs out that are one number with more and with fewer digits; returns whether there were any."""
    pairs = []
    for old in list(lost.elements()):
        for new in list(added.elements()):
            match = [re.fullmatch(r"([-+]?\d+(?:\.(\d+))?)(\D*)", token) for token in (old, new)]
            if all(match) and match[0][3] == match[1][3]:
                digits = min(len(part[2] or "") for part in match)
                if abs(float(match[0][1]) - float(match[1][1])) <= 0.5 * 10**-digits * (1 + 1e-9):
                    pairs.append((old, new))
                    lost[old] -= 1
                    added[new] -= 1
                    break
    lost += Counter()
    added += Counter()
    return bool(pairs)


def masked(text):
    return re.sub(r"[0-9a-f]{7,40}|[-+]?\d[\d.]*|[a-z0-9]+(?:-[a-z0-9]+)+", "#", text)


def compare(arguments):
    old, new = Side(arguments.old), Side(arguments.new)
    comparison = Comparison(old, new)
    for name in sorted(set(old.answers) ^ set(new.answers)):
        comparison.name = name
        found = ["found" if name in side.answers else "missing" for side in (old, new)]
        comparison.report("missing answer", "", *found)
    both = sorted(set(old.answers) & set(new.answers))
    for name in both:
        comparison.answer(name)
    groups = {}
    for kind, name, where, before, after in comparison.found:
        key = kind, re.sub(r"\[\d+\]", "[]", masked(where)), masked(before), masked(after)
        groups.setdefault(key, []).append((name, where, before, after))
    strict = lambda kind: arguments.strict or kind not in NOTES
    order = lambda group: (not strict(group[0][0]), group[0][0], -len(group[1]))
    for (kind, *_), entries in sorted(groups.items(), key=order):
        name, where, before, after = entries[0]
        print(f"{'' if strict(kind) else 'note: '}{kind}, {len(entries)} times, first in {name} {where}")
        print(f"  - {before}\n  + {after}")
    errors = sum(strict(kind) for kind, *_ in comparison.found)
    notes = len(comparison.found) - errors
    words = f"{comparison.words} texts with other words only"
    print(f"{len(both)} answers compared: {errors} differences, {notes} notes, {words}")
    return 1 if errors or not both else 0
