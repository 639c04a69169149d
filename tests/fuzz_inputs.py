"""The inputs of `fuzz_binary.py`: mutated project roots, git folders, templates and tables. Each is made from its seed and number alone."""
import hashlib
import json
import os
import pathlib
import random
import re
import shutil
import subprocess
import zlib

import random_histories

PROJECT = pathlib.Path(__file__).resolve().parent.parent
DAY = "2027-03-19"
NUMBERS = [
    "0", "-0", "-1", "1e308", "-1e308", "1.8e308", "1e-308", "5e-324", "1e400", "99999999999999999999", "4294967296", "2147483648",
    "0.1", "1e15", "1.", ".5", "0x10", "1_000", "1,5", "NaN", "inf", "-inf", "1e", "٣", "1e-400", "12e3", "9007199254740993", "18446744073709551616",
]  # fmt: skip
UNITS = [
    "kg", "g", "s", "ms", "m", "mm", "km/h", "N", "kN/mm", "W", "kW", "EUR", "USD", "XXX", "%", "°C", "K", "°", "1/min", "Hz", "pts", "m^2", "m^99",
    "kg·m^2", "µm", "μm", "l", "J", "1", "s^-1", "m/s^2", "yd", "lb", "", "kg kg", "N·m/°", "m^0", "m^-128", "kg/kg/kg", "Qm", "m^1.5", "m^(1/2)",
]  # fmt: skip
DATES = ["2027-02-30", "0000-00-00", "9999-12-31", "-001-01-01", "2027-1-1", "27-01-01", "2026-12-31", "2028-02-29", "1900-01-01", "2027-03-19"]
SPECIAL = [
    "\ufeff", "\u202e", "\u200b", "\u2028", "\x00", "\x1b[31m", "\x07", "\r", "\t", "\x85", "&a ", "*a", "<<: *a", "!!binary ", "!t ", "---\n", "...\n",
    "? ", "- ", "|\n", ">-\n", "{", "}", "[", "]", "'", '"', "#", ": ", "%YAML 1.1\n", "::error::x", "##[error]x", "<script>", "| x |", "\\", "~", "null",
    "@", "`", "\U000e0041", "e\u0301", "ﷺ", "𝔘", "±", "../", "/etc/passwd", "=1+1", "{{ 1 }}", "{% raw %}",
]  # fmt: skip
FUNCTIONS = ["if", "min", "max", "abs", "sqrt", "exp", "ln", "sin", "cos", "pi", "log"]


def git(folder, *words, data=None, day=DAY, check=True):
    """Runs git without the configuration of the user."""
    env = environment(pathlib.Path(folder)) | {f"GIT_{who}_DATE": f"{day}T12:00:00Z" for who in ("AUTHOR", "COMMITTER")}
    done = subprocess.run(["git", "-C", folder, *words], input=data, capture_output=True, env=env, check=False, timeout=60)
    if check and done.returncode:
        raise RuntimeError(f"git {words}: {done.stderr.decode(errors='replace')}")
    return done.stdout


def environment(home):
    keep = {"PATH": os.environ["PATH"], "HOME": str(home), "TZ": "UTC", "LC_ALL": "C.UTF-8"}
    who = {f"GIT_{who}_{key}": value for who in ("AUTHOR", "COMMITTER") for key, value in (("NAME", "Team"), ("EMAIL", "team@example.org"))}
    return keep | who | {"GIT_CONFIG_GLOBAL": "/dev/null", "GIT_CONFIG_NOSYSTEM": "1"}


# ---- records from the JSON Schema ------------------------------------------------------------------------------------

class Vocabulary:
    """What the binary knows: its schemas, models, sheets, units, checks, and the examples of its checks."""

    def __init__(self, ask):
        explain = lambda *words: json.loads(ask(["explain", *words, "--format", "json"]))
        self.schema = {which: json.loads(ask(["schema", which])) for which in ("records", "settings")}
        everything = explain()
        self.checks = [check["check"] for check in everything["checks"]]
        self.examples = [check[key] for check in everything["checks"] for key in ("bad_example", "good_example") if check.get(key)]
        # The list of all names is a text.
        section = lambda head: re.search(rf"^{head}\n(.*?)\n\n", ask(["explain"]).decode(), re.M | re.S).group(1)
        models = re.findall(r"^ {1,24}([a-z][a-z0-9-]*)  ", section("models"), re.M)
        sheets = re.findall(r"^ +([a-z][a-z0-9-]+)  (.*(?:\n {26}.*)*)", section("score sheets"), re.M)
        self.models = {name: explain(name) for name in models}
        self.sheets = {f"{book}.{name}": explain(f"{book}.{name}") for book, names in sheets for name in re.findall(r"[a-z0-9-]+", names)}
        self.units = [unit["name"] for unit in explain("units")["units"]] + UNITS
        self.kinds = list(self.schema["records"]["properties"])


