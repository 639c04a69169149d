#!/usr/bin/env python3
"""Fuzzes tierod through its binary: mutated project roots, git folders, tables and templates, and every command on them.

    tests/fuzz_binary.py BINARY [--seed N] [--seconds N | --runs N] [--first N] [--jobs N] [--keep FOLDER] [--cpu SECONDS] [--season]

Each input is made from the seed and its number alone. On each one some commands run, in turn, so that all have their
turn; a reading command may change no file. Reported are: a panic, a status other than 0, 1 and 2, more than 5 seconds
on a processor (`--cpu`), more than 500 MB of memory, an answer that is no JSON, control characters in an output, counts
that differ between output formats, an answer that differs from the answer of the same command (with a cache, with a
damaged cache, on one processor), and a changed file. More than 20 seconds in all are reported if they happen twice.

Each failure is kept below `--keep` (default: target/fuzz-binary): the input, and `command.sh`, which runs it again; for
what is not in git's folder, the input is made smaller. Only python3 and git are needed. The status is 1 after a failure.
"""
import argparse
import collections
import hashlib
import json
import os
import pathlib
import random
import re
import resource
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from concurrent.futures import FIRST_COMPLETED, ThreadPoolExecutor, wait

import fuzz_inputs
from fuzz_inputs import DAY, PROJECT

MEMORY = 500 << 20
WALL, LONGEST = 20, 90
HOSTILE = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u00ad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u2028-\u202e\u2060-\u206f\u3164\ufe00-\ufe0d\ufeff\uffa0\ufff0-\ufffb\ufdd0-\ufdef\ufffe\uffff\U00013430-\U0001343f\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff]")
COLOUR = re.compile("\x1b\\[[0-9;]*m")
# Git's own messages may differ between two runs: of a damaged object or index it prints sizes that it did not read, or
# asks for as much memory.
OF_GIT = re.compile(rb"(?:error|fatal): .*|Out of memory, \w+ failed.*")
RUNNER = re.compile(r"^\s*::.*::|##\[|##vso\[|##teamcity\[", re.M)
ALL = "graph values points budget worth why history compare".split()

# Every reading command; `ID` is the id of some record, and `DECISION` and `TARGET` of one of this kind.
COMMANDS = [line.split() for line in f"""
check
check --format json
check --format sarif
check --format lines
check --format github
check --format gitlab
check --summary
check --since
check --since --format json
check --staged
check --staged --all --format json
check --rev HEAD~1 --format json
check --due 2027-07-31 --level warning
check --due 2027-07-31 --format json
check --lead LEAD
check --system suspension
check --only no-reason
check --color always
check --on {DAY} --format json
check chain.yaml
values
values --format json
values --staged
values --rev HEAD~1 --format json
points
points --format json
points --color always
worth
worth --all --format json
worth TARGET
worth --event EVENT --all
budget
budget --format json
budget mass
compare DECISION
compare DECISION --format json
compare DECISION --when now
why ID
why ID --format json
why TARGET --rev HEAD
graph
graph --format json
graph --format dot
graph --below ID
history ID
history ID --format json
history car.mass
history TARGET --staged
delta
delta HEAD
delta HEAD --format json
delta HEAD --format markdown
delta HEAD --format sarif
delta HEAD --format lines
delta HEAD --format github
delta HEAD --format gitlab
delta HEAD --context
delta HEAD --staged
delta HEAD~1 HEAD
delta HEAD~2 HEAD --format json
delta v1 --base v1
delta --base v1 --format markdown
audit
audit --format json
audit --format markdown
audit --format html
audit --format csv
audit --format csv --table events
audit --format csv --table predictions
audit --format csv --table verification
audit --format csv --table timeline
audit --context
deck
deck --for judges --minutes 3
audit --staged
audit --rev HEAD --format json
explain
explain ID
explain TARGET --format json
schema
schema settings
""".strip().splitlines()]
TEMPLATES = [words for words in COMMANDS if words[0] in ("delta", "audit") and words[-1] in ("markdown", "html", "--context")]
# Commands that write: only files that are new, and the hooks.
WRITING = [["init"], ["init", "--ci", "github"], ["init", "sub", "--season", "2028"], ["hook", "install"], ["hook", "install"], ["hook", "remove"], ["example", "."]]

