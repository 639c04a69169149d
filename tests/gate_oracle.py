#!/usr/bin/env python3
"""Ways to commit, merge, rebase, cherry-pick and push, and an oracle that judges what stops them.

    tests/gate_oracle.py TIEROD [CASE]

Takes each way with each state of the base and each change that makes sense together, in small repositories with the hooks
of `TIEROD hook install` and real git, and for the ways of CI with the variables of both forges. What the hook or `delta`
reports is compared with an oracle. It reads only `TIEROD check --rev --on` of single commits, and subtracts:

- new: the findings of the result that no parent (of a request: not its base) has, as often as it has them
- uncovered: those of them that the parent has too, once its unreadable files are those of the result
- worse: a finding of both, with a measure that is clearly larger than in each parent
- stopped: by the table in README, "What stops whom"

Prints what it disagrees with and ends with 1, or a line of numbers and 0. CASE is a part of a name, as it is printed; then
the commands of each case are printed, too. Needs python3 and git, and no other package.
"""
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

DAY = "2027-05-19"
ZERO = "0" * 40

# Differences that are not to be solved: part of a case's name, what differs, and why. One that no longer exists is an error.
KNOWN = {
    "amend what was forced/": (
        {"new", "stops", "made"},
        "git starts the hook of `commit --amend` as that of any commit, with HEAD still at the commit that is replaced, so "
        "that its findings count as existing; CI compares the result with the base",
    ),
    "request, weeks later/": (
        {"new", "uncovered", "stops", "exit"},
        "a target that was at risk all the time, but hidden by a file that was repaired more than 28 days ago: `no-action` is "
        "new, because the history of the base does not have the repair; at the contest stage it would stop the request",
    ),
}

# Of these, it is not yet known on what the difference depends: it is there if the case runs alone.
MAY_AGREE = ["request, weeks later/"]

# ---- the records -----------------------------------------------------------------------------------------------------

SETTINGS = """\
season: 2027
as-of: 2027-05-19
stages: {concept: 2026-10-31, design: 2027-01-31, build: 2027-04-30, test: 2027-06-20, contest: 2027-07-04}
growth:
  mass: {estimated: 20 %, weighed: 0 %}
levels: {over-budget: error}
"""
CHAIN = """\
goals:
  top-ten: {place: 10, reason: A place among ten keeps the workshop., lead: team lead}
events:
  skidpad: {plan: 50 pts, lead: dynamics lead, serves: {top-ten: Cheapest points of all.}}
systems:
  suspension: {in: car, lead: suspension lead}
targets:
  circle-time:
    of: car
    at-most: 5.2 s
    estimate: 5.1 s ± 0.05 s
    lead: dynamics lead
    serves: {skidpad: It is what is timed.}
    verify: {by: test, with: timing gates, due: 2027-06-01}
requirements:
  brake-test: {of: car, shall: All four wheels lock., lead: brakes lead, serves: {circle-time: Only a car that stops may
    start.}, verify: {by: test, with: brake test, due: 2027-06-10}}
"""
BUDGET = """\
targets:
  suspension-mass: {of: suspension, at-most: 3.5 kg, total: mass, lead: suspension lead,
    serves: {circle-time: A light axle is fast.}, verify: {by: test, with: scale, due: 2027-06-01}}
"""


def part(id_, system="suspension", mass=0.01, serves="circle-time", tool="gauge"):
    amounts = f"    amounts: {{mass: {{value: {mass} kg, basis: weighed}}}}\n"
    return (f"  {id_}:\n    in: {system}\n    serves: {{{serves}: It holds {id_} in place.}}\n    lead: suspension lead\n"
            f"{amounts}    verify: {{by: inspection, with: {tool}, due: 2027-06-01}}\n")


def parts(*texts):
    return "parts:\n" + "".join(texts)


START = {
    "tierod.yaml": SETTINGS,
    "chain.yaml": CHAIN,
    "budget.yaml": BUDGET,
    "mass.yaml": parts(part("arm", mass=3)),
    "shared.yaml": parts(part("shared")),
    "times.txt": "lap times\n",
}
# The records of the file that is broken: a wrong name, and a mass that is over the budget.
BENT = part("bent", "nowhere")
WHOLE = parts(BENT, part("rod", mass=1))
# A file that is not touched refers to it: with a name that is there, and as the wrong kind of record.
USER = {"user.yaml": parts(part("clip", serves="rod"))}
STATES = {
    "clean": {},
    "errors": {"errors.yaml": parts(part("theirs", "nowhere"), part("others", "elsewhere")),
               "twin-one.yaml": parts(part("twin")), "twin-two.yaml": parts(part("twin"))},
    "over": {"mass.yaml": parts(part("arm", mass=4))},
    "broken": {"broken.yaml": WHOLE.replace("parts:\n", "parts:\n  \"\n"), **USER},
    "markers": {"broken.yaml": WHOLE.replace("parts:\n", "parts:\n<<<<<<< HEAD\n=======\n>>>>>>> main\n"), **USER},
    "key": {"broken.yaml": WHOLE.replace("{value: 1 kg, basis: weighed}", "heavy"), **USER},
}
STATES["stops"] = {"tierod.yaml": SETTINGS + "stops: {commit: all, request: records}\n"}
BROKEN = ["broken", "markers", "key"]


OFF = SETTINGS.replace("error}", "off}")


class Change:
    """A change of files; of a merge, also as two halves that do together what none does alone."""

    def __init__(self, files, states=tuple(STATES), halves=None):
        self.files, self.states, self.halves = files, states, halves


