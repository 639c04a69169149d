#!/usr/bin/env python3
"""Calculates the figures of the audit again, from the YAML at each commit, without any code of tierod.

recount.py REPOSITORY AUDIT.json: prints every figure that differs, and ends with status 1 if one does.
Needs git and PyYAML. It reads mass and money in the units of the example.
"""

import csv
import datetime
import json
import math
import re
import statistics
import subprocess
import sys

import yaml

Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
repository, audit_file = sys.argv[1:]
audit = json.load(open(audit_file))
differences, agreed = [], 0


def git(*words):
    return subprocess.run(["git", "-C", repository, *words], check=True, capture_output=True).stdout.decode()


def same(what, ours, theirs, digits=1e-9):
    global agreed
    if isinstance(ours, float) and isinstance(theirs, (int, float)):
        equal = math.isclose(ours, theirs, rel_tol=digits, abs_tol=1e-12)
    else:
        equal = ours == theirs
    if equal:
        agreed += 1
    else:
        differences.append(f"{what}: recounted {ours!r}, the audit says {theirs!r}")


def read_out(reading):
    """The number that a result reads from its evidence, at the last commit; the takes that the example has."""
    rows = list(csv.DictReader(git("show", "HEAD:" + reading["from"]).splitlines()))
    rows = [row for row in rows if all(row[key] == text for key, text in reading.get("where", {}).items())]
    if reading["take"] == "count":
        return len(rows)
    assert reading["take"] == "highest", reading
    return f"{max(float(row[reading['column']]) for row in rows)} {reading['unit']}"


def number(text):
    """The number of `0.62 kg ± 0.02 kg`, in kg or in its currency."""
    if isinstance(text, dict):
        text = read_out(text)
    value, unit = re.match(r"\s*([-+0-9.eE]+)\s*(\S*)", str(text)).groups()
    return float(value) * {"g": 1e-3, "t": 1e3}.get(unit, 1.0)


blobs = {}


def records(commit):
    """kind -> id -> record, and the settings."""
    merged, settings = {}, {}
    for line in git("ls-tree", "-r", "-z", commit).split("\0"):
        if not line:
            continue
        meta, path = line.split("\t", 1)
        blob = meta.split()[2]
        if not path.endswith((".yaml", ".yml")) or path.startswith(("cad/", ".")):
            continue
        if blob not in blobs:
            blobs[blob] = yaml.load(git("cat-file", "blob", blob), Loader) or {}
        if path == "tierod.yaml":
            settings = blobs[blob]
            continue
        for kind, own in blobs[blob].items():
            merged.setdefault(kind, {}).update(own or {})
    return merged, settings


def amounts(part):
    """name -> (number, basis or None)"""
    both = {}
    for name, amount in (part.get("amounts") or {}).items():
        if isinstance(amount, dict):
            both[name] = (number(amount["value"]), amount.get("basis"))
        else:
            both[name] = (number(amount), None)
    return both


def share(text):
    return float(str(text).rstrip(" %")) / 100


def measured_totals(now):
    """(system or car, amount) -> the latest value that was measured of the whole"""
    replaced = {name for result in now.get("results", {}).values() for name in result.get("supersedes") or []}
    found = {}
    for name, result in now.get("results", {}).items():
        target = now["targets"].get(result["of"], {})
        if "total" in target and "value" in result and name not in replaced:
            key = (target["of"], target["total"])
            if key not in found or found[key][0] <= str(result["date"]):
                found[key] = (str(result["date"]), number(result["value"]))
    return {key: value for key, (_, value) in found.items()}


def rolled_up(now, settings):
    """The totals of the car: what was measured as a whole replaces its parts."""
    measured, totals = measured_totals(now), {}
    for part in now.get("parts", {}).values():
        for name, (value, basis) in amounts(part).items():
            around = part.get("in")
            while around in now["systems"] and (around, name) not in measured:
                around = now["systems"][around].get("in")
            totals.setdefault(name, 0.0)
            if (around, name) in measured:
                continue
            bases = (settings.get("growth") or {}).get(name, {})
            basis = basis or next(iter(bases), None)
            growth = share(bases[basis]) if basis in bases else 0.0
            totals[name] += value * part.get("count", 1) * (1 + growth)
    for (of, name), value in measured.items():
        if of != "car":
            totals[name] += value
    return totals | {name: value for (of, name), value in measured.items() if of == "car"}


