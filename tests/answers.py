#!/usr/bin/env python3
"""Compares all answers of two tierod binaries over the example car and its season: only words may differ.

    answers.py run BINARY FOLDER [--season REPOSITORY] [--car FOLDER] [--revisions N]
    answers.py rename REPOSITORY NEW_REPOSITORY
    answers.py compare OLD_FOLDER NEW_FOLDER [--strict]

`run` writes every answer of one binary to FOLDER: all reading commands, in every format, at twenty revisions of the
season. It works on copies of the repository and of the example car without caches. Without `--season` it creates the
season with the binary. `rename` copies a repository and renames the record keys in every commit, so that two binaries
with different names can read the same season. `compare` exits with status 1 if a number, id, place, count, exit status
or the structure of a JSON answer differs. It renames what answers_names.py lists, and finds commits by their position
in the history. It lists also what is not an error: numbers that are rounded otherwise, and numbers or ids that a text
gives in another order or in addition; with `--strict` these count as errors, too. Only python3 and git are needed.
"""

import argparse
import concurrent.futures
import json
import os
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile

import answers_compare
import answers_names as names

HERE = pathlib.Path(__file__).resolve().parent
KINDS = [
    "goal", "event", "system", "target", "requirement", "part", "decision", "analysis", "result", "revision", "waiver",
]  # fmt: skip
FINDINGS = ["json", "terminal", "sarif", "lines", "github", "gitlab"]
SUFFIXES = {"terminal": "txt", "markdown": "md", "lines": "txt", "github": "txt", "gitlab": "json", "sarif": "json"}


def environment(home):
    own = {name: os.environ[name] for name in ("PATH", "TMPDIR") if name in os.environ}
    who = {f"GIT_{role}_{key}": value for role in ("AUTHOR", "COMMITTER") for key, value in names.COMMITTER.items()}
    fixed = {"HOME": str(home), "TZ": "UTC", "LC_ALL": "C.UTF-8", "NO_COLOR": "1"}
    return own | who | fixed | {"GIT_CONFIG_GLOBAL": "/dev/null", "GIT_CONFIG_NOSYSTEM": "1"}


def git(repository, *words, **more):
    return subprocess.run(["git", "-C", repository, *words], check=True, capture_output=True, **more).stdout


class Runner:
    """Runs one binary and writes its answers."""

    def __init__(self, binary, folder):
        self.binary, self.folder, self.index = str(pathlib.Path(binary).resolve()), folder, {}
        self.home = tempfile.TemporaryDirectory()
        self.environment = environment(self.home.name)
        self.old = "  weigh " in self.start(["--help"], folder).stdout.decode()

    def start(self, words, cwd):
        return subprocess.run([self.binary, *words], cwd=cwd, env=self.environment, capture_output=True)

    def ask(self, name, words, cwd, states):
        """Writes one answer; `states` says which files it was read from."""
        words = [names.OLD_WORDS.get(word, word) if self.old else word for word in words]
        done = self.start(words, cwd)
        path = self.folder / "answers" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(done.stdout)
        self.index[name] = {"status": done.returncode, "error": done.stderr.decode(), "states": states}
        return done.stdout

    def formats(self, name, words, formats, cwd, states):
        for form in formats:
            self.ask(f"{name}-{form}.{SUFFIXES.get(form, form)}", [*words, "--format", form], cwd, states)

    def state(self, name, rev, cwd, states, turn):
        """All reading commands over one state; `turn` chooses other records in each."""
        both = ["json", "terminal"]
        at = ["--rev", rev] if rev else []
        graph = self.ask(f"{name}/graph-json.json", ["graph", *at, "--format", "json"], cwd, states)
        ids = {}
        for node in json.loads(graph or b'{"nodes": []}')["nodes"]:
            ids.setdefault(node["kind"], []).append(node["id"])
        chosen = {kind: some[(7 * turn) % len(some)] for kind, some in sorted(ids.items())}
        self.formats(f"{name}/check", ["check", *at], FINDINGS, cwd, states)
        self.formats(f"{name}/graph", ["graph", *at], ["terminal", "dot"], cwd, states)
        for command in ("values", "budget", "points"):
            self.formats(f"{name}/{command}", [command, *at], both, cwd, states)
        self.formats(f"{name}/worth", ["worth", "--all", *at], both, cwd, states)
        for number, decision in enumerate(ids.get("decision", [])):
            forms = both if number % 4 == turn % 4 else ["json"]
            self.formats(f"{name}/compare-{decision}", ["compare", decision, *at], forms, cwd, states)
        for number, (kind, record) in enumerate(chosen.items()):
            self.formats(f"{name}/why-{kind}", ["why", record, *at], both, cwd, states)
            if number % 3 == turn % 3:
                self.formats(f"{name}/history-{kind}", ["history", record, *at], both, cwd, states)
        if "target" in chosen:
            self.formats(f"{name}/worth-target", ["worth", chosen["target"], *at], both, cwd, states)
            self.formats(f"{name}/budget-mass", ["budget", "mass", *at], both, cwd, states)
            self.formats(f"{name}/below", ["graph", "--below", chosen["target"], *at], ["terminal"], cwd, states)
        self.formats(f"{name}/history-car.mass", ["history", "car.mass", *at], both, cwd, states)
        self.formats(f"{name}/audit", ["audit", *at], ["json", "terminal", "markdown", "html"], cwd, states)
        self.ask(f"{name}/audit-context.json", ["audit", "--context", *at], cwd, states)
        for table in ("targets", "events", "predictions", "verification", "timeline"):
            words = ["audit", "--format", "csv", "--table", table, *at]
            self.ask(f"{name}/audit-{table}.csv", words, cwd, states)

    def delta(self, name, base, head, cwd):
        states = [base, head]
        self.formats(f"{name}/delta", ["delta", base, head], [*FINDINGS, "markdown"], cwd, states)
        self.ask(f"{name}/delta-context.json", ["delta", base, head, "--context"], cwd, states)

    def explain(self, cwd):
        self.ask("explain/all-json.json", ["explain", "--format", "json"], cwd, [])
        every = self.ask("explain/all.txt", ["explain"], cwd, []).decode()
        for name in sorted(set(re.findall(r"^ +([a-z][a-z0-9-]*)  ", every, re.MULTILINE)) | set(KINDS)):
            self.formats(f"explain/{names.CHECKS.get(name, name)}", ["explain", name], ["json", "terminal"], cwd, [])
        for files in ("records", "settings"):
            self.ask(f"schema/{files}.json", ["schema", files], cwd, [])