RESULTS = """\
results:
  brakes-may: {of: brake-test, outcome: fail, date: 2027-05-18, evidence: [times.txt]}
  slow-run: {of: circle-time, value: 5.4 s, date: 2027-05-18, evidence: [times.txt]}
"""
REPAIR = {"broken.yaml": WHOLE}
CHANGES = {
    "nothing bad": Change({"more.yaml": parts(part("more"))}),
    "error": Change(
        {"more.yaml": parts(part("more", "nowhere"))},
        halves=({"one.yaml": parts(part("tilt"))}, {"two.yaml": parts(part("tilt"))})),
    "heavier": Change(
        {"mass.yaml": parts(part("arm", mass=40))},
        halves=({"one.yaml": parts(part("one", mass=0.4))}, {"two.yaml": parts(part("two", mass=0.4))})),
    "lighter": Change({"mass.yaml": parts(part("arm", mass=3.8))}, ["over"]),
    "failed result": Change(
        {"results.yaml": RESULTS},
        halves=({"results.yaml": RESULTS.replace("5.4 s", "5.15 s").replace("fail", "pass")},
                {"chain.yaml": CHAIN.replace("at-most: 5.2 s", "at-most: 5.12 s")})),
    # A result that is bad news, and an error about the same target that it does not bring.
    "result and lower limit": Change(
        {"results.yaml": RESULTS.replace("5.4 s", "5.15 s"), "budget.yaml": BUDGET.replace("3.5 kg", "2.5 kg")},
        ["clean", "over"]),
    "fixes": Change({"errors.yaml": parts(part("theirs"), part("others", "elsewhere"))}, ["errors"]),
    "moves": Change({"errors.yaml": None, "moved/errors.yaml": STATES["errors"]["errors.yaml"]}, ["errors"]),
    "third twin": Change({"twin-three.yaml": parts(part("twin"))}, ["errors"]),
    "renames": Change({"errors.yaml": STATES["errors"]["errors.yaml"].replace(
        "  theirs:\n", "  theirs-new:\n    formerly: [theirs]\n")}, ["errors"]),
    "switches off": Change({"tierod.yaml": OFF}, ["over"]),
    "heavier, switched off": Change({"tierod.yaml": OFF, "mass.yaml": parts(part("arm", mass=40))}, ["clean", "over"]),
    "breaks a file": Change({"shared.yaml": parts(part("shared")) + "  \"\n"}),
    "repairs": Change(
        REPAIR, BROKEN, halves=(REPAIR, {"two.yaml": parts(part("clip-two", serves="bent"))})),
    "repairs and breaks": Change({**REPAIR, "more.yaml": parts(part("more", "nowhere"))}, BROKEN),
    "repairs and adds": Change({"broken.yaml": WHOLE + part("fin", "nowhere")}, BROKEN),
    # What the file that is not touched refers to.
    "repairs and removes": Change({"broken.yaml": parts(BENT)}, BROKEN),
    "repairs by removing": Change({"broken.yaml": None, "user.yaml": None}, BROKEN),
}

# ---- the oracle ------------------------------------------------------------------------------------------------------


def prints(findings):
    return Counter(finding["fingerprint"] for finding in findings)


def measures(findings):
    """The largest measure of each finding."""
    found = {}
    for finding in findings:
        if finding.get("measure"):
            value, unit = finding["measure"]["value"], finding["measure"]["unit"]
            print_ = finding["fingerprint"]
            found[print_] = max(found.get(print_, (value, unit)), (value, unit))
    return found