def limit(target):
    return next(((key, str(target[key])) for key in ("at-most", "at-least", "between") if key in target), None)


# The season, commit by commit along the first parents.
history = [line.split() for line in git("log", "--first-parent", "--reverse", "--format=%H %as").splitlines()]
states = [(commit, day, *records(commit)) for commit, day in history]
last, settings = states[-1][2:]
older = {}  # an old id -> the id that replaced it
for kind in last.values():
    for name, record in kind.items():
        older.update({str(before): name for before in (record or {}).get("formerly") or []})

limits, written = {}, {}
for at, (commit, day, now, _) in enumerate(states):
    for name, target in now.get("targets", {}).items():
        steps = limits.setdefault(older.get(name, name), [])
        if limit(target) and (not steps or steps[-1][1] != limit(target)):
            steps.append((day, limit(target), at))
    for name, part in now.get("parts", {}).items():
        for amount, step in amounts(part).items():
            steps = written.setdefault((older.get(name, name), amount), [])
            if not steps or steps[-1] != step:
                steps.append(step)

# The results of each target, also the removed ones: the commit that added each, and its date. No commit is later
# than the commits that follow it.
added, content, tested = {}, {}, {}
for at, (commit, day, now, _) in enumerate(states):
    for name, result in now.get("results", {}).items():
        added.setdefault(older.get(name, name), at)
        content[older.get(name, name)] = result
for name, result in content.items():
    subject = older.get(result["of"], result["of"])
    tested.setdefault(subject, []).append((added[name], str(result["date"]), name))
    # What was driven is a result of the target that the event reads by this name, too.
    for read in result.get("reads") or {}:
        target = str(last.get("events", {}).get(subject, {}).get("reads", {}).get(read))
        if target in last["targets"]:
            tested.setdefault(target, []).append((added[name], str(result["date"]), name))
no_later, least = [], "9999"
for _, day, _, _ in reversed(states):
    least = min(least, day)
    no_later.insert(0, least)


def ends(limit):
    """(least, most) of a limit as written in the file"""
    key, text = limit
    low, high = text.strip("[]").split(",") if key == "between" else (text, text)
    low, high = number(low.strip(" '")), number(high.strip(" '"))
    return (None if key == "at-most" else low, None if key == "at-least" else high)


# Goal and events.
results, before_contest = {}, {}


def latest(results, of, result):
    if of not in results or str(results[of]["date"]) <= str(result["date"]):
        results[of] = result


superseded = {name for result in last.get("results", {}).values() for name in result.get("supersedes") or []}
for name, result in last.get("results", {}).items():
    if name in superseded:
        continue
    latest(results, result["of"], {**result, "id": name})
    latest(before_contest, result["of"], {**result, "id": name})
for name, result in last.get("results", {}).items():
    for read, value in (result.get("reads") or {}).items():
        target = str(last["events"][result["of"]]["reads"].get(read))
        if target in last["targets"]:
            latest(results, target, {"value": value, "date": result["date"], "id": name})
goal = audit["goals"][0]
plan = sum(number(event["plan"]) for event in last["events"].values() if "plan" in event)
same("points planned", plan, goal["plan"])
scored = [number(results[event]["value"]) for event in last["events"] if event in results]
same("events scored", len(scored), goal["events_scored"])
same("points scored", float(sum(scored)), goal["scored_so_far"])
for event in goal["events"]:
    if event["id"] in results:
        same(f"points of {event['id']}", number(results[event["id"]]["value"]), event["scored"])
same("place reached", results.get(goal["id"], {}).get("place"), goal["place_reached"])
if goal["place"] and goal["place_reached"]:
    same("goal reached", goal["place_reached"] <= goal["place"], goal["reached"])


# Why the scores differ from the predictions: the score formulas, written for Python.
def calculated(text, names):
    text = re.sub(r"(?<=[\w)])-(?=[a-z])", "_", str(text)).replace("^", "**")
    text = re.sub(r"\bif\(", "choose(", text)
    text = re.sub(r"(?<![\w.])(\d[\d.]*) (?:pts|EUR|[a-zA-Z%]+(?:/[a-z]+)?)\b", r"\1", text)
    functions = {"choose": lambda condition, yes, no: yes if condition else no, "min": min, "max": max}
    return eval(text, {"__builtins__": {}}, {**functions, **names})  # formulas of the example, not of strangers