Answer = collections.namedtuple("Answer", "status out err cpu wall memory late")


class Binary:
    """Starts the binary, and measures what it needs."""

    def __init__(self, path, limit):
        self.path, self.most = str(pathlib.Path(path).resolve()), int(4 * limit)

    def run(self, words, place, alone=False, given=b""):
        """Runs a command in `work`, on one processor if `alone`."""
        mask = os.sched_getaffinity(0) if alone and hasattr(os, "sched_setaffinity") else None
        with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err, tempfile.TemporaryFile() as into:
            into.write(given)
            into.seek(0)
            start = time.monotonic()
            if mask:
                os.sched_setaffinity(0, {min(mask)})
            try:
                env = fuzz_inputs.environment(place / "home")
                child = subprocess.Popen([self.path, *words], cwd=place / "tree", env=env, stdin=into, stdout=out, stderr=err, start_new_session=True)
            finally:
                if mask:
                    os.sched_setaffinity(0, mask)
            late = []
            if hasattr(resource, "prlimit"):
                # A loop that never ends is not waited for, however busy the machine is.
                try:
                    resource.prlimit(child.pid, resource.RLIMIT_CPU, (self.most, self.most))
                except OSError:  # it has ended
                    pass
            timer = threading.Timer(LONGEST, lambda: (late.append(1), os.killpg(child.pid, signal.SIGKILL)))
            timer.start()
            _, status, used = os.wait4(child.pid, 0)
            timer.cancel()
            wall = time.monotonic() - start
            child.returncode = os.waitstatus_to_exitcode(status)
            texts = []
            for file in (out, err):
                file.seek(0)
                texts.append(file.read())
        unit = 1 if sys.platform == "darwin" else 1024
        cpu = used.ru_utime + used.ru_stime
        late = bool(late) or child.returncode in (-signal.SIGXCPU, -signal.SIGKILL) and cpu > self.most / 2
        return Answer(child.returncode, *texts, cpu, wall, used.ru_maxrss * unit, late)

    def ask(self, words):
        with tempfile.TemporaryDirectory() as folder:
            place = pathlib.Path(folder)
            (place / "tree").mkdir()
            return self.run(words, place).out


def no_number(text):
    raise ValueError(f"{text} is not JSON")


def troubles(words, answer, limit):
    """What is wrong with one answer, as (class, text)."""
    out, err = answer.out.decode(errors="replace"), answer.err.decode(errors="replace")
    found = []
    if answer.late:
        return [("hang", f"ended after {answer.cpu:.0f} s on a processor, {answer.wall:.0f} s in all")]
    if b"panicked at" in answer.err or answer.status == -signal.SIGABRT:
        place = re.search(r"panicked at (.*)", err)
        found.append(("panic", place.group(1) if place else "aborted"))
    elif answer.status not in (0, 1, 2):
        found.append(("status", f"status {answer.status}"))
    if answer.cpu > limit:
        found.append(("slow", f"{answer.cpu:.1f} s on a processor"))
    if answer.memory > MEMORY:
        found.append(("memory", f"{answer.memory >> 20} MB"))
    if answer.status == 2 and not err and not out:
        found.append(("silent", "status 2 without a message"))
    # The talk is the output of `deck`, and its list of slides a message.
    if answer.status != 2 and err and words[0] != "deck":
        found.append(("message", f"status {answer.status} with a message: {err[:200]}"))
    for name, raw, text in (("output", answer.out, out), ("message", answer.err, err)):
        plain = COLOUR.sub("", text) if "always" in words else text
        # Lines of a table for a spreadsheet end as RFC 4180 has it.
        plain = plain.replace("\r\n", "\n") if "csv" in words else plain
        match = HOSTILE.search(plain)
        if match:
            found.append(("control", f"{name} has U+{ord(match.group()):04X}: {plain[max(0, match.start() - 40): match.end() + 20]!r}"))
        if "github" not in words and RUNNER.search(text):
            found.append(("runner", f"{name} has a line for the runner of a CI: {RUNNER.search(text).group()[:80]!r}"))
        try:
            raw.decode()
        except UnicodeDecodeError as error:
            found.append(("control", f"{name} is not UTF-8: {error}"))
    if out and answer.status in (0, 1, 2) and (words[-1] in ("json", "sarif", "gitlab", "--context") or words[0] == "schema"):
        try:
            json.loads(out, parse_constant=no_number)
        except (ValueError, RecursionError) as error:
            found.append(("json", str(error)))
    return found