class Oracle:
    """What is new, uncovered, worse and stopped, from the findings of single commits."""

    def __init__(self, repository, parents, result, by):
        self.repository = repository
        # The levels of the base apply to all.
        self.rules = repository.blob(parents[0], "tierod.yaml")
        stops = dict(re.findall(r"(commit|request): (all|records)", self.rules))
        stops = {"commit": "records", "request": "all", **stops}[by]
        head = self.check(result)
        seen = [self.renamed(self.check(parent), head, result) for parent in parents]
        repaired = [self.repaired(parent, findings, result) for parent, findings in zip(parents, seen)]
        new, self.uncovered = Counter(), Counter()
        left = prints(head)
        known = Counter()
        for findings in seen:
            known |= prints(findings)
        unknown = left - known
        # Of several with one fingerprint it does not matter which is which: they are alike in all that is compared.
        could_be = Counter()
        for findings in repaired:
            could_be |= prints(findings)
        by_print = {finding["fingerprint"]: finding for finding in head}
        for print_, count in unknown.items():
            # How many of them a repaired parent has more than was seen.
            hidden = min(count, max(0, could_be[print_] - known[print_]))
            if hidden:
                self.uncovered[print_] += hidden
            if count > hidden:
                new[print_] += count - hidden
        self.new = new
        # How bad a finding was, is known from each parent that has it.
        after = measures(head)
        earlier = [measures(findings) for findings in [*seen, *repaired]]
        # A difference that is small may count or not: that depends on the digits that are shown.
        self.worse, self.better, self.close = set(), set(), set()
        for print_, (value, unit) in after.items():
            before = [own[print_][0] for own in earlier if print_ in own and own[print_][1] == unit]
            if before and value > max(before) + 0.01 * abs(max(before)):
                self.worse.add(print_)
            elif before and value < min(before) - 0.01 * abs(min(before)):
                self.better.add(print_)
            elif before and not min(before) <= value <= max(before):
                self.close.add(print_)
        self.stops = {print_ for print_ in new if by_print[print_]["level"] == "error"}
        car = {print_ for print_ in self.stops if by_print[print_]["about"] == "car"}
        if stops == "records":
            self.stops -= car
        elif car:
            self.stops -= car - prints(self.without_new_results(parents, result)).keys()

    def check(self, commit):
        repository = self.repository
        if repository.blob(commit, "tierod.yaml") != self.rules:
            commit = repository.scratch(commit, {"tierod.yaml": self.rules})
        return repository.check(commit)

    def renamed(self, findings, head, result):
        """Findings with the fingerprints that they have under the new ids of records."""
        text = "".join(self.repository.texts(result).values())
        new = {old: id_ for id_, old in re.findall(r"^ *([a-z0-9-]+):\n +formerly: \[([a-z0-9-]+)\]", text, re.M)}
        if not new:
            return findings
        by_name = {(one["check"], one.get("record"), one.get("field")): one["fingerprint"] for one in head}
        name = lambda one: (one["check"], new.get(one.get("record"), one.get("record")), one.get("field"))
        return [{**one, "fingerprint": by_name.get(name(one), one["fingerprint"])} for one in findings]

    def repaired(self, parent, findings, result):
        """The findings of a parent with its unreadable files as the result has them, except those that were not hidden."""
        repository = self.repository
        files = {finding["path"] for finding in findings if finding["check"] in READING}
        if not files:
            return []
        after = {path: repository.blob(result, path) for path in files}
        scratch = repository.scratch(parent, after)
        before = " ".join(repository.blob(parent, path) or "" for path in files)
        everything = "".join(repository.texts(result).values())
        ids = lambda text: set(re.findall(r"^  ([a-z0-9-]+):", text, re.M))
        lost = ids(before) - ids(everything)
        # What is in an unreadable file is hidden if its text is there already: another record was added since. What was
        # removed from it is no longer there to be referred to.
        return [
            finding for finding in self.check(scratch)
            if not (finding["path"] in files and finding.get("record") and finding["record"] not in ids(before))
            and not lost & set(re.findall("`([^`]*)`", finding["message"]))
            # The repair itself must be sound.
            and not (finding["check"] in READING and finding["path"] in files and not finding.get("record"))
        ]

    def without_new_results(self, parents, result):
        """The findings of the result without the files that only have new results."""
        listed = lambda commit: self.repository.git("ls-tree", "-r", "--name-only", commit).split()
        before = {path for parent in parents for path in listed(parent)}
        added = [path for path in listed(result) if path.endswith("results.yaml") and path not in before]
        return self.check(self.repository.scratch(result, dict.fromkeys(added)))


# ---- repositories ----------------------------------------------------------------------------------------------------