def plain(text):
    """The number of a quantity, with a percentage as a share; None for a name or a formula."""
    found = re.fullmatch(r"\s*([-+]?[0-9.]+(?:e[-+]?[0-9]+)?)\s*([^\s0-9±]*)(\s*±.*)?", str(text))
    return float(found.group(1)) * {"%": 0.01, "g": 1e-3}.get(found.group(2), 1.0) if found else None


def expected(name):
    """A value before the contest: measured, or as the audit has it."""
    if name in before_contest and "value" in before_contest[name]:
        return plain(before_contest[name]["value"])
    target = next(target for target in audit["targets"] if target["id"] == name)
    return target["estimate"]["value"] * (0.01 if target["unit"] == "%" else 1.0)


def score(event, switched):
    """The points of an event with some of its inputs switched."""
    given, names = dict(event["score"].get("given", {})), {}
    for name, text in given.items():  # the value of another event, as in `endurance.best`
        other = re.fullmatch(r"([a-z-]+)\.([a-z-]+)", str(text))
        if other:
            given[name] = last["events"][other.group(1)]["score"]["given"][other.group(2)]
    for name, text in event["reads"].items():
        names[name.replace("-", "_")] = plain(text) if plain(text) is not None else expected(text)
    names.update({name.replace("-", "_"): plain(text) for name, text in given.items() if plain(text) is not None})
    if "chance" in event:
        chance = event["chance"]
        names["chance"] = plain(chance) if plain(chance) is not None else expected(chance)
    names.update(switched)
    for name, text in given.items():
        if plain(text) is None and name not in switched:
            names[name.replace("-", "_")] = calculated(text, names)
    points = min(calculated(event["score"]["formula"], names), plain(event.get("most", "1e9")))
    return points * names.get("chance", 1.0)


causes = ["own_values", "others_best", "penalties", "finish", "judges", "mean", "not_explained"]
for audited in goal["events"]:
    event, result, split = last["events"][audited["id"]], results.get(audited["id"]), audited["split"]
    if not result or "value" not in result:
        same(f"split of {audited['id']}", None, split)
        continue
    difference = number(result["value"]) - audited["predicted"]
    same(f"difference of {audited['id']}", difference, split["difference"])
    same(f"causes of {audited['id']}", difference, math.fsum(split[cause] for cause in causes))
    if "formula" not in event.get("score", {}):
        continue
    own, best, finish, judges = {}, result.get("best") or {}, {}, {}
    if "chance" in event:
        finish = {"chance": 1.0 if number(result["value"]) > 0 else 0.0}
    for name, value in (result.get("reads") or {}).items():
        if name not in event["reads"]:
            judges[name] = plain(value)
    best = {"best": best} if isinstance(best, str) else best
    best = {name: plain(value) for name, value in best.items()}
    for name, text in event["reads"].items():
        driven = (result.get("reads") or {}).get(name)
        of_target = results.get(text, {})
        if driven is None and of_target.get("id") in last["results"] and last["results"][of_target["id"]]["of"] != text:
            driven = of_target["value"]
        if name == "finish":
            finish = {name: 1.0 if number(result["value"]) > 0 else 0.0}
        elif driven is not None:
            own[name] = plain(driven)
    steps = {"own_values": own, "others_best": best, "judges": judges, "finish": finish}
    effects = dict.fromkeys(steps, 0.0)
    for order in (list(steps), list(steps)[::-1]):
        switched, before = {}, score(event, {})
        for cause in order:
            switched |= steps[cause]
            after = score(event, switched)
            effects[cause] += (after - before) / 2
            before = after
    for cause, points in effects.items():
        same(f"{cause} of {audited['id']}", points, split[cause], 1e-6)
    same(f"mean of {audited['id']}", score(event, {}) - audited["predicted"], split["mean"], 1e-6)
    rest = number(result["value"]) - score(event, own | best | judges | finish)
    same(f"rest of {audited['id']}", rest, split["not_explained"], 1e-6)