class Grammar:
    """Random records with every kind and key of the schema; most of them are consistent with each other."""

    def __init__(self, rng, words):
        self.rng, self.words, self.defs = rng, words, {}
        count = lambda most: rng.choice([1, 1, 2, 3, most])
        self.ids = {kind: [f"{kind[:3]}-{at}" for at in range(1, 1 + count(6))] for kind in words.kinds}
        self.unit = {one: rng.choice(["kg", "kg", "s", "m", "N", "EUR", "%", "1", "W", "m^2"]) for one in self.ids["targets"]}
        self.amounts = ["mass", "cost", "power"]
        self.now = "kg"

    def settings(self):
        self.defs = self.words.schema["settings"].get("$defs", {})
        found = self.value(self.words.schema["settings"], "settings", 0)
        if self.rng.random() < 0.8:
            found |= {"season": 2027, "as-of": DAY, "currency": "EUR"}
            found["stages"] = {"concept": "2026-10-31", "design": "2027-01-31", "build": "2027-04-30", "test": "2027-06-20", "contest": "2027-07-04"}
            found["growth"] = {"mass": {"estimated": "20 %", "weighed": "0 %"}, "cost": {"quoted": "5 %"}}
        return found

    def records(self):
        self.defs = self.words.schema["records"]["$defs"]
        found = {}
        for kind, of_kind in self.words.schema["records"]["properties"].items():
            if self.rng.random() < 0.85:
                found[kind] = {one: self.record(kind, one, of_kind["additionalProperties"]) for one in self.ids[kind]}
        return found

    def record(self, kind, one, schema):
        self.now = self.unit.get(one) or "pts"
        made = self.value(schema, kind, 0)
        rng, pick = self.rng, lambda of: rng.choice(self.ids[of])
        above = {"events": "goals", "targets": "events", "parts": "targets", "requirements": "events", "systems": "targets", "decisions": "targets"}
        if kind in above and rng.random() < 0.8:
            made["serves"] = {pick(above[kind]): "It carries the thrust of the wheel into the frame."}
        if kind == "analyses" and rng.random() < 0.6:
            model = rng.choice(list(self.words.models))
            made.pop("formula", None)
            made |= {"model": model, "given": self.given(self.words.models[model]["inputs"])}
        if kind in ("targets", "results", "revisions", "requirements", "waivers") and rng.random() < 0.8:
            near = {"targets": ["car", *self.ids["systems"], *self.ids["parts"]], "requirements": ["car", *self.ids["systems"]]}
            made["of"] = rng.choice(near.get(kind, self.ids["targets"]))
            self.now = self.unit.get(made["of"], self.now)
            for key in ("value", "from", "to"):
                if key in made:
                    made[key] = self.quantity()
        if kind == "systems" and rng.random() < 0.8:
            # Systems of systems without a cycle.
            made["in"] = rng.choice(["car", *self.ids[kind][: self.ids[kind].index(one)]])
        if kind == "parts" and rng.random() < 0.8:
            made |= {"in": pick("systems"), "amounts": {"mass": self.quantity("kg"), "cost": {"value": self.quantity("EUR"), "basis": "quoted"}}}
        if kind == "events" and rng.random() < 0.5:
            read, best = pick("targets"), self.quantity(self.unit[self.ids["targets"][0]])
            formula = rng.choice(["30 pts * (best / time)", "if(time < best, 9 pts, span * (best/time)^2)", "max(0 pts, span - 2 pts * abs(ln(time / best)))", self.formula(4)])
            made |= {"reads": {"time": read}, "score": {"formula": formula, "given": {"best": best, "span": self.quantity("pts")}}}
            if rng.random() < 0.5:
                made["chance"] = rng.choice(["90 %", "0 %", "100 %", "1", *self.ids["targets"]])
        elif kind == "events" and rng.random() < 0.6:
            sheet = rng.choice(list(self.words.sheets))
            inputs = self.words.sheets[sheet].get("inputs") or []
            reads = [one for one in inputs if one.get("under") == "reads"]
            made |= {"score": {"use": sheet, "given": self.given([one for one in inputs if one not in reads])}, "reads": self.given(reads)}
        return made

    def given(self, inputs):
        rng, made = self.rng, {}
        for one in inputs:
            if rng.random() < (0.95 if one.get("needed") or one.get("under") else 0.3):
                number = str(one.get("default") or self.number())
                if " in " in (one.get("unit") or "") or rng.random() < 0.05:
                    made[one["name"]] = rng.choice(["track.csv", "power.csv", "1, 2, 3", "gone.csv"])
                elif rng.random() < 0.15:
                    made[one["name"]] = self.formula(2)
                else:
                    unit = (one.get("unit") or "").split(",")[0]
                    made[one["name"]] = number if re.search(r" \S", number) else f"{number} {unit if unit != '1' else ''}".strip()
        return made

    def number(self):
        rng = self.rng
        if rng.random() < 0.06:
            return rng.choice(NUMBERS)
        return rng.choice([f"{rng.uniform(0, 10):.2f}", str(rng.randint(0, 300)), f"{rng.uniform(0, 1):.3f}", f"{rng.uniform(-3, 3):.1e}"])

    def quantity(self, unit=None):
        rng = self.rng
        unit = unit or self.now if rng.random() < 0.9 else rng.choice(self.words.units)
        text = f"{self.number()} {unit}".strip() if unit != "1" else self.number()
        return f"{text} ± {self.number()} {unit if unit != '1' else ''}".strip() if rng.random() < 0.25 else text

    def name(self):
        rng = self.rng
        of = rng.choice(["targets", "targets", "targets", "parts", "events", "analyses", "goals", "systems"])
        one = rng.choice(self.ids[of])
        return f"{one}.{rng.choice(self.amounts + ['time', 'energy', 'best'])}" if of != "targets" or rng.random() < 0.1 else one

    def formula(self, depth):
        rng, again = self.rng, lambda: self.formula(depth - 1)
        if depth <= 0 or rng.random() < 0.2:
            return rng.choice([self.name, self.name, self.quantity, self.number, lambda: f"car.{rng.choice(self.amounts)}"])()
        how = rng.randrange(5)
        if how == 0:
            name = rng.choice(FUNCTIONS)
            count = {"if": 3, "min": 2, "max": 3, "pi": 0}.get(name, 1)
            parts = [again() for _ in range(count)]
            if name == "if":
                parts[0] = f"{again()} {rng.choice(['<', '<=', '>', '>=', '==', '!='])} {again()}"
            return f"{name}({', '.join(parts)})" if count else name
        if how == 1:
            return f"({again()})^{rng.choice(['2', '0.5', '-1', '(1/3)', '99', '0', again()])}"
        return f"({again()} {rng.choice('++--**//')} {again()})"

    def text(self, key):
        rng = self.rng
        known = {
            "use": list(self.words.sheets), "model": list(self.words.models), "check": self.words.checks, "file": ["past.csv", "gone.csv"],
            "past": ["past.csv"], "lead": ["team lead", "chassis lead"], "agreed-by": ["team lead"], "unit": self.words.units, "total": self.amounts,
            "evidence": ["note.md", "gone.md", "../out.md", "track.csv"], "commit": ["all"], "basis": ["estimated", "weighed", "quoted"],
            "year": ["year"], "place": ["place"], "event": ["skidpad"], "ignore": ["cad/**", "**/*", "[", "more.yaml"], "confidence": ["50 %", "101 %"],
        }  # fmt: skip
        if rng.random() < 0.03:
            return rng.choice(SPECIAL) + rng.choice(["", "x", "It holds."])
        if key in known:
            return rng.choice(known[key])
        return rng.choice(["It carries the thrust of the wheel.", "Front hub", "a: b # c", "x" * 300, "Ünïcode ± 日本", "yes", "1.0", " lead "])

    def identifier(self, key):
        rng, ids = self.rng, self.ids
        near = {
            "of": ["car", *ids["targets"], *ids["parts"], *ids["events"], *ids["systems"], *ids["goals"]], "in": ["car", *ids["systems"]],
            "total": self.amounts, "amounts": self.amounts, "growth": self.amounts, "informs": ids["decisions"], "criteria": ids["targets"],
            "share-of": ids["targets"], "supersedes": ids["results"], "finds": ids["targets"], "chosen": ["one", "two"], "alternatives": ["one", "two"], "check": self.words.checks,
            "model": list(self.words.models), "levels": self.words.checks, "basis": ["estimated", "weighed", "quoted"],
            "reads": ["time", "best", "fuel", "cost"], "given": ["time", "best", "span", "floor", "mass"],
        }  # fmt: skip
        if rng.random() < 0.94:
            return rng.choice(near.get(key) or [one for kind in ids.values() for one in kind])
        return rng.choice(["unknown", "car", "x", "UPPER", "a" * 200, "1", "mass", "null", "é"])

    def value(self, schema, key, depth):
        rng = self.rng
        if "$ref" in schema:
            return self.value(self.defs[schema["$ref"].rsplit("/", 1)[-1]], key, depth)
        if "const" in schema:
            return schema["const"]
        if "enum" in schema:
            return rng.choice(schema["enum"])
        for several in ("anyOf", "oneOf"):
            if several in schema and "properties" not in schema:
                return self.value(rng.choice([one for one in schema[several] if one.get("type") != "null"]), key, depth)
        kinds = schema.get("type", "string")
        kinds = [kinds] if isinstance(kinds, str) else kinds
        kinds = [kind for kind in kinds if kind != "null" and (kind != "array" or len(kinds) == 1 or rng.random() < 0.1)]
        kind = rng.choice(kinds or ["null"]) if depth == 0 or rng.random() < 0.99 else "null"
        if kind == "object":
            needed, without = schema.get("required", []), []
            if "oneOf" in schema:
                only = rng.choice(schema["oneOf"])["required"]
                needed, without = needed + only, [key for one in schema["oneOf"] for key in one["required"] if key not in only]
            share = rng.choice([0.2, 0.5, 0.9])
            made = {name: self.value(one, name, depth + 1) for name, one in schema.get("properties", {}).items()
                    if rng.random() < (0.98 if name in needed else 0.02 if name in without else share)}  # fmt: skip
            if isinstance(schema.get("additionalProperties"), dict):
                pattern = schema.get("propertyNames", {}).get("pattern", "")
                for _ in range(rng.choice([1, 1, 2, 3])):
                    name = rng.choice(["USD", "GBP", "EUR"]) if pattern == "^[A-Z]{3}$" else self.identifier(key)
                    if "\\." in pattern and rng.random() < 0.7:
                        name = self.name()
                    made[name] = self.value(schema["additionalProperties"], key, depth + 1)
            return made
        if kind == "array":
            return [self.value(schema.get("items", {}), key, depth + 1) for _ in range(rng.choice([1, 2, 2, 3]))]
        if kind == "integer":
            return rng.choice([0, 1, 2, 4, 24, 1000, 4294967295, 2027])
        if kind == "boolean":
            return rng.random() < 0.5
        if kind == "number":
            return rng.choice([0, 1, 2.5, 1e300, 12])
        if kind == "null":
            return None
        pattern = schema.get("pattern", "")
        if schema.get("format") == "date":
            return f"2027-{rng.randint(1, 7):02}-{rng.randint(1, 28):02}" if rng.random() < 0.9 else rng.choice(DATES)
        if pattern.startswith("^[+-]") or key in ("given", "reads"):
            formula = key in ("given", "reads", "formula", "finds", "no-finish") and rng.random() < 0.5
            return self.formula(3) if formula else self.quantity({"points": "pts", "plan": "pts", "most": "pts"}.get(key))
        if pattern.startswith("^[a-z]"):
            return self.identifier(key)
        return self.formula(3) if key in ("formula", "expect") else self.text(key)