class Repository:
    def __init__(self, folder, tierod, home):
        self.folder, self.tierod, self.home = folder, tierod, home
        self.git_folder = folder + "/.git"
        self.day, self.minute, self.log, self.seen = "2027-03-01", 0, [], []

    def run(self, command, env=None, **more):
        day = f"{self.day}T12:{self.minute:02}:00Z"
        who = {f"GIT_{who}_{key}": value for who in ("AUTHOR", "COMMITTER")
               for key, value in (("NAME", "Team"), ("EMAIL", "team@example.org"), ("DATE", day))}
        base = {"PATH": self.home + ":" + os.environ["PATH"], "HOME": self.home, "TZ": "UTC", "LC_ALL": "C.UTF-8",
                "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "GIT_EDITOR": "true",
                "HOOK_RUNS": self.folder + ".hook"}
        return subprocess.run(command, cwd=self.folder, env={**base, **who, **(env or {})}, stdin=subprocess.DEVNULL,
                              capture_output=True, text=True, **more)

    def attempt(self, *args, env=None):
        self.log.append("git " + " ".join(args))
        return self.run(["git", *args], env)

    def git(self, *args, env=None, input_=None):
        done = self.run(["git", *args], env) if input_ is None else self.feed(args, input_)
        if done.returncode != 0:
            raise AssertionError(f"git {args}: {done.stdout}{done.stderr}")
        return done.stdout.strip()

    def feed(self, args, text):
        return subprocess.run(["git", *args], cwd=self.folder, input=text, capture_output=True, text=True)

    def do(self, *args):
        self.log.append("git " + " ".join(args))
        return self.git(*args)

    def write(self, files):
        for path, text in files.items():
            full = os.path.join(self.folder, path)
            self.log.append(f"rm {path}" if text is None else f"cat >{path} <<'END'\n{text}END")
            if text is None:
                os.remove(full)
            else:
                os.makedirs(os.path.dirname(full), exist_ok=True)
                with open(full, "w") as file:
                    file.write(text)

    def force(self, files, message):
        """Commits past the hook."""
        self.minute += 1
        self.write(files)
        self.do("add", "-A")
        self.do("commit", "-q", "--no-verify", "--allow-empty", "-m", message)
        return self.id()

    def once(self, what, make):
        """Makes `what`, or copies it: many cases begin alike. What was done before and the time are part of it."""
        key = json.dumps([self.day, self.minute, self.log, what])
        if key not in MADE:
            make()
            copy = tempfile.mkdtemp(dir=os.path.dirname(self.folder)) + "/copy"
            shutil.copytree(self.folder, copy)
            MADE[key] = copy, self.minute, list(self.log)
            return
        shutil.rmtree(self.folder)
        copy, self.minute, log = MADE[key]
        shutil.copytree(copy, self.folder)
        self.log = list(log)

    def id(self, revision="HEAD"):
        if revision == "HEAD" and self.folder + "/.git" == self.git_folder:
            # Many times faster than to ask git.
            with open(self.git_folder + "/HEAD") as file:
                text = file.read().strip()
            if not text.startswith("ref: "):
                return text
            path = f"{self.git_folder}/{text[5:]}"
            if os.path.exists(path):
                with open(path) as file:
                    return file.read().strip()
        return self.git("rev-parse", f"{revision}^{{commit}}")

    def texts(self, commit):
        """The record files and settings of a commit, by path: all in one call of git. Each line of them ends with a line break."""
        if commit not in TEXTS:
            texts = {}
            for line in self.git("grep", "-z", "-e", "", commit, "--", "*.yaml").split("\n"):
                path, text = line.split(":", 1)[1].split("\0")
                texts[path] = texts.get(path, "") + text + "\n"
            TEXTS[commit] = texts
        return TEXTS[commit]

    def blob(self, commit, path):
        return self.texts(commit).get(path)

    def scratch(self, commit, files):
        """A commit after another one, with some files replaced or removed (`None`)."""
        key = (commit, *sorted((path, text or "") for path, text in files.items()))
        if SCRATCH.get(key) not in CHECKED:
            SCRATCH[key] = self.scratch_commit(commit, files)
        return SCRATCH[key]

    def scratch_commit(self, commit, files):
        env = {"GIT_INDEX_FILE": self.folder + ".index"}
        self.git("read-tree", commit, env=env)
        for path, text in files.items():
            if text is None:
                self.git("update-index", "--force-remove", path, env=env)
            else:
                blob = self.git("hash-object", "-w", "--stdin", input_=text)
                self.git("update-index", "--add", "--cacheinfo", f"100644,{blob},{path}", env=env)
        return self.git("commit-tree", self.git("write-tree", env=env), "-p", commit, "-m", "scratch")

    def check(self, commit):
        if commit not in CHECKED:
            done = self.run([self.tierod, "check", "--rev", commit, "--format", "json", "--on", DAY])
            assert done.returncode < 2, done.stderr
            CHECKED[commit] = json.loads(done.stdout)["findings"]
        self.seen += CHECKED[commit]
        return CHECKED[commit]

    def hook_runs(self):
        """What the hook's `check --staged` reported since the last time."""
        path = self.folder + ".hook"
        if not os.path.exists(path):
            return []
        with open(path) as file:
            text = file.read()
        os.remove(path)
        return [json.loads(run) for run in text.split("\0") if run.strip()]


# The findings of commits, in all repositories: a commit's name includes its content and its history.
CHECKED = {}
TEXTS = {}
# Copies of repositories in which the first steps are made.
MADE = {}
# Commits that are only made for the oracle, with the files that were replaced.
SCRATCH = {}

# The hook runs what is on the PATH: the same program, with its answer as JSON.
WRAPPER = """#!/bin/sh
[ "$1 $2" = "check --staged" ] || exec '{tierod}' "$@"
shift 2
'{tierod}' check --staged --format json "$@" >>"$HOOK_RUNS"
status=$?
printf '\\0' >>"$HOOK_RUNS"
exit $status
"""


# ---- the ways --------------------------------------------------------------------------------------------------------