# Targets: limits, results, outcome.
verdicts = {}
same("targets", sorted(last["targets"]), sorted(target["id"] for target in audit["targets"]))
for audited in audit["targets"]:
    name, target = audited["id"], last["targets"][audited["id"]]
    verify = target.get("verify") or []
    due = [one.get("due") for one in (verify if isinstance(verify, list) else [verify])]
    due = min((str(day) for day in due if day), default="")
    verdict = "not due yet" if due >= audit["day"] else "never verified"
    if name in results:
        result = results[name]
        same(f"result of {name}", result["id"], audited["result"]["id"])
        if "outcome" in result:
            verdict = "met" if result["outcome"] == "pass" else "missed"
        else:
            value = number(result["value"])
            same(f"value of {name}", value, audited["result"]["value"])
            least, most = target.get("at-least"), target.get("at-most")
            least, most = target["between"] if "between" in target else (least, most)
            low = least is None or value >= number(least) * (1 - 1e-9)
            high = most is None or value <= number(most) * (1 + 1e-9)
            verdict = "met" if low and high else "missed"
            spread = re.search(r"±\s*([0-9.eE+-]+)", str(result["value"]))
            spread = float(spread.group(1)) if spread else 0.0
            same(f"uncertainty of {name}", spread, audited["result"]["uncertainty"])
            # The limit is inside if it lies between both ends of the interval, within the last digits of a sum.
            ends_of_limit = [number(end) for end in (least, most) if end is not None]
            inside = [end for end in ends_of_limit if spread - abs(end - value) > 1e-9 * abs(value)]
            moved = [at for at, (_, _, commit) in enumerate(limits[name])
                     if any(came < commit or (came > commit and date < no_later[commit])
                            for came, date, result_id in tested.get(name, []) if result_id == result["id"])]
            qualifier = "limit inside the uncertainty" if inside else None
            if verdict == "met" and moved:
                low, high = ends(limits[name][moved[0] - 1][1]) if moved[0] else (math.inf, None)
                if (low is not None and value < low * (1 - 1e-9)) or (high is not None and value > high * (1 + 1e-9)):
                    qualifier = "limit changed after the result"
            same(f"qualifier of {name}", qualifier, audited["qualifier"])
    same(f"outcome of {name}", verdict, audited["verdict"])
    uncertain = audited["qualifier"] == "limit inside the uncertainty"
    same(f"outcome of {name} in a word", "uncertain" if uncertain else verdict, audited["outcome"])
    verdicts[verdict] = verdicts.get(verdict, 0) + 1
    for (_, (_, text), at), step in zip(limits[name], audited["limits"]):
        after = any(came < at or (came > at and date < no_later[at]) for came, date, _ in tested.get(name, []))
        same(f"{name} {text} after a result", after, step["after_result"])
    same(f"limits of {name}", [day for day, _, _ in limits[name]], [step["day"] for step in audited["limits"]])
    revised = {number(r["to"]) for r in last.get("revisions", {}).values() if r["of"] == name}
    first = ends(limits[name][0][1])
    for before, now, step in zip(limits[name], limits[name][1:], audited["limits"][1:]):
        was, now = ends(before[1]), ends(now[1])
        moved = [new for old, new in zip(was, now) if new is not None and new != old]
        recorded = now == first or (bool(moved) and all(new in revised for new in moved))
        same(f"{name} moved to {now}", recorded, step["recorded"])

# The limits that changed, each with its revision: one of the target whose new limit is an end that changed.
moves = []
for name, steps in limits.items():
    free = [(one, r) for one, r in last.get("revisions", {}).items() if r["of"] == name]
    for before, (day, text, at) in zip([None, *steps], steps):
        if before is None:
            continue
        old, new = ends(before[1]), ends(text)
        changed = [now for was, now in zip(old, new) if now is not None and now != was]
        fitting = [(one, r) for one, r in free if number(r["to"]) in changed]
        revision = fitting[0][0] if fitting else None
        free = [(one, r) for one, r in free if one != revision]
        moves.append((name, day, revision))
    moves += [(name, str(r["date"]), one) for one, r in free]
same("limits that changed", sorted(moves, key=str), sorted(
    ((move["target"], move["day"], move["revision"]) for move in audit["limit_moves"] if move["before"]), key=str))

# The length of each time at risk, and the causes of each event against its plan.
for period in audit["at_risk_periods"]:
    end = datetime.date.fromisoformat(period["until"] or audit["day"])
    same(f"days of {period['target']}", (end - datetime.date.fromisoformat(period["since"])).days, period["days"])