PLAIN = re.compile(r"[A-Za-z0-9.+][^\n:#,\[\]{}&*!|>'\"%@`\x00-\x1f\x7f-\x9f]*")


def yaml(value, rng, indent=0):
    """A value as YAML: block style outside, flow style inside, both at random."""
    if isinstance(value, dict) and value and (indent < 2 or indent < 5 and rng.random() < 0.4):
        pad = "  " * indent
        lines = []
        for key, one in value.items():
            text = yaml(one, rng, indent + 1)
            lines.append(f"{pad}{scalar(key)}:{text if text.startswith(chr(10)) else ' ' + text}")
        return ("\n" if indent else "") + "\n".join(lines)
    return flow(value)


def flow(value):
    if isinstance(value, dict):
        return "{" + ", ".join(f"{scalar(key)}: {flow(one)}" for key, one in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(flow, value)) + "]"
    return scalar(value)


def scalar(value):
    if isinstance(value, str) and PLAIN.fullmatch(value) and value.strip() == value and value not in ("null", "yes", "~"):
        return value
    return json.dumps(value, ensure_ascii=False)


# ---- mutations of bytes and text -------------------------------------------------------------------------------------

def flip(data, rng, _):
    data = bytearray(data)
    for _ in range(rng.choice([1, 1, 2, 8])):
        if data:
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


def cut(data, rng, _):
    return data[: rng.randrange(len(data) + 1)]


def cut_start(data, rng, _):
    return data[rng.randrange(len(data) + 1):]