class Case:
    def __init__(self, repository, way, state, change):
        self.repository, self.way, self.state, self.change = repository, way, state, change
        self.name = f"{way}/{state}/{change}"
        self.differences, self.compared, self.oracle = [], 0, None
        self.seen = Counter()

    @property
    def files(self):
        return CHANGES[self.change].files

    def differs(self, what, expected, found, where):
        if expected != found:
            self.differences.append((what, f"{where}: {what}: expected {self.listed(expected)}, found {self.listed(found)}"))

    def listed(self, prints_):
        if not isinstance(prints_, (set, Counter)):
            return prints_
        names = {}
        for one in self.repository.seen:
            names[one["fingerprint"]] = f"{one['level']} {one['check']} {one.get('record') or one['path']}"
        return sorted(names.get(print_, print_) for print_ in prints_) or "none"

    def compare(self, oracle, json_, where):
        self.compared += 1
        self.differs("new", oracle.new, prints(json_.get("findings", json_.get("new"))), where)
        self.differs("uncovered", oracle.uncovered, prints(json_["uncovered"]), where)
        self.differs("worse", oracle.worse, set(prints(json_["worse"])) - oracle.close, where)
        self.differs("better", oracle.better, set(prints(json_["better"])) - oracle.close, where)
        self.differs("stops", oracle.stops, set(json_["stops"]), where)
        for kind in ("new", "uncovered", "worse", "better", "stops"):
            self.seen[kind] += bool(getattr(oracle, kind))

    # -- with a hook

    def hooked(self, *command, finish=("commit", "-q", "--no-verify", "--no-edit"), parents=None):
        """Runs git, whose hook must run once and decide as the oracle."""
        repository = self.repository
        repository.minute += 1
        before = repository.id()
        done = repository.attempt(*command)
        runs = repository.hook_runs()
        made = repository.id() != before
        self.differs("hook", 1, len(runs), "hook")
        if not made:
            repository.do(*finish)
        parents = parents or repository.git("rev-list", "--parents", "-1", "HEAD").split()[1:]
        oracle = Oracle(repository, parents, repository.id(), "commit")
        self.differs("made", not oracle.stops, made, "hook")
        self.differs("made", made, done.returncode == 0, "status of git")
        self.seen["stopped"] += not made
        if runs:
            self.compare(oracle, runs[0], "hook")

    def unhooked(self, *command):
        """Runs git, which must not run a hook, and succeeds."""
        self.repository.minute += 1
        before = self.repository.id()
        done = self.repository.attempt(*command)
        self.differs("hook", (0, True, 0), (len(self.repository.hook_runs()), self.repository.id() != before,
                                            done.returncode), done.stderr or "hook")

    def stage(self, files=None):
        self.repository.write(self.files if files is None else files)
        self.repository.do("add", "-A")

    def commit(self):
        self.stage()
        self.hooked("commit", "-q", "-m", "change", finish=("commit", "-q", "--no-verify", "-m", "change"))

    def commit_all(self):
        """`commit -a`: git has an index of its own for it."""
        self.stage()
        self.repository.do("reset", "-q")
        self.repository.do("add", "-N", ".")
        self.hooked("commit", "-q", "-a", "-m", "change", finish=("commit", "-q", "--no-verify", "-a", "-m", "change"))

    def commit_paths(self):
        """A commit of some files only, while an error in another file is staged."""
        self.stage({"staged.yaml": parts(part("staged", "nowhere"))})
        self.stage()
        paths = ["--", *self.files]
        self.hooked("commit", "-q", "-m", "change", *paths,
                    finish=("commit", "-q", "--no-verify", "-m", "change", *paths))

    def amend(self):
        """Git starts the hook with HEAD at the commit that is replaced, so that this is what counts as the parent."""
        replaced = self.repository.force({"other.yaml": parts(part("other"))}, "other")
        self.stage()
        self.hooked("commit", "-q", "--amend", "--no-edit", parents=[replaced],
                    finish=("commit", "-q", "--no-verify", "--amend", "--no-edit"))

    def amend_forced(self):
        self.repository.force({"other.yaml": parts(part("other", "nowhere"))}, "forced")
        self.stage()
        self.hooked("commit", "-q", "--amend", "--no-edit", finish=("commit", "-q", "--no-verify", "--amend", "--no-edit"))

    def branches(self, of_branch, of_main, name="feature"):
        """A branch and main go on separately; main is checked out."""
        repository = self.repository

        def make():
            repository.do("checkout", "-q", "-b", name)
            repository.force(of_branch, "on the branch")
            repository.do("checkout", "-q", "main")
            repository.force(of_main, "on main")

        repository.once([of_branch, of_main, name], make)

    OTHER = {"other.yaml": parts(part("other"))}

    def merge(self):
        self.branches(self.files, self.OTHER)
        self.hooked("merge", "-q", "--no-edit", "feature")

    def merge_halves(self):
        self.branches(*CHANGES[self.change].halves)
        self.hooked("merge", "-q", "--no-edit", "feature")

    def merge_reversed_halves(self):
        of_branch, of_main = CHANGES[self.change].halves
        self.branches(of_main, of_branch)
        self.hooked("merge", "-q", "--no-edit", "feature")

    def merge_edited(self):
        """A change that is added to a merge before it is committed."""
        self.branches({"fourth.yaml": parts(part("fourth"))}, self.OTHER)
        self.repository.do("merge", "-q", "--no-commit", "feature")
        self.stage()
        self.hooked("commit", "-q", "--no-edit")

    def conflict(self, finish):
        shared = lambda tool: {"shared.yaml": parts(part("shared", tool=tool))}
        self.branches({**shared("ruler"), "fourth.yaml": parts(part("fourth"))}, shared("calliper"))
        return lambda: self.stage({**shared("laser"), **self.files})

    def merge_conflict(self):
        resolve = self.conflict("merge")
        self.repository.attempt("merge", "-q", "feature")
        resolve()
        self.hooked("commit", "-q", "--no-edit")

    def merge_continued(self):
        resolve = self.conflict("merge")
        self.repository.attempt("merge", "-q", "feature")
        resolve()
        self.hooked("merge", "--continue")

    def broken_main(self, *, edited):
        """Main is as it should not be, and merged into a branch that started before."""
        repository = self.repository
        repository.force(self.OTHER, "on main")
        repository.do("checkout", "-q", "-b", "feature", "start")
        repository.force({"own.yaml": parts(part("own"))}, "own")
        if edited:
            repository.do("merge", "-q", "--no-commit", "main")
            self.stage()
            self.hooked("commit", "-q", "--no-edit")
        else:
            repository.do("checkout", "-q", "main")
            repository.force(self.files, "and more on main")
            repository.do("checkout", "-q", "feature")
            self.hooked("merge", "-q", "--no-edit", "main")

    def merge_broken_main(self):
        self.broken_main(edited=False)

    def merge_broken_main_edited(self):
        self.broken_main(edited=True)

    def octopus(self):
        """Two branches at once: git runs the hook of merges with two commits in MERGE_HEAD."""
        of_branch, of_main = CHANGES[self.change].halves
        self.branches(of_branch, self.OTHER, "one")
        self.repository.do("checkout", "-q", "-b", "two", "main~1")
        self.repository.force(of_main, "on the second branch")
        self.repository.do("checkout", "-q", "main")
        self.hooked("merge", "-q", "--no-edit", "one", "two")

    def squash(self):
        self.branches(self.files, self.OTHER)
        self.repository.do("merge", "-q", "--squash", "feature")
        self.hooked("commit", "-q", "--no-edit")

    def cherry_pick_conflict(self):
        """Git runs the hook if a conflict was resolved."""
        resolve = self.conflict("cherry-pick")
        self.repository.attempt("cherry-pick", "feature")
        resolve()
        self.hooked("cherry-pick", "--continue")

    def worktree(self):
        """A commit in a linked working tree, with the hooks of the repository."""
        folder = self.repository.folder
        self.repository.do("worktree", "add", "-q", "-b", "linked", folder + ".linked")
        self.repository.folder, hook = folder + ".linked", folder + ".hook"
        assert not os.path.exists(hook)
        self.commit()

    # -- without a hook: what CI compares afterwards

    def fast_forward(self):
        repository = self.repository
        before = repository.id()
        repository.do("checkout", "-q", "-b", "feature")
        repository.force(self.files, "on the branch")
        repository.do("checkout", "-q", "main")
        self.unhooked("merge", "-q", "--ff-only", "feature")
        self.pushed("main", before, before, "the state before the push")

    def cherry_pick(self):
        self.branches(self.files, self.OTHER)
        before = self.repository.id()
        self.unhooked("cherry-pick", "feature")
        self.pushed("main", before, before, "the state before the push")

    def revert(self):
        """What was removed comes back."""
        repository = self.repository
        start = repository.id()
        repository.force(self.files, "changed")
        repository.do("checkout", "-q", start, "--", ".")
        added = [path for path in self.files if repository.blob(start, path) is None]
        before = repository.force(dict.fromkeys(added), "as it was")
        self.unhooked("revert", "--no-edit", "HEAD")
        self.pushed("main", before, before, "the state before the push")

    def rebase(self):
        self.branches(self.files, self.OTHER)
        old, main = self.repository.id("feature"), self.repository.id()
        self.repository.do("checkout", "-q", "feature")
        self.unhooked("rebase", "-q", "main")
        self.remote("main", main)
        self.pushed("feature", old, main, "the merge base with origin/main")

    # -- in CI

    def remote(self, name, commit):
        self.repository.do("update-ref", f"refs/remotes/origin/{name}", commit)

    def delta(self, base, reason, forge, variables):
        repository = self.repository
        env = {"CI": "true", **variables}
        done = repository.run([repository.tierod, "delta", "--format", "json"], env)
        where = f"delta on {forge} ({' '.join(f'{key}={value}' for key, value in sorted(env.items()))})"
        if done.returncode > 1:
            self.differs("status", "0 or 1", done.returncode, where + done.stderr)
            return
        json_ = json.loads(done.stdout)
        if self.oracle is None or self.oracle[:2] != (base, repository.id()):
            self.oracle = base, repository.id(), Oracle(repository, [base], repository.id(), "request")
        oracle = self.oracle[2]
        self.differs("base", base, json_["base"]["revision"], where)
        self.differs("reason", reason, json_["base_reason"], where)
        self.differs("exit", int(bool(oracle.stops)), done.returncode, where)
        self.seen["stopped"] += bool(oracle.stops)
        self.compare(oracle, json_, where)

    def event(self, json_):
        path = self.repository.folder + ".event"
        with open(path, "w") as file:
            json.dump({**json_, "repository": {"default_branch": "main"}}, file)
        return path

    def pushed(self, branch, before, base, reason):
        """CI of a push of the commit that is checked out, on both forges."""
        repository = self.repository
        commit = repository.id()
        self.remote(branch, commit)
        repository.do("checkout", "-q", "--detach")
        self.delta(base, reason, "the first forge", {
            "GITHUB_ACTIONS": "true", "GITHUB_EVENT_NAME": "push", "GITHUB_REF": f"refs/heads/{branch}",
            "GITHUB_SHA": commit, "GITHUB_EVENT_PATH": self.event({"before": before, "after": commit})})
        self.delta(base, reason, "the second forge", {
            "GITLAB_CI": "true", "CI_PIPELINE_SOURCE": "push", "CI_COMMIT_BRANCH": branch, "CI_COMMIT_SHA": commit,
            "CI_COMMIT_BEFORE_SHA": before, "CI_DEFAULT_BRANCH": "main"})

    def requested(self, head, base, reason, merged):
        """CI of a request into main: `head` is its branch, and the commit that is checked out may be a merge of it."""
        repository = self.repository
        commit, main = repository.id(), repository.id("origin/main")
        fork = repository.git("merge-base", main, head)
        event = {"pull_request": {"base": {"ref": "main", "sha": main}, "head": {"sha": head}}}
        self.delta(base, reason, "the first forge", {
            "GITHUB_ACTIONS": "true", "GITHUB_EVENT_NAME": "pull_request", "GITHUB_REF": "refs/pull/1/merge",
            "GITHUB_SHA": commit if merged else "a" * 40, "GITHUB_BASE_REF": "main", "GITHUB_EVENT_PATH": self.event(event)})
        self.delta(base, reason, "the second forge", {
            "GITLAB_CI": "true", "CI_PIPELINE_SOURCE": "merge_request_event", "CI_COMMIT_SHA": commit,
            "CI_COMMIT_BEFORE_SHA": ZERO, "CI_DEFAULT_BRANCH": "main", "CI_MERGE_REQUEST_TARGET_BRANCH_NAME": "main",
            "CI_MERGE_REQUEST_DIFF_BASE_SHA": fork,
            "CI_MERGE_REQUEST_EVENT_TYPE": "merged_result" if merged else "detached"})

    def push(self):
        before = self.repository.id()
        self.repository.force(self.files, "pushed")
        self.pushed("main", before, before, "the state before the push")

    def push_three(self):
        before = self.repository.id()
        self.repository.force(self.files, "the first")
        self.repository.force({"second.yaml": parts(part("second"))}, "the second")
        self.repository.force({"third.yaml": parts(part("third"))}, "the third")
        self.pushed("main", before, before, "the state before the push")

    def push_merge(self):
        """A push to main of a merge: what the branch brings is new for main."""
        self.branches(self.files, self.OTHER)
        before = self.repository.id()
        self.repository.do("merge", "-q", "--no-verify", "--no-edit", "feature")
        self.pushed("main", before, before, "the state before the push")

    def push_second(self):
        """A second push to a branch: compared with the first."""
        repository = self.repository
        self.remote("main", repository.id())
        repository.do("checkout", "-q", "-b", "feature")
        before = repository.force({"second.yaml": parts(part("second", "nowhere"))}, "pushed before")
        repository.force(self.files, "pushed")
        self.pushed("feature", before, before, "the state before the push")

    def new_branch(self):
        fork = self.repository.id()
        self.branches(self.files, {"other.yaml": parts(part("other", "nowhere"))})
        self.remote("main", self.repository.id())
        self.repository.do("checkout", "-q", "feature")
        self.pushed("feature", ZERO, fork, "the merge base with origin/main")

    def push_rebased(self):
        """A forced push: main has its own error, which is none of the branch."""
        self.branches(self.files, {"other.yaml": parts(part("other", "nowhere"))})
        old, main = self.repository.id("feature"), self.repository.id()
        self.remote("main", main)
        self.repository.do("checkout", "-q", "feature")
        self.repository.do("rebase", "-q", "main")
        self.pushed("feature", old, main, "the merge base with origin/main")

    def push_merged_main(self):
        self.branches(self.files, {"other.yaml": parts(part("other", "nowhere"))})
        old, main = self.repository.id("feature"), self.repository.id()
        self.remote("main", main)
        self.repository.do("checkout", "-q", "feature")
        self.repository.do("merge", "-q", "--no-verify", "--no-edit", "main")
        self.pushed("feature", old, main, "the merge base with origin/main")

    def request(self):
        fork = self.repository.id()
        self.branches(self.files, {"other.yaml": parts(part("other", "nowhere"))})
        self.remote("main", self.repository.id())
        self.repository.do("checkout", "-q", "--detach", "feature")
        self.requested(self.repository.id(), fork, "the merge base with origin/main, the target of the request", False)

    def request_old(self):
        self.repository.day = "2027-04-01"
        self.request()

    def request_merged_main(self):
        self.branches(self.files, {"other.yaml": parts(part("other", "nowhere"))})
        main = self.repository.id()
        self.remote("main", main)
        self.repository.do("checkout", "-q", "feature")
        self.repository.do("merge", "-q", "--no-verify", "--no-edit", "main")
        self.repository.do("checkout", "-q", "--detach")
        self.requested(self.repository.id(), main, "the merge base with origin/main, the target of the request", False)

    def forge_merged(self, of_branch, of_main):
        self.branches(of_branch, of_main)
        main, head = self.repository.id(), self.repository.id("feature")
        self.remote("main", main)
        self.repository.do("checkout", "-q", "--detach")
        self.repository.do("merge", "-q", "--no-verify", "--no-ff", "--no-edit", "feature")
        self.requested(head, main, "the first parent of the merge that CI checked out", True)

    def request_merged_by_forge(self):
        self.forge_merged(self.files, {"other.yaml": parts(part("other", "nowhere"))})

    def request_merged_by_forge_halves(self):
        self.forge_merged(*CHANGES[self.change].halves)

    def queue(self):
        """A place in the merge queue: what the place before brings is not new."""
        repository = self.repository
        self.branches(self.files, {"other.yaml": parts(part("other", "nowhere"))})
        self.remote("main", repository.id("main~1"))
        before = repository.id()
        repository.do("checkout", "-q", "--detach")
        repository.do("merge", "-q", "--no-verify", "--no-ff", "--no-edit", "feature")
        event = {"merge_group": {"base_sha": before, "base_ref": "refs/heads/main"}}
        self.delta(before, "the previous place in the merge queue", "the first forge", {
            "GITHUB_ACTIONS": "true", "GITHUB_EVENT_NAME": "merge_group", "GITHUB_SHA": repository.id(),
            "GITHUB_REF": "refs/heads/gh-readonly-queue/main/pr-2", "GITHUB_EVENT_PATH": self.event(event)})