SUMMARY = re.compile(r"^(\d+) errors?   (\d+) warnings?   (\d+) notes?   (\d+) waived$", re.M)


def counts_differ(answers):
    """Whether the formats of `check` count differently."""
    text, data = answers.get("check"), answers.get("check --format json")
    if not text or not data or not {text.status, data.status} <= {0, 1}:
        return None if not (text and data) or text.status == data.status else f"statuses {text.status} and {data.status}"
    summary = json.loads(data.out)["summary"]
    wanted = [summary[level] for level in ("error", "warning", "note", "waived")]
    match = SUMMARY.search(text.out.decode())
    shown = [int(number) for number in match.groups()] if match else None
    if shown != wanted:
        return f"text {shown}, JSON {wanted}"
    if any(answer.status != (1 if wanted[0] else 0) for answer in (text, data)):
        return f"{wanted[0]} errors, statuses {text.status} and {data.status}"
    if len(json.loads(data.out)["findings"]) not in (sum(wanted[:3]), sum(wanted)):
        return f"{len(json.loads(data.out)['findings'])} findings, counts {wanted}"
    lines = answers.get("check --format lines")
    if lines and len(lines.out.splitlines()) != sum(wanted[:3]):
        return f"{len(lines.out.splitlines())} lines, counts {wanted}"
    return None


def tree(place, caches=False):
    """Every file below a folder, with its content; caches in git's folder only if asked for."""
    found = {}
    for folder, folders, files in os.walk(place):
        if folder.endswith(".git") and not caches:
            folders[:] = [name for name in folders if name != "tierod"]
        for name in [*files, *folders]:
            path = os.path.join(folder, name)
            stat = os.lstat(path)
            content = os.readlink(path) if os.path.islink(path) else ""
            if not content and os.path.isfile(path):
                with open(path, "rb") as file:
                    content = hashlib.sha1(file.read()).hexdigest()
            found[os.path.relpath(path, place)] = (stat.st_mode, content)
    return found


def caches(place):
    """The folders of caches."""
    return [folder for folder in (place / "tree/.git/tierod", place / "apart.git/tierod", place / "origin/.git/tierod") if folder.is_dir()]


def changed(before, after, new=False):
    """The files that differ; new ones only if `new`."""
    return sorted(name for name in before | after if before.get(name) != after.get(name) and (new or name in before)
                  and not re.match(r"home/\.local(/state(/tierod(/key)?)?)?$", name))