def overwrite(data, rng, _):
    at = rng.randrange(len(data) + 1)
    junk = rng.choice([b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\0\0", b"\x80\0\0\0", rng.randbytes(8), b"\xff" * 16])
    return data[:at] + junk + data[at + len(junk):]


def insert_bytes(data, rng, _):
    at = rng.randrange(len(data) + 1)
    return data[:at] + rng.randbytes(rng.choice([1, 4, 40])) + data[at:]


def repeat_bytes(data, rng, _):
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return data[:b] + data[a:b] * rng.choice([1, 2, 20]) + data[b:] if (b - a) < 5000 else data


def splice(data, rng, others):
    other = rng.choice(others) if others else b""
    return data[: rng.randrange(len(data) + 1)] + other[rng.randrange(len(other) + 1):]


BINARY = [flip, flip, flip, cut, cut_start, overwrite, overwrite, insert_bytes, repeat_bytes, splice]


def by_lines(change):
    """A mutation of the list of lines."""
    def mutation(data, rng, others):
        lines = data.split(b"\n")
        change(lines, rng, others)
        return b"\n".join(lines)

    mutation.__name__ = change.__name__
    return mutation


@by_lines
def delete_lines(lines, rng, _):
    at = rng.randrange(len(lines))
    del lines[at: at + rng.choice([1, 1, 3, 10])]


@by_lines
def duplicate_lines(lines, rng, _):
    at = rng.randrange(len(lines))
    lines[at:at] = lines[at: at + rng.choice([1, 1, 4, 20])] * rng.choice([1, 1, 2, 30])


@by_lines
def swap_lines(lines, rng, _):
    a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]


@by_lines
def indent(lines, rng, _):
    at = rng.randrange(len(lines))
    lines[at] = lines[at].lstrip() if rng.random() < 0.3 else b" " * rng.choice([1, 2, 4, 70]) + lines[at]


@by_lines
def take_lines(lines, rng, others):
    other = (rng.choice(others) if others else b"").split(b"\n")
    at, start = rng.randrange(len(lines)), rng.randrange(len(other))
    lines[at:at] = other[start: start + rng.choice([1, 3, 12])]


def by_matches(pattern, change):
    """A mutation that replaces one to four matches of a pattern."""
    compiled = re.compile(pattern)

    def mutation(data, rng, _):
        found = list(compiled.finditer(data))
        chosen = sorted(rng.sample(range(len(found)), min(len(found), rng.choice([1, 1, 2, 4]))), reverse=True)
        for at in chosen:
            match = found[at]
            data = data[: match.start()] + change(match.group(), rng, found) + data[match.end():]
        return data

    return mutation


NUMBER = rb"(?<![\w.-])[+-]?\d+\.?\d*(?:e[+-]?\d+)?(?![\w-])"
VALUE = rb"(?<=: )[^\s{\[|>&#][^,{}\[\]\n]*"
NAME = rb"\b[a-z][a-z0-9]*(?:-[a-z0-9]+)+\b"


def odd_number(old, rng, _):
    scaled = lambda: repr(float(old) * rng.choice([-1, 0.1, 10, 1000, 1e-9, 1e12])).encode()
    return rng.choice([lambda: rng.choice(NUMBERS).encode(), scaled])()


def named(name, mutation):
    mutation.__name__ = name
    return mutation


def quadruple(data, rng, _):
    """Wide or deep: many records, or nested brackets."""
    if rng.random() < 0.3:
        at, depth = rng.randrange(len(data) + 1), rng.choice([60, 70, 3000])
        return data[:at] + b"[" * depth + data[at:]
    body = re.search(rb"\n  ([a-z0-9-]+):.*?(?=\n  [a-z]|\n[a-z]|$)", data, re.S)
    if not body or len(body.group()) > 3000:
        return data
    copies = b"".join(body.group().replace(body.group(1), body.group(1) + b"-%d" % at, 1) for at in range(rng.choice([3, 30, 300])))
    return data[: body.end()] + copies + data[body.end():]


TEXT = [
    flip, cut, splice, delete_lines, delete_lines, duplicate_lines, swap_lines, indent, take_lines, take_lines, quadruple,
    named("odd number", by_matches(NUMBER, odd_number)), named("odd number", by_matches(NUMBER, odd_number)),
    named("odd unit", by_matches(rb"(?<=\d )[A-Za-z%\xc2-\xcf][^\s,}\]]*", lambda _, rng, __: rng.choice(UNITS).encode())),
    named("odd date", by_matches(rb"\d{4}-\d\d-\d\d", lambda _, rng, __: rng.choice(DATES).encode())),
    named("swapped values", by_matches(VALUE, lambda _, rng, found: rng.choice(found).group())),
    named("swapped values", by_matches(VALUE, lambda _, rng, found: rng.choice(found).group())),
    named("swapped names", by_matches(NAME, lambda _, rng, found: rng.choice(found).group())),
    named("swapped names", by_matches(NAME, lambda _, rng, found: rng.choice(found).group())),
    named("swapped keys", by_matches(rb"[a-z-]+(?=:)", lambda _, rng, found: rng.choice(found).group())),
    named("special", by_matches(rb"\b\w", lambda old, rng, _: rng.choice(SPECIAL).encode() + old)),
    named("separator", by_matches(rb"[,;\t]", lambda _, rng, __: rng.choice([b";", b"\t", b",,", b"", b'"', b", "]))),
]  # fmt: skip


def mutate_file(path, rng, mutations, others, log):
    data = path.read_bytes()
    mutation = rng.choice(mutations)
    changed = mutation(data, rng, others)
    if len(changed) < 2_000_000:
        path.write_bytes(changed)
    log.append(f"{path.name}: {mutation.__name__}")


# ---- what the inputs are made from -----------------------------------------------------------------------------------

SETTINGS = (b"season: 2027\nas-of: 2027-03-19\ncurrency: EUR\n"
            b"stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}\n"
            b"growth:\n  mass: {estimated: 20 %, weighed: 0 %}\n")  # fmt: skip
CHAIN = """goals:
  top-ten: {place: 10, reason: A place among ten keeps the workshop., lead: team lead, past-standings: {file: past.csv}}
events:
  skidpad:
    plan: 50 pts
    lead: dynamics lead
    serves: {top-ten: Cheapest points of all.}
    reads: {time: lap-time}
    score: {formula: "if(time < slowest, span * (slowest/time - 1) / (slowest/best - 1) + floor, floor)", given: {best: {past: best.csv, event: skidpad}, slowest: 1.5 * best, span: 70 pts, floor: 4 pts}}
systems:
  suspension: {in: car, lead: suspension lead}
targets:
  lap-time: {of: car, at-most: 17 s, lead: dynamics lead, serves: {skidpad: It is what is timed.}, verify: {by: test, with: timing gates, due: 2027-06-01}}
  car-mass: {of: car, at-most: 260 kg, total: mass, serves: {skidpad: A light car turns faster.}, verify: {by: test, with: scales, due: 2027-06-01}}
analyses:
  laps: {model: lap, finds: lap-time, informs: [wheels], given: {track: track.csv, power-curve: power.csv, mass: car.mass + 68 kg, grip: 1.4 ± 0.1, drag-area: 0.9 m^2}, evidence: [note.md]}
decisions:
  wheels: {of: suspension, serves: {lap-time: Wheels turn with it.}, criteria: [lap-time], alternatives: {ten: {sets: {hub.mass: 0.6 kg}}, thirteen: {sets: {hub.mass: 0.9 kg, laps.grip: 1.5}, evidence: [note.md]}}, chosen: ten, reason: Lighter by far.}
parts:
  hub: {in: suspension, count: 4, amounts: {mass: 0.62 kg ± 0.02 kg, cost: 60 EUR}, serves: {lap-time: It holds the wheel.}, verify: {by: inspection, with: gauge, due: 2027-06-01}}
  frame: {in: suspension, amounts: {mass: {value: 190 kg, basis: weighed}}, serves: {car-mass: It holds all.}, verify: {by: inspection, with: gauge, due: 2027-02-01}}
results:
  hub-gauge: {of: hub, outcome: pass, date: 2027-03-01, evidence: [note.md]}
""".encode()
TABLES = {
    "past.csv": "year,place,total\n" + "".join(f"{year},{place},{90 - 4 * place - year % 7 / 10:.1f}\n" for year in range(2022, 2027) for place in range(1, 14)),
    "best.csv": "year,event,best\n" + "".join(f"{year},{event},{14.5 + year % 5 / 10}\n" for year in range(2022, 2027) for event in ("skidpad", "autocross")),
    "track.csv": "length,curvature\n" + "".join(f"{4 + at % 3},{(at % 9 > 4) * 0.05:.4f}\n" for at in range(60)),
    "power.csv": "speed,power\n" + "".join(f"{at},{min(45000, 2000 + 3000 * at)}\n" for at in range(0, 40, 2)),
    "engine.csv": "shaft-speed,power\n" + "".join(f"{at},{40 * at}\n" for at in range(100, 1200, 100)),
    "note.md": "# Note\n\nMeasured twice.\n",
}  # fmt: skip


class Material:
    """Folders that each input is copied from, made once."""

    def __init__(self, folder, ask, season):
        self.folder, self.words = folder, Vocabulary(ask)
        corpus = [path.read_bytes() for path in sorted((PROJECT / "fuzz/corpus/reader").iterdir())]
        self.fragments = [example.encode() for example in self.words.examples] + corpus + [CHAIN]
        self.templates = {name: (PROJECT / "templates" / name).read_bytes() for name in ("delta.md", "audit.md", "audit.html")}
        self.roots, self.shapes = self.make_roots(), self.make_shapes(season)

    def place(self, name):
        place = self.folder / name
        (place / "tree").mkdir(parents=True)
        (place / "home").mkdir()
        return place

    def make_roots(self):
        roots = []
        for name in ("car", "small"):
            place = self.place(name)
            if name == "car":
                shutil.copytree(PROJECT / "example-car", place / "tree", dirs_exist_ok=True)
            else:
                small_root(place / "tree")
            git(place / "tree", "init", "-q", "-b", "main")
            git(place / "tree", "add", "-A")
            git(place / "tree", "commit", "-q", "-m", "one")
            git(place / "tree", "gc", "-q")
            roots.append(place)
        return roots

    def make_shapes(self, season):
        """Repositories with a small history, one for each way in which git stores one."""
        shapes = {}
        after = {
            "loose": [], "packed": [["gc", "-q", "--prune=now"], ["pack-refs", "--all"], ["commit-graph", "write", "--reachable"],
                                    ["multi-pack-index", "write"]],
            "reftable": [], "sha256": [], "split": [["update-index", "--split-index"]], "fourth": [["update-index", "--index-version", "4"]],
            "cached": [["update-index", "--force-untracked-cache"], ["commit-graph", "write", "--reachable", "--split"]],
            "linked": [["worktree", "add", "-q", "../linked"]], "apart": [], "shared": [["clone", "-q", "--shared", ".", "../clone"]],
            "shallow": [["clone", "-q", "--depth=2", "file://HERE", "../clone"]], "sparse": [["sparse-checkout", "set", "--cone", "--sparse-index", "deep"]],
            "grafted": [], "merging": [["merge", "-q", "side"]],
        }  # fmt: skip
        options = {"reftable": ["--ref-format=reftable"], "sha256": ["--object-format=sha256"], "apart": ["--separate-git-dir=../apart.git"]}
        for name, commands in after.items():
            place = self.place(f"git-{name}")
            work = place / "tree"
            if "loose" in shapes and name not in options:
                shutil.rmtree(work)
                shutil.copytree(shapes["loose"] / "tree", work)
            else:
                history(work, options.get(name, []))
            for command in commands:
                git(work, *[word.replace("HERE", str(work)) for word in command], check=name != "merging")
            if name in ("linked", "shared", "shallow"):
                # The commands run in the second folder; paths are relative, so that copies work.
                other = place / ("linked" if name == "linked" else "clone")
                work.rename(place / "origin")
                other.rename(work)
                relative_paths(place, work)
            (work / "deep").mkdir(exist_ok=True)
            (work / "deep/more.yaml").write_bytes(b"parts:\n  untracked: {in: suspension}\n")
            shapes[name] = place
        if season:
            place = self.place("git-season")
            (place / "tree").rmdir()
            season(str(place / "tree"))
            git(place / "tree", "gc", "-q")
            shapes["season"] = place
        return shapes


def small_root(work):
    (work / "tierod.yaml").write_bytes(SETTINGS)
    (work / "chain.yaml").write_bytes(CHAIN)
    for name, text in TABLES.items():
        (work / name).write_text(text)


def history(work, options):
    """A random history with merges, then a few commits on top, a tag, a branch, and staged changes."""
    git(work, "init", "-q", "-b", "none", *options)
    git(work, "fast-import", "--quiet", data=random_histories.stream([("main", random_histories.History(7))]))
    git(work, "checkout", "-q", "main")
    (work / "deep").mkdir()
    small_root(work)
    git(work, "add", "-A")
    git(work, "commit", "-q", "-m", "chain", day="2027-03-01")
    git(work, "checkout", "-q", "-b", "side")
    (work / "chain.yaml").write_bytes(CHAIN.replace(b"17 s", b"16 s"))
    git(work, "commit", "-q", "-a", "-m", "side", day="2027-03-02")
    git(work, "checkout", "-q", "main")
    (work / "chain.yaml").write_bytes(CHAIN.replace(b"17 s", b"18 s"))
    (work / "deep/a.yaml").write_bytes(b"parts:\n  deep-part: {in: suspension, amounts: {mass: 3 kg}}\n")
    git(work, "add", "-A")
    git(work, "commit", "-q", "-m", "main", day="2027-03-03")
    git(work, "tag", "-a", "v1", "-m", "one")
    git(work, "update-ref", "refs/remotes/origin/main", "HEAD~1")
    git(work, "symbolic-ref", "refs/remotes/origin/HEAD", "refs/remotes/origin/main")
    (work / "late.yaml").write_bytes(b"parts:\n  late: {in: suspension, amounts: {mass: 9 kg}}\n")
    git(work, "add", "late.yaml")


def relative_paths(place, work):
    """Replaces absolute paths in git's small files."""
    alternates = work / ".git/objects/info/alternates"
    if alternates.exists():
        alternates.write_text("../../../origin/.git/objects\n")
    if (work / ".git").is_file():
        (work / ".git").write_text("gitdir: ../origin/.git/worktrees/linked\n")
        (place / "origin/.git/worktrees/linked/gitdir").write_text("../../../../tree/.git\n")


# ---- the inputs ------------------------------------------------------------------------------------------------------

TYPICAL = {"s": 60, "J": 3e6, "m^3": 0.002, "kg": 250, "": 1.3, "W": 4e4, "m": 9, "m^2": 0.9, "1/N": 3e-5, "N": 2700, "rad/s": 1000, "m/s": 12, "kg/m^3": 1.2}


BY_ENGINE = ["gears", "final-drive", "wheel-radius", "redline", "shift-time"]


def models(rng, words, log):
    """Analyses with models, whose inputs are usual, unusual or impossible; the first one finds a target."""
    lines = []
    for at in range(rng.choice([1, 1, 2, 3])):
        name = rng.choice(list(words.models))
        given = {}
        source = rng.choice(["power", "power-curve", "engine-curve"])
        share, wild = rng.choice([0.1, 0.5, 1]), rng.choice([0.02, 0.1, 0.4])
        for one in words.models[name]["inputs"]:
            power = one["name"] in ("power", "power-curve", "engine-curve")
            if power and one["name"] != source or one["name"] in BY_ENGINE and source != "engine-curve" and rng.random() < 0.95:
                continue
            if not one["needed"] and not power and rng.random() > share and one["name"] not in BY_ENGINE[:4]:
                continue
            if " in " in one["unit"]:
                given[one["name"]] = {"power-curve": "power.csv", "engine-curve": "engine.csv"}.get(one["name"], "track.csv")
                continue
            if one["name"] == "gears":
                given["gears"] = "[2.5, 2, 1.6]" if rng.random() < 0.8 else rng.choice(["[]", "[0]", "[1, 1e300]", "3"])
                continue
            number = float(one["default"] or TYPICAL.get(one["unit"], 1))
            if rng.random() < wild:
                number *= 10 ** rng.uniform(-12, 12) * rng.choice([1, 1, 1, -1])
            elif rng.random() < 0.5:
                number *= rng.uniform(0.5, 1.5)
            text = rng.choice(NUMBERS) if rng.random() < wild / 4 else f"{number:.4g}"
            wide = f" ± {abs(number) * rng.choice([0.01, 0.1, 1, 30]):.3g} {one['unit']}".rstrip() if rng.random() < 0.3 else ""
            given[one["name"]] = f"{text} {one['unit']}".strip() + wide
        text = ", ".join(f"{key}: {value}" for key, value in given.items())
        lines.append(f"\n  {'laps' if at == 0 else f'more-{at}'}: {{model: {name}, {'finds: lap-time, ' if at == 0 else ''}informs: [wheels], given: {{{text}}}}}")
        log.append(f"model {name}")
    return "".join(lines).encode()


class Input:
    """One input: a folder with `work`, in which the commands run, and `home`."""

    def __init__(self, material, seed, number):
        self.material, self.rng, self.log = material, random.Random(f"{seed} {number}"), []
        self.kind = ("root", "git", "table", "template")[number % 4]

    def make(self, place):
        self.work = place / "tree"
        getattr(self, self.kind)(place)

    def copy(self, source, place):
        shutil.copytree(source, place, symlinks=True)
        self.log.append(f"from {source.name}")

    def files(self, *endings):
        found = [path for path in sorted(self.work.rglob("*")) if path.is_file() and path.suffix in endings]
        return [path for path in found if ".git" not in path.relative_to(self.work).parts]

    def mutate(self, paths, mutations, least=1):
        rng, others = self.rng, self.material.fragments
        for _ in range(max(least, rng.choice([0, 1, 1, 2, 3, 6]))):
            own = [path.read_bytes() for path in rng.sample(paths, min(3, len(paths)))]
            mutate_file(rng.choice(paths), rng, mutations, own + others, self.log)

    def stage(self):
        """Stages what was changed, or some of it."""
        if self.rng.random() < 0.4:
            git(self.work, "add", "-A", check=False)
            self.log.append("git add -A")
            if self.rng.random() < 0.3:
                git(self.work, "commit", "-q", "-m", "two", check=False)
                self.log.append("git commit")

    def root(self, place):
        rng = self.rng
        how = rng.choice(["car", "grammar", "grammar", "grammar", "models", "models", "small", "examples"])
        self.copy(self.material.roots[how != "car"], place)
        if how == "grammar":
            grammar = Grammar(rng, self.material.words)
            if rng.random() < 0.5:
                (self.work / "tierod.yaml").write_text(yaml(grammar.settings(), rng) + "\n")
            (self.work / "chain.yaml").write_text(yaml(grammar.records(), rng) + "\n")
            self.log.append("grammar")
        elif how == "models":
            model = models(rng, self.material.words, self.log)
            (self.work / "chain.yaml").write_bytes(re.sub(rb"\n  laps: .*", lambda _: model, CHAIN))
            if rng.random() < 0.1:
                rows = "".join(f"{rng.choice([1, 4, 0.01])},{rng.choice(['0', '0.05', '-0.1', '9'])}\n" for _ in range(rng.choice([3000, 20000, 20001])))
                (self.work / "track.csv").write_text("length,curvature\n" + rows)
        elif how == "examples":
            for at, example in enumerate(rng.sample(self.material.fragments, rng.choice([1, 2, 4]))):
                (self.work / f"more-{at}.yaml").write_bytes(example)
            self.log.append("examples")
        self.mutate(self.files(".yaml"), TEXT, least=0 if how in ("grammar", "models") else 1)
        self.stage()

    def table(self, place):
        self.copy(self.material.roots[self.rng.random() < 0.7], place)
        tables = self.files(".csv", ".md")
        if "small" in self.log[0]:
            tables = [path for path in tables if path.suffix == ".csv"]
        self.mutate(tables, TEXT)
        if self.rng.random() < 0.1:
            path = self.rng.choice(tables)
            head, _, rest = path.read_bytes().partition(b"\n")
            path.write_bytes(head + b"\n" + rest * (200_000 // max(1, len(rest))))
            self.log.append(f"{path.name}: long")
        self.stage()

    def template(self, place):
        rng = self.rng
        self.copy(self.material.shapes["packed"], place)
        (self.work / "templates").mkdir()
        for name, shipped in self.material.templates.items():
            path = self.work / "templates" / name
            path.write_bytes(shipped)
            if rng.random() < 0.5:
                path.write_text(Template(rng).block(4))
                self.log.append(f"{name}: grammar")
            for _ in range(rng.choice([0, 1, 2, 4])):
                mutate_file(path, rng, TEXT + [flip], [shipped, Template(rng).block(3).encode()], self.log)
        (self.work / "chain.yaml").write_bytes(CHAIN.replace(b"0.62 kg", b"0.95 kg"))
        self.stage()

    def git(self, place):
        rng = self.rng
        shape = rng.choice([*self.material.shapes, "packed", "loose"])
        if shape == "season" and rng.random() < 0.7:
            shape = "packed"
        self.copy(self.material.shapes[shape], place)
        for _ in range(rng.choice([1, 1, 2, 4])):
            rng.choice([self.damage] * 6 + [self.forge, self.forge, self.configure])(place)

    def damage(self, place):
        """Damages one of git's files."""
        rng = self.rng
        folders = [place / "tree/.git", place / "apart.git", place / "origin/.git"]
        found = [path for folder in folders if folder.exists() for path in ([folder] if folder.is_file() else sorted(folder.rglob("*")))]
        groups = {}
        for path in found:
            if path.is_file() and not path.is_symlink() and not {"hooks", "logs", "description", "COMMIT_EDITMSG"} & set(path.parts):
                group = "loose object" if re.fullmatch(r"[0-9a-f]{2}", path.parent.name) else path.suffix or path.name
                groups.setdefault("reference" if "refs" in path.parts else group, []).append(path)
        if not groups:
            return
        group = rng.choice(sorted(groups))
        path = rng.choice(groups[group])
        name = path.relative_to(place)
        how = rng.choice(["bytes"] * 6 + ["gone", "folder", "empty", "link", "other", "text"])
        self.log.append(f"{name}: {how}")
        # Objects and packs are read-only.
        path.chmod(0o644)
        if how == "bytes":
            mutate_file(path, rng, BINARY, [rng.choice(groups[group]).read_bytes()], self.log)
        elif how == "text":
            mutate_file(path, rng, TEXT, [b"ref: refs/heads/main\n", b"gitdir: ../tree\n", b"0" * 40 + b"\n"], self.log)
        elif how == "empty":
            path.write_bytes(b"")
        elif how == "other":
            path.write_bytes(rng.choice(found and groups[rng.choice(sorted(groups))]).read_bytes())
        else:
            path.unlink()
            if how == "folder":
                path.mkdir()
            elif how == "link":
                path.symlink_to(rng.choice([".", "/dev/null", "../tree/chain.yaml", "gone", path.name]))

    def forge(self, place):
        """A wrong commit or tree under its right id, as the tip of the branch."""
        rng, work = self.rng, place / "tree"
        if b"sha1" not in git(work, "rev-parse", "--show-object-format", check=False):
            return
        kind = rng.choice([b"commit", b"tree", b"tree", b"blob", b"tag"])
        body = git(work, "cat-file", kind.decode(), {b"tree": "HEAD^{tree}", b"commit": "HEAD", b"blob": "HEAD:chain.yaml"}.get(kind, "v1"), check=False)
        if kind in (b"commit", b"tag") and rng.random() < 0.7:
            body = rng.choice(TEXT)(body, rng, [b"parent " + b"0" * 40 + b"\n", b"author A <a> 99999999999999 +9999\n", b"encoding x\n"])
        elif kind == b"tree" and rng.random() < 0.5:
            mode = rng.choice([b"160000", b"120000", b"40000", b"100644", b"0", b"77777777777777"])
            name = rng.choice([b"tierod.yaml", b"../x.yaml", b"a/b.yaml", b".git", b"", b"x\x1b.yaml", b"chain.yaml", b"z" * 5000])
            body += mode + b" " + name + b"\0" + (rng.choice([body[-20:], b"\0" * 20]))
        else:
            body = rng.choice(BINARY)(body, rng, [body])
        one = self.store(work, kind, body)
        if one and kind in (b"tree", b"blob"):
            tree = one if kind == b"tree" else self.store(work, b"tree", b"100644 chain.yaml\0" + bytes.fromhex(one) + b"100644 tierod.yaml\0" + bytes.fromhex(one))
            head = git(work, "rev-parse", "HEAD", check=False).decode().strip()
            date = rng.choice(["1803900000 +0000", "99999999999999999999 +0000", "-5 -9999", "0 +0000", "4294967296 +1400", ""])
            text = f"tree {tree}\n" + f"parent {head}\n" * rng.choice([0, 1, 1, 2, 70]) + f"author A <a@b> {date}\ncommitter A <a@b> {date}\n\nx\n"
            one = self.store(work, b"commit", text.encode())
        common = git(work, "rev-parse", "--git-common-dir", check=False).decode().strip()
        branch = work / common / "refs/heads/main"
        if one and branch.parent.is_dir() and not branch.is_dir() and not branch.is_symlink():
            branch.write_text(one + "\n")
        self.log.append(f"forged {kind.decode()} {one}")

    def store(self, work, kind, body):
        data = kind + b" %d\0" % len(body) + body
        if self.rng.random() < 0.1:
            data = kind + self.rng.choice([b" 99999999999\0", b" -1\0", b" \0", b" 1e9\0", b" 2\0"]) + body
        one = hashlib.sha1(data).hexdigest()
        common = git(work, "rev-parse", "--git-common-dir", check=False).decode().strip()
        folder = work / common / "objects" / one[:2]
        if not common or not folder.parent.is_dir() or folder.is_file():
            return None
        folder.mkdir(exist_ok=True)
        path = folder / one[2:]
        if not path.exists():
            path.write_bytes(zlib.compress(data))
        return one

    def configure(self, place):
        """Odd settings and files of git."""
        rng, folder = self.rng, place / "tree/.git"
        if not folder.is_dir():
            folder = place / ("origin/.git" if (place / "origin").exists() else "apart.git")
        if not folder.is_dir():
            return
        files = {
            "config": ["[core]\n\tworktree = ..\n", "[core]\n\tworktree = ../deep\n", "[core]\n\tbare = true\n", "[core]\n\trepositoryformatversion = 99\n",
                       "[include]\n\tpath = config\n", "[extensions]\n\tobjectformat = sha256\n", "[extensions]\n\trefstorage = reftable\n",
                       "[core]\n\texcludesFile = /dev/zero\n", "[core]\n\tattributesFile = chain.yaml\n", "[core]\n\tignorecase = true\n",
                       "[index]\n\tversion = 9\n", "[core]\n\tpackedGitWindowSize = 1\n\tpackedGitLimit = 1\n", "[core]\n\tabbrev = 999\n",
                       "[extensions]\n\tpartialClone = origin\n", "[core]\n\tsparseCheckout = true\n", "[a", "[core]\n\tbare\n", "[core]\n\thooksPath = ../home\n",
                       "[remote \"origin\"]\n\turl = \x1b[31m\n\tfetch = +refs/*:refs/*\n", "[core]\n\tcommitGraph = 7\n"],
            "info/grafts": ["HEAD HEAD\n", "0" * 40 + "\n", "x\n"], "shallow": ["HEAD\n", "0" * 40 + "\n", "zz\n", "\n"],
            "info/exclude": ["*\n", "!*\n", "[\n", "**/" * 2000 + "x\n", "tierod.yaml\n", "\x00\n"], "info/attributes": ["* text=auto eol=crlf\n", "* -\n", "[\n"],
            "objects/info/alternates": ["../objects\n", "../../..\n", "/dev/null\n", "\"x\n", "#\n" * 5, "../../.git/objects\n../../.git/objects\n"],
            "commondir": ["..\n", ".\n", "/\n", "gone\n"], "MERGE_HEAD": ["HEAD\n", "x\n", "HEAD\n" * 40], "packed-refs": ["# pack-refs with: peeled sorted\n", "HEAD refs/heads/main\n" * 3],
            "info/sparse-checkout": ["/*\n!/*/\n", "[\n"], "refs/heads/main": ["ref: refs/heads/main\n", "ref: refs/heads/side\n", "ref: HEAD\n"],
            "HEAD": ["ref: refs/heads/../../config\n", "ref: \n", "ref: refs/heads/" + "x" * 5000 + "\n", "ref: refs/heads/gone\n", "HEAD\n"],
        }  # fmt: skip
        name = rng.choice([*files, "config", "config", "config"])
        head = git(place / "tree", "rev-parse", "HEAD", check=False).decode().strip() or "0" * 40
        text = rng.choice(files[name])
        text = re.sub(r"^HEAD|(?<= )HEAD", head, text) if not text.startswith("ref:") else text
        path = folder / name
        if path.is_symlink() or path.is_dir() or not path.parent.is_dir():
            return
        path.write_text((path.read_text(errors="surrogateescape") if name == "config" and path.exists() else "") + text, errors="surrogateescape")
        self.log.append(f"{name}: {text[:60]!r}")


LISTS = ["new", "fixed", "worse", "goals", "targets", "shown.headline", "limits_changed", "range(5)", "[3, 1, 2]", "[]", "'a,b'|split(',')", "range(100000)", "[[1, 2], [3]]"]
FILTERS = {
    "list": ["list", "sort", "unique", "reverse", "batch(2)", "slice(3)", "map('string')|list", "selectattr('level')|list", "rejectattr('level', 'eq', 'x')|list", "zip([1])|list",
             "chain([2])|list", "dictsort", "groupby('level')", "batch(0)", "slice(0)", "sort(attribute='level')", "batch(99999, 'x')", "map(attribute='record')|list"],
    "text": ["upper", "title", "trim", "escape", "safe", "code", "prose", "indent(4)", "replace('x', 'yy')", "default('y')", "urlencode", "indent(99999)", "replace('', 'ab')",
             "lower", "capitalize", "reverse", "pprint", "string", "split('')|join('-')"],
    "number": ["abs", "round(300)", "int", "float", "round(-400)", "round", "default(2)", "round(2)"],
}  # fmt: skip


class Template:
    """Random code of templates; most of it has values of the right kinds."""

    def __init__(self, rng):
        self.rng, self.first = rng, True

    def number(self, depth):
        rng = self.rng
        if depth <= 0:
            return rng.choice(["1", "0", "-1", "7", "2.5", "9999999999999999999999", "1e308", "-0.0", "loop.index|default(1)", "unchanged|default(1)", "9223372036854775807"])
        return rng.choice([
            lambda: f"({self.number(depth - 1)} {rng.choice(['+', '-', '*', '/', '//', '%', '**'])} {self.number(depth - 1)})",
            lambda: f"({self.list(depth - 1)})|length", lambda: f"({self.number(depth - 1)})|{rng.choice(FILTERS['number'])}", lambda: f"-{self.number(depth - 1)}",
            lambda: f"({self.list(depth - 1)}){rng.choice(['|first', '|last', '|sum', '|min', '|max', '[0]', '[-1]'])}|default(1)",
        ])()  # fmt: skip

    def list(self, depth):
        rng = self.rng
        if depth <= 0:
            return rng.choice(LISTS)
        part = lambda: rng.choice(["", "0", "-1", "2", "99999999999", "-9223372036854775808", self.number(0)])
        return rng.choice([
            lambda: f"({self.list(depth - 1)})|{rng.choice(FILTERS['list'])}", lambda: f"({self.list(depth - 1)})[{part()}:{part()}:{rng.choice(['', '2', '-1', '0'])}]",
            lambda: f"[{self.number(depth - 1)}, {self.text(depth - 1)}]", lambda: f"range({self.number(0)}, {self.number(0)}, {self.number(0)})",
            lambda: f"({self.list(depth - 1)} + {self.list(depth - 1)})", lambda: f"{{'a': {self.number(depth - 1)}}}|items|list",
        ])()  # fmt: skip

    def text(self, depth):
        rng = self.rng
        if depth <= 0:
            return rng.choice(["'x'", "'<b>|*_`#'", "''", "day|default('')", "shown.base|default('x')", "'\\n::error::x'", "'ä\u202e'", "'%s' * 3", "'x' * 1000"])
        return rng.choice([
            lambda: f"({self.text(depth - 1)} ~ {self.text(depth - 1)})", lambda: f"({self.text(depth - 1)})|{rng.choice(FILTERS['text'])}",
            lambda: f"({self.list(depth - 1)})|join({self.text(0)})", lambda: f"({self.list(depth - 1)})|{rng.choice(['pprint', 'string', 'first|string'])}",
            lambda: f"'%{rng.choice(['5', '05', '.3', '-9', '+', '999', '0999'])}{rng.choice('dfsxeg')}'|format({self.number(depth - 1)})",
            lambda: f"({self.text(depth - 1)})[{self.number(0)}:{self.number(0)}]", lambda: f"({self.number(depth - 1)})|string",
            lambda: f"({self.text(depth - 1)} if {self.condition(depth - 1)} else {self.text(depth - 1)})",
        ])()  # fmt: skip

    def condition(self, depth):
        rng = self.rng
        return rng.choice([
            lambda: f"{self.number(depth)} {rng.choice(['<', '==', '>=', '!='])} {self.number(depth)}", lambda: f"{self.text(depth)} in {self.text(depth)}",
            lambda: f"a is {rng.choice(['defined', 'string', 'iterable', 'none', 'undefined'])}", lambda: f"not {self.list(depth)}",
            lambda: f"{self.number(0)}|int is {rng.choice(['divisibleby(2)', 'odd', 'divisibleby(0)'])}",
        ])()  # fmt: skip

    def expression(self, depth):
        rng = self.rng
        odd = ["caller()", "self", "debug()", "loop", "loop.cycle(1)", "new(1)", "namespace(s=1)", "dict(a=1)", "a.b.c", "m", "loop.changed(1)", "none", "(1)[0]", "{}.x.y", "m(m)"]
        return rng.choice(odd) if rng.random() < 0.04 else rng.choice([self.number, self.list, self.text, self.text])(depth)

    def block(self, depth):
        rng = self.rng
        if self.first:
            self.first = False
            return "{% macro m(a=1, b=2) %}" + self.block(1) + "{% endmacro %}{% set a = 1 %}{% set b = 'x' %}{% set n = namespace(s=1) %}" + self.block(depth)
        if depth <= 0:
            return rng.choice(["text\n", "| a | b |\n", "{{ " + self.expression(2) + " }}", "{{ " + self.expression(1) + " }}\n", "{# c #}", "::error::x\n", "\x1b[31m\n", "##[error]x\n"])
        inner = lambda: "".join(self.block(depth - 1) for _ in range(rng.choice([1, 1, 2])))
        odd = ["{% include 'audit.md' %}", "{% extends 'delta.md' %}", "{% block x %}{{ super() }}{% endblock %}", "{% autoescape false %}{{ a }}{% endautoescape %}", "{% do debug() %}"]
        if rng.random() < 0.02:
            return rng.choice(odd)
        return rng.choice([
            lambda: "{% for " + rng.choice(["a", "a", "b"]) + " in " + self.list(2) + rng.choice(["", "", " if a"]) + " %}" + inner() + rng.choice(["", "{% else %}x"]) + "{% endfor %}",
            lambda: "{% for a in [[1], [2, [3]]] recursive %}" + inner() + "{% if a is iterable %}{{ loop(a) }}{% endif %}{% endfor %}",
            lambda: "{% if " + self.condition(2) + " %}" + inner() + "{% else %}" + inner() + "{% endif %}",
            lambda: "{% set " + rng.choice(["a", "n.s", "b"]) + " = " + self.expression(3) + " %}" + inner(), lambda: "{{ m(" + self.expression(2) + ") }}",
            lambda: "{{ " + self.expression(4) + " }}" + inner(), lambda: "{% set b %}" + inner() + "{% endset %}{{ b }}",
            lambda: "{% filter " + rng.choice(FILTERS["text"][:12]) + " %}" + inner() + "{% endfilter %}", lambda: "{% raw %}" + "{{ x }}" + "{% endraw %}",
            lambda: "{% with a = " + self.expression(2) + " %}" + inner() + "{% endwith %}", lambda: "{% call m(1) %}" + inner() + "{% endcall %}", inner,
        ])()  # fmt: skip