WAYS = {
    "commit": Case.commit,
    "commit -a": Case.commit_all,
    "commit of paths": Case.commit_paths,
    "amend": Case.amend,
    "amend what was forced": Case.amend_forced,
    "merge": Case.merge,
    "merge of halves": Case.merge_halves,
    "merge of halves, reversed": Case.merge_reversed_halves,
    "merge, edited": Case.merge_edited,
    "merge with conflict": Case.merge_conflict,
    "merge --continue": Case.merge_continued,
    "merge of broken main": Case.merge_broken_main,
    "merge of broken main, edited": Case.merge_broken_main_edited,
    "merge of two branches": Case.octopus,
    "squash": Case.squash,
    "cherry-pick with conflict": Case.cherry_pick_conflict,
    "linked working tree": Case.worktree,
    "fast-forward": Case.fast_forward,
    "cherry-pick": Case.cherry_pick,
    "revert": Case.revert,
    "rebase": Case.rebase,
    "push": Case.push,
    "push of three": Case.push_three,
    "push of a merge": Case.push_merge,
    "second push to a branch": Case.push_second,
    "push of a new branch": Case.new_branch,
    "push after rebase": Case.push_rebased,
    "push after merging main": Case.push_merged_main,
    "request": Case.request,
    "request, weeks later": Case.request_old,
    "request that merged main": Case.request_merged_main,
    "request merged by the forge": Case.request_merged_by_forge,
    "request merged by the forge, halves": Case.request_merged_by_forge_halves,
    "merge queue": Case.queue,
}
# These need a change in two halves.
HALVES = ["merge of halves", "merge of halves, reversed", "merge of two branches", "request merged by the forge, halves"]
# These take all states and changes; of the others, one kind of broken file and the main changes are enough.
ALL = ["commit", "merge, edited", "merge with conflict", "merge of broken main", "push of three", "request",
       "request merged by the forge"]