class Fuzzer:
    def __init__(self, arguments, folder):
        self.arguments, self.binary = arguments, Binary(arguments.binary, arguments.cpu)
        season = (lambda at: self.binary.run(["example", at], self.season_place(folder))) if arguments.season else None
        self.folder, self.keep = folder, pathlib.Path(arguments.keep)
        self.material = fuzz_inputs.Material(folder, self.binary.ask, season)
        self.lock = threading.Lock()
        self.count, self.failed, self.worst, self.seen = collections.Counter(), collections.Counter(), {}, collections.Counter()

    @staticmethod
    def season_place(folder):
        place = folder / "season"
        for name in ("tree", "home"):
            (place / name).mkdir(parents=True, exist_ok=True)
        return place

    def one(self, number):
        """Makes an input, runs commands on it, and keeps what failed."""
        place = self.folder / f"input-{number}"
        made = fuzz_inputs.Input(self.material, self.arguments.seed, number)
        try:
            made.make(place)
            self.commands(made, place, number)
        except Exception as error:
            with self.lock:
                self.failed["fuzzer"] += 1
                print(f"{number}: the fuzzer failed: {error!r}; {made.log}", flush=True)
        finally:
            shutil.rmtree(place, ignore_errors=True)
        with self.lock:
            self.count[f"inputs, {made.kind}"] += 1

    def commands(self, made, place, number):
        rng = random.Random(f"{self.arguments.seed} {number} commands")
        before = tree(place)
        copy = place.with_name(place.name + "-copy")
        shutil.copytree(place, copy, symlinks=True)
        answers, failures = {}, []

        def run(words, alone=False):
            answer = self.binary.run(words, place, alone)
            if answer.wall > WALL and answer.cpu <= self.arguments.cpu and not answer.late:
                answer = self.binary.run(words, place, alone)
                if answer.wall > WALL:
                    failures.append((words, "waits", f"{answer.wall:.0f} s"))
            self.note(made, words, answer)
            failures.extend((words, *trouble) for trouble in troubles(words, answer, self.arguments.cpu))
            return answer

        chosen = self.chosen(made, place, number, rng)
        for words in chosen:
            answers[" ".join(words)] = run(words)
            if answers[" ".join(words)].late:
                # The others would hang, too.
                self.failure(made, copy, number, *failures[-1])
                shutil.rmtree(copy, ignore_errors=True)
                return
        difference = counts_differ(answers)
        if difference:
            failures.append((["check"], "counts", difference))
        if number // 4 % 3 == 0:
            # With the caches of the first time and on one processor; with damaged caches; without them.
            damage = rng.random() < 0.5
            if damage:
                for cache in caches(place):
                    for path in sorted(cache.rglob("*")):
                        if path.is_file():
                            fuzz_inputs.mutate_file(path, rng, fuzz_inputs.BINARY, [], [])
            for words in chosen:
                self.compare(words, answers[" ".join(words)], run(words, alone=True), "damaged caches" if damage else "warm caches, one processor", failures)
            for cache in caches(place):
                shutil.rmtree(cache)
            for words in chosen[:4]:
                self.compare(words, answers[" ".join(words)], run(words), "no caches", failures)
        if made.kind == "template":
            failures.extend(self.confined(place))
        difference = changed(before, tree(place), new=True)
        if "from git-sparse" in made.log:
            # Git adds the folders of a sparse index to its own objects, whichever of its commands reads the index.
            difference = [name for name in difference if not name.startswith("tree/.git/objects/")]
        if difference:
            failures.append((chosen[0], "changed", f"a reading command changed {difference[:5]}"))
        for words in rng.sample(WRITING, 2):
            before = tree(place)
            run(words)
            difference = [name for name in changed(before, tree(place)) if not re.search(r"(^|/)hooks/pre-", name) and name not in ("tree", "home")]
            if difference:
                failures.append((words, "changed", f"changed {difference[:5]}"))
        for words, kind, text in failures:
            self.failure(made, copy, number, words, kind, text)
        shutil.rmtree(copy, ignore_errors=True)

    def confined(self, place):
        """The process that renders a template, started alone: a panic in it shows only here."""
        for name, command in (("delta.md", ["delta", "HEAD"]), ("audit.md", ["audit"]), ("audit.html", ["audit"])):
            context = self.binary.run([*command, "--context"], place)
            source = (place / "tree/templates" / name).read_bytes()
            if context.status in (0, 1) and context.out:
                given = json.dumps({"source": source.decode(errors="replace"), "context": json.loads(context.out)}).encode()
                words = ["--render-template", name, "html" if name.endswith("html") else "markdown"]
                answer = self.binary.run(words, place, given=given)
                if b"panicked at" in answer.err:
                    yield [*command, "--format", words[2]], "panic", "in the process of the template: " + answer.err.decode(errors="replace")[:300]

    @staticmethod
    def compare(words, first, second, how, failures):
        shown = lambda answer: (answer.status, OF_GIT.sub(b"", answer.out), OF_GIT.sub(b"", answer.err))
        if shown(first) != shown(second):
            if not first.late and not second.late:
                lines = [set(text.decode(errors="replace").splitlines()) for text in (first.out + first.err, second.out + second.err)]
                text = f"statuses {first.status}, {second.status}; first only: {sorted(lines[0] - lines[1])[:3]}; {how} only: {sorted(lines[1] - lines[0])[:3]}"
                failures.append((words, "differs", f"{how}: {text}"))

    def chosen(self, made, place, number, rng):
        """The commands of an input: `check` in two formats, and the next ones of the list."""
        ids = {"ID": [], "DECISION": ["wheels"], "TARGET": ["car-mass"], "EVENT": ["skidpad"], "LEAD": ["chassis lead", "team lead"]}
        kinds = {"DECISION": "decisions", "TARGET": "targets", "EVENT": "events"}
        text = "".join(path.read_text(errors="ignore") for path in sorted((place / "tree").rglob("*.yaml")) if path.is_file())
        for name, kind in kinds.items():
            for block in re.findall(rf"^{kind}:\n((?:[ #].*\n|\n)*)", text, re.M)[:9]:
                ids[name] += re.findall(r"^  ([a-z0-9-]+):", block, re.M)
        ids["ID"] = re.findall(r"^  ([a-z0-9-]+):", text, re.M) or ["hub"]
        turn = [words for words in COMMANDS if words not in TEMPLATES] if made.kind != "template" else TEMPLATES * 3
        size = {"template": 5}.get(made.kind, 9)
        start = number // 4 * size
        next_ones = [turn[(start + at) % len(turn)] for at in range(size)]
        fill = lambda words: [rng.choice(ids[word]) if word in ids else word for word in words]
        return [["check"], ["check", "--format", "json"], ["check", "--format", "lines"], *map(fill, next_ones)]

    def note(self, made, words, answer):
        with self.lock:
            self.count[f"runs, {made.kind}"] += 1
            self.count[f"status {answer.status}, {made.kind}"] += 1
            for what, value in (("cpu", answer.cpu), ("wall", answer.wall), ("memory", answer.memory)):
                key = f"{made.kind} {what}"
                if value > self.worst.get(key, (0,))[0]:
                    self.worst[key] = (value, " ".join(words), made.log[-6:])

    def failure(self, made, copy, number, words, kind, text):
        """Keeps a failure once for each class and text."""
        key = (kind, words[0], re.sub(r"\d+|[\"'`].*", "", text)[:60])
        with self.lock:
            self.failed[kind] += 1
            self.seen[key] += 1
            if self.seen[key] > 3:
                return
            name = f"{number}-{kind}-{words[0]}-{self.failed[kind]}"
        kept = self.keep / name
        shutil.rmtree(kept, ignore_errors=True)
        kept.parent.mkdir(parents=True, exist_ok=True)
        shutil.copytree(copy, kept, symlinks=True)
        smaller = ""
        if kind in ("panic", "status", "control", "json", "memory", "slow", "silent", "message", "runner") and made.kind != "git" and words not in WRITING:
            smaller = self.reduce(kept, words, kind)
        arguments = " ".join(shlex.quote(word) for word in words)
        environment = " ".join(shlex.quote(f"{name}={value}") for name, value in fuzz_inputs.environment("home").items() if name not in ("PATH", "HOME"))
        script = f"#!/bin/sh\n# {kind}: {text!r}\n# {made.log!r}\n{smaller}cd \"$(dirname \"$0\")/tree\" || exit\nexec env HOME=\"$PWD/../home\" {environment} {shlex.quote(self.binary.path)} {arguments}\n"
        (kept / "command.sh").write_text(script, errors="backslashreplace")
        (kept / "command.sh").chmod(0o755)
        with self.lock:
            print(f"{number}: {kind}: {arguments}: {text[:600]}\n    {kept}\n    {made.log}", flush=True)

    def reduce(self, kept, words, kind):
        """Removes files and lines that the failure does not need, for some time."""
        until = time.monotonic() + 40

        def fails():
            with tempfile.TemporaryDirectory(dir=self.folder) as folder:
                place = pathlib.Path(folder) / "x"
                shutil.copytree(kept, place, symlinks=True)
                return any(trouble[0] == kind for trouble in troubles(words, self.binary.run(words, place), self.arguments.cpu))

        if not fails():
            return "# not with this command alone\n"
        files = [path for path in sorted((kept / "tree").rglob("*")) if path.is_file() and ".git" not in path.relative_to(kept).parts]
        for path in files:
            data = path.read_bytes()
            path.unlink()
            if time.monotonic() > until or not fails():
                path.write_bytes(data)
        for path in [path for path in files if path.exists()]:
            lines, size = path.read_bytes().splitlines(keepends=True), None
            size = len(lines) // 2
            while size >= 1 and time.monotonic() < until:
                at = 0
                while at < len(lines) and time.monotonic() < until:
                    fewer = lines[:at] + lines[at + size:]
                    path.write_bytes(b"".join(fewer))
                    if fails():
                        lines = fewer
                    else:
                        at += size
                size //= 2
            path.write_bytes(b"".join(lines))
        return "# made smaller\n"

    def report(self):
        for name, count in sorted(self.count.items()):
            print(f"{count:8}  {name}")
        for key, (value, words, log) in sorted(self.worst.items()):
            shown = f"{value / (1 << 20):.0f} MB" if key.endswith("memory") else f"{value:.2f} s"
            print(f"{shown:>8}  worst {key}: {words}; {log}")
        for kind, count in sorted(self.failed.items()):
            print(f"{count:8}  FAILED: {kind}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("binary")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--runs", type=int, help="the number of inputs")
    parser.add_argument("--first", type=int, default=0, help="the number of the first input")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", default=str(PROJECT / "target/fuzz-binary"))
    parser.add_argument("--cpu", type=float, default=5)
    parser.add_argument("--season", action="store_true", help="also damage the repository of `tierod example`")
    arguments = parser.parse_args()
    until = time.monotonic() + arguments.seconds if arguments.seconds else None
    most = arguments.runs if arguments.runs else None if until else 200
    with tempfile.TemporaryDirectory() as folder:
        fuzzer = Fuzzer(arguments, pathlib.Path(folder))
        with ThreadPoolExecutor(arguments.jobs) as pool:
            running, number = set(), arguments.first
            signal.signal(signal.SIGTERM, signal.getsignal(signal.SIGINT))
            try:
                while (most is None or number < arguments.first + most) and (until is None or time.monotonic() < until):
                    running.add(pool.submit(fuzzer.one, number))
                    number += 1
                    if len(running) >= arguments.jobs:
                        running = wait(running, return_when=FIRST_COMPLETED).not_done
            except KeyboardInterrupt:
                pass
        print(f"seed {arguments.seed}, inputs {arguments.first} to {number - 1}")
        fuzzer.report()
    sys.exit(1 if fuzzer.failed else 0)


if __name__ == "__main__":
    main()