def copy_repository(source, target):
    shutil.copytree(source, target, symlinks=True)
    shutil.rmtree(target / ".git" / "tierod", ignore_errors=True)


def run(arguments):
    folder = pathlib.Path(arguments.folder).resolve()
    if folder.exists() and any(folder.iterdir()):
        sys.exit(f"{folder} is not empty")
    folder.mkdir(parents=True, exist_ok=True)
    runner = Runner(arguments.binary, folder)
    season, car = folder / "season", folder / "car"
    if arguments.season:
        copy_repository(pathlib.Path(arguments.season), season)
    else:
        made = runner.start(["example", str(season)], folder)
        if made.returncode != 0:
            sys.exit(made.stderr.decode())
    shutil.copytree(arguments.car, car)
    log = git(season, "rev-list", "--first-parent", "--reverse", "HEAD").decode().split()
    last = len(log) - 1
    count = min(arguments.revisions, len(log))
    chosen = [log[round(turn * last / max(count - 1, 1))] for turn in range(count)]
    jobs = [lambda: runner.explain(folder), lambda: runner.state("car", None, car, ["car"], 0)]
    jobs.append(lambda: runner.state("season/tree", None, season, [log[-1]], 1))
    for turn, rev in enumerate(chosen):
        jobs.append(lambda turn=turn, rev=rev: runner.state(f"season/{turn:02}", rev, season, [rev], turn))
        if turn:
            jobs.append(lambda turn=turn, rev=rev: runner.delta(f"season/{turn:02}", chosen[turn - 1], rev, season))
    with concurrent.futures.ThreadPoolExecutor(arguments.jobs) as pool:
        for done in [pool.submit(job) for job in jobs]:
            done.result()
    about = {"old": runner.old, "answers": dict(sorted(runner.index.items()))}
    (folder / "index.json").write_text(json.dumps(about, indent=1))
    print(f"{len(runner.index)} answers at {len(chosen)} revisions of {len(log)} in {folder}")


def rename(arguments):
    """Copies a repository, with the record keys and the names of checks renamed in every commit."""
    source, target = pathlib.Path(arguments.repository), pathlib.Path(arguments.new)
    copy_repository(source, target)
    commits = git(source, "rev-list", "--topo-order", "--reverse", "--all").decode().split()
    marks = {commit: number + 1 for number, commit in enumerate(commits)}
    branch = git(source, "symbolic-ref", "HEAD").decode().strip()
    stream = []
    for commit in commits:
        headers, _, message = git(source, "cat-file", "commit", commit).partition(b"\n\n")
        fields = [line.split(b" ", 1) for line in headers.split(b"\n")]
        stream.append(b"commit %s\nmark :%d\n" % (branch.encode(), marks[commit]))
        stream += [name + b" " + rest + b"\n" for name, rest in fields if name in (b"author", b"committer")]
        stream.append(b"data %d\n%s\n" % (len(message), message))
        parents = [marks[rest.decode()] for name, rest in fields if name == b"parent"]
        stream += [b"%s :%d\n" % (b"merge" if number else b"from", mark) for number, mark in enumerate(parents)]
        stream.append(b"deleteall\n")
        for line in git(source, "ls-tree", "-r", "-z", commit).split(b"\0")[:-1]:
            about, path = line.split(b"\t", 1)
            mode, _, blob = about.split()
            if path.endswith((b".yaml", b".yml")):
                text = names.rename_records(git(source, "cat-file", "blob", blob.decode()).decode()).encode()
                stream.append(b"M %s inline %s\ndata %d\n%s\n" % (mode, path, len(text), text))
            else:
                stream.append(b"M %s %s %s\n" % (mode, blob, path))
    git(target, "fast-import", "--quiet", "--force", input=b"".join(stream))
    git(target, "reset", "-q", "--hard")
    print(f"{len(commits)} commits in {target}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(required=True)
    command = commands.add_parser("run")
    command.add_argument("binary")
    command.add_argument("folder")
    command.add_argument("--season")
    command.add_argument("--car", default=HERE.parent / "example-car")
    command.add_argument("--revisions", type=int, default=20)
    command.add_argument("--jobs", type=int, default=2)
    command.set_defaults(call=run)
    command = commands.add_parser("rename")
    command.add_argument("repository")
    command.add_argument("new")
    command.set_defaults(call=rename)
    command = commands.add_parser("compare")
    command.add_argument("old", type=pathlib.Path)
    command.add_argument("new", type=pathlib.Path)
    command.add_argument("--strict", action="store_true")
    command.set_defaults(call=answers_compare.compare)
    arguments = parser.parse_args()
    sys.exit(arguments.call(arguments))


if __name__ == "__main__":
    main()