# These are much like others.
LIKE = ["commit -a", "commit of paths", "linked working tree", "merge --continue", "merge of halves, reversed",
        "second push to a branch", "push of a merge", "cherry-pick with conflict", "merge of two branches", "merge queue",
        "push after merging main"]
MAIN = ["nothing bad", "error", "heavier", "failed result", "repairs", "repairs and breaks"]


def makes_sense(way, state, change):
    changes = CHANGES[change]
    if state not in changes.states or (way in HALVES and not changes.halves):
        return False
    # The same as in any other commit.
    if way == "amend what was forced":
        return (state, change) == ("clean", "nothing bad")
    # It would conflict: both sides edit `shared.yaml`.
    if way == "request, weeks later":
        return (state, change) == ("broken", "repairs")
    if way in LIKE:
        return change in MAIN and state in ("clean", "broken")
    return way in ALL or (change in MAIN and state not in ("markers", "key", "stops"))


# ---- running ---------------------------------------------------------------------------------------------------------

def prepare(folder, tierod, home, state):
    """A repository in a state, with the hooks."""
    os.makedirs(folder)
    repository = Repository(folder, tierod, home)
    repository.git("init", "-q", "-b", "main", "--template=")
    repository.git("config", "remote.origin.url", "https://forge.invalid/team/car.git")
    # Otherwise each commit starts git twice more, to find that there is nothing to do.
    repository.git("config", "maintenance.auto", "false")
    repository.force(START, "start")
    repository.git("tag", "start")
    if STATES[state]:
        repository.force(STATES[state], state)
    done = repository.run([tierod, "hook", "install"])
    assert done.returncode == 0, done.stderr
    shutil.rmtree(os.path.join(folder, ".git", "tierod"), ignore_errors=True)
    return repository