for audited in goal["events"]:
    latest = audited["scored"] if audited["scored"] is not None else audited["predicted"]
    same(f"{audited['id']} against its plan", latest - audited["plan"], audited["vs_plan"], 1e-9)
    same(f"causes of {audited['id']} against its plan", math.fsum(one["points"] for one in audited["causes"]),
         audited["vs_plan"], 1e-9)

# Safety-critical records without a passed test, demonstration or inspection.
unproven, critical = [], 0
PHYSICAL = {"test", "demonstration", "inspection"}


def passed(name, group=None):
    """Whether the latest results of every physical method of a record pass; the group is that of its plan."""
    record = next(kind[name] for kind in last.values() if name in kind)
    verify, closing, around = record.get("verify"), [name], record.get("in")
    if not verify and name in last["parts"]:
        while not verify and around in last["systems"]:
            verify = last["systems"][around].get("for-parts", {}).get("verify")
            closing, around = [name, around], last["systems"][around].get("in")
    verify = verify if isinstance(verify, list) else [verify] if verify else []
    if not verify and name in last["parts"]:
        about = [one for kind in ("targets", "requirements") for one, r in last[kind].items() if r.get("of") == name]
        about = [one for one in about if any(k[one].get("safety-critical") for k in last.values() if one in k)] or about
        return bool(about) and all(passed(one) for one in about)
    planned = {one["by"] for one in verify} & PHYSICAL
    results = last.get("results", {})
    by = {r.get("by") or verify[0]["by"] for r in results.values() if r["of"] in closing}
    driven = {str(last["events"][r["of"]]["reads"].get(read)) for r in results.values() for read in r.get("reads") or {}}
    by |= {verify[0]["by"]} if verify and name in driven else set()
    latest = [results_of for results_of in (before_contest.get(one) for one in closing) if results_of]
    failed = any(one.get("outcome") == "fail" for one in latest)
    audited = next((one for one in audit["targets"] if one["id"] == name), None)
    failed |= bool(audited) and audited["outcome"] in ("missed", "uncertain")
    return bool(planned) and planned <= by and not failed


for kind in ("parts", "requirements", "targets"):
    for name, record in last[kind].items():
        if record.get("safety-critical"):
            critical += 1
            unproven += [] if passed(name) else [name]
same("safety-critical records", critical, audit["safety_critical"])
same("safety-critical without a passed test", sorted(unproven), sorted(one["id"] for one in audit["unproven"]))

# The decisions: the day of each choice, and the analyses before and after it.
for decision in audit["decisions"]:
    own = last["decisions"][decision["id"]]
    same(f"choice of {decision['id']}", own.get("chosen"), decision["chosen"])
    chosen_on = None
    for commit, day, now, _ in states:
        chosen = (now.get("decisions", {}).get(decision["id"]) or {}).get("chosen")
        if chosen != own.get("chosen"):
            chosen_on = None
        elif chosen_on is None:
            chosen_on = day
    same(f"day of the choice of {decision['id']}", chosen_on, decision["day"])
    informing = sorted(name for name, one in last["analyses"].items() if decision["id"] in one.get("informs", []))
    same(f"analyses of {decision['id']}", informing, sorted(one["id"] for one in decision["analyses"]))
    for one in decision["analyses"]:
        first = next(day for _, day, now, _ in states
                     if any(older.get(name, name) == one["id"] for name in now.get("analyses", {})))
        same(f"day of {one['id']}", first, one["day"])
        same(f"{one['id']} after the choice", first > chosen_on, one["after_choice"])

# Verification by method.
for line in audit["verification"]:
    planned = closed = uncertain = failed = 0
    for kind, records_of_kind in last.items():
        for name, record in records_of_kind.items():
            verify, closing = (record or {}).get("verify"), name
            around = record.get("in") if kind == "parts" else None
            while not verify and around in last["systems"]:  # what the parts of a system inherit
                verify = last["systems"][around].get("for-parts", {}).get("verify")
                closing, around = around, last["systems"][around].get("in")
            verify = verify if isinstance(verify, list) else [verify] if verify else []
            if not any(one["by"] == line["method"] for one in verify):
                continue
            planned += 1
            if kind == "targets":
                audited = next(target for target in audit["targets"] if target["id"] == name)
                inside = audited["qualifier"] == "limit inside the uncertainty"
                uncertain += inside
                closed += audited["verdict"] == "met" and not inside
                failed += audited["verdict"] == "missed" and not inside
            elif name in results or closing in results:
                outcome = results[name if name in results else closing].get("outcome")
                failed += outcome == "fail"
                closed += outcome != "fail"
    same(f"by {line['method']}", [planned, closed, uncertain, failed],
         [line["planned"], line["closed"], line["uncertain"], line["failed"]])