def main():
    global READING
    tierod = os.path.abspath(sys.argv[1])
    only = sys.argv[2] if len(sys.argv) > 2 else None
    with tempfile.TemporaryDirectory() as top:
        home = os.path.join(top, "bin")
        os.mkdir(home)
        wrapper = os.path.join(home, "tierod")
        with open(wrapper, "w") as file:
            file.write(WRAPPER.format(tierod=tierod))
        os.chmod(wrapper, 0o755)
        explained = json.loads(subprocess.run([tierod, "explain", "--format", "json"], capture_output=True).stdout)
        READING = {check["check"] for check in explained["checks"] if check["group"] == "reading"}
        prepared = {state: prepare(os.path.join(top, state), tierod, home, state) for state in STATES}

        def run(number, way, state, change):
            start = prepared[state]
            folder = os.path.join(top, str(number))
            shutil.copytree(start.folder, folder)
            repository = Repository(folder, tierod, home)
            repository.day, repository.log = DAY, list(start.log)
            case = Case(repository, way, state, change)
            try:
                WAYS[way](case)
            except AssertionError as error:
                case.differences.append(("failed", f"failed: {error}"))
            shutil.rmtree(folder)
            return case

        cases = [(way, state, change) for way in WAYS for state in STATES for change in CHANGES
                 if makes_sense(way, state, change) and (not only or only in f"{way}/{state}/{change}")]
        with ThreadPoolExecutor(2) as pool:
            done = list(pool.map(lambda case: run(case[0], *case[1]), enumerate(cases)))

    known, seen, failed = Counter(), Counter(), False
    for case in done:
        seen += case.seen
        reason = next((pattern for pattern in KNOWN if pattern in case.name), None)
        if reason and {what for what, _ in case.differences} <= KNOWN[reason][0]:
            known[reason] += bool(case.differences)
            continue
        if case.differences or only:
            print(case.name)
            print("  to repeat:", sys.argv[0], sys.argv[1], f"'{case.name}'")
            for _, difference in case.differences:
                print("  " + difference)
        if only:
            print("\n".join(case.repository.log))
        failed |= bool(case.differences)
    for pattern in KNOWN:
        if not only and not known[pattern] and pattern not in MAY_AGREE:
            print(f"known difference that no longer exists: {pattern}")
            failed = True
    comparisons = sum(case.compared for case in done)
    numbers = ", ".join(f"{count} {kind}" for kind, count in sorted(seen.items()))
    print(f"{len(done)} cases: {comparisons} compared, {numbers}, {sum(known.values())} known")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