# The results inside the interval of their estimate. The estimates of targets are those of the audit.
inside = with_interval = 0
for pair in audit["predictions"]["pairs"]:
    estimate = next((target["estimate"] for target in audit["targets"] if target["id"] == pair["of"]), None)
    if estimate:
        same(f"uncertainty of the estimate of {pair['of']}", estimate["uncertainty"], pair["uncertainty"])
    if pair["uncertainty"]:
        is_inside = abs(pair["result"] - pair["estimate"]) <= pair["uncertainty"] * (1 + 1e-9)
        same(f"{pair['of']} inside its interval", is_inside, pair["inside"])
        inside, with_interval = inside + is_inside, with_interval + 1
predictions = audit["predictions"]
groups = [[group[key] for group in predictions["groups"]] for key in ("inside", "with_interval")]
same("results inside by group", [inside, with_interval], [sum(group) for group in groups])
# Targets in degrees Celsius have no ratio, so that they are no pair, but an interval.
known = {pair["of"] for pair in predictions["pairs"]}
for target in audit["targets"]:
    estimate, result = target["estimate"], target["result"] or {}
    if target["id"] not in known and estimate and estimate["uncertainty"] and result.get("value") is not None:
        inside += abs(result["value"] - estimate["value"]) <= estimate["uncertainty"] * (1 + 1e-9)
        with_interval += 1
same("results inside", [inside, with_interval], [predictions["inside"], predictions["with_interval"]])

# Parts: the last estimate on each basis, compared with the final value on the most reliable basis.
pairs = {}
for name, part in last["parts"].items():
    for amount, (ended, basis) in amounts(part).items():
        bases = list((settings.get("growth") or {}).get(amount, {}))
        if not bases or basis != bases[-1]:
            continue
        before = {}
        for value, step in written[(name, amount)]:
            step = step or bases[0]
            if step != bases[-1] and value:
                before[step] = value
        for step, value in before.items():
            pairs.setdefault((amount, step), []).append(ended / value - 1)
audited = {}
for pair in audit["predictions"]["pairs"]:
    if "." in pair["of"]:
        audited.setdefault((pair["quantity"], pair["basis"]), []).append(pair["error"])
same("kinds of pairs", sorted(pairs), sorted(audited))
for key, errors in pairs.items():
    for ours, theirs in zip(sorted(errors), sorted(audited.get(key, []))):
        same(f"an error of {key}", ours, theirs, 1e-6)
for group in audit["predictions"]["groups"]:
    key = (group["quantity"], group["basis"])
    errors = pairs.get(key)
    # A group may also contain targets of the same quantity and basis.
    if not errors or group["pairs"] != len(errors):
        continue
    same(f"bias of {key}", statistics.fmean(errors), group["bias"], 1e-6)
    if len(errors) > 1:
        same(f"spread of {key}", statistics.stdev(errors), group["spread"], 1e-6)
    if len(errors) >= 10:
        covering = max(0.0, sorted(errors)[math.ceil(0.9 * len(errors)) - 1])
        same(f"allowance of {key}", covering, group["allowance_90"], 1e-6)

# The car at each commit that the audit evaluated.
by_commit = {commit: (now, own) for commit, _, now, own in states}
for moment in audit["timeline"]:
    commit = next(commit for commit in by_commit if commit.startswith(moment["commit"]))
    for name, total in rolled_up(*by_commit[commit]).items():
        if name in moment["amounts"]:
            same(f"car.{name} at {moment['commit']}", total, moment["amounts"][name]["value"], 1e-9)

for text in differences:
    print(text)
print(f"{agreed} figures agree, {len(differences)} differ")
sys.exit(1 if differences or agreed < 100 else 0)
