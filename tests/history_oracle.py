#!/usr/bin/env python3
"""Random histories of records, and an oracle that judges what the history checks say about them.

    tests/history_oracle.py TIEROD [COUNT [FIRST]]

Writes COUNT histories with merges, squashes, rebases, renames (with `formerly` and without), wrong clocks, imports in one
commit and results that are committed late into one repository, each on a branch of its own, and runs `TIEROD check --rev`
on each. The oracle reads the commits back from git and knows nothing of how they were made:

- Every warning or error of a history check must be confirmed by the commits: their order, their dates, their content.
- Cases that were planted, so that they are certain, must be reported.

Prints what it disagrees with and ends with 1, or a line of numbers and 0. Needs python3 and git, and no other package.
"""
import json
import os
import re
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime

sys.dont_write_bytecode = True
from random_histories import History, stream  # noqa: E402

HISTORY = ["rewritten-result", "stale-analysis", "stale-result", "target-after-result", "unrecorded-revision"]
TODAY = "2027-07-01"


# ---- the oracle ------------------------------------------------------------------------------------------------------

class Commit:
    def __init__(self, line):
        self.id, parents, author, committer, self.day = line.split("|")
        self.parents, self.author, self.committer = parents.split(), int(author), int(committer)
        self.records = {}


class Oracle:
    """The commits of a branch as git has them. Records are (kind, fields) by id."""

    def __init__(self, repository, name, records):
        log = git(repository, "log", "--topo-order", "--reverse", "--format=%H|%P|%at|%ct|%ad", "--date=short", name)
        self.commits = [Commit(line) for line in log.splitlines()]
        self.by_id = {commit.id: commit for commit in self.commits}
        self.repository = repository
        for commit in self.commits:
            commit.records = records[commit.id]
        self.head = self.commits[-1]
        assert self.head.id == git(repository, "rev-parse", name).strip()
        self.ancestors = {}
        for commit in self.commits:
            self.ancestors[commit.id] = set(commit.parents).union(*(self.ancestors[parent] for parent in commit.parents))
        # The earliest day of each commit and of all that descend from it: none was made after those.
        self.bound = {commit.id: commit.day for commit in self.commits}
        for commit in self.commits:
            # A commit without a change of the records is not part of their history.
            if not commit.parents or commit.records != records[commit.parents[0]]:
                for ancestor in self.ancestors[commit.id]:
                    self.bound[ancestor] = min(self.bound[ancestor], commit.day)
        # All ids of a record.
        self.same = {}
        for commit in self.commits:
            for key, (_, fields) in commit.records.items():
                for old in re.findall(r"[a-z0-9-]+", fields.get("formerly", "")):
                    names = self.same.get(key, {key}) | self.same.get(old, {old})
                    self.same.update({name: names for name in names})

    def ids(self, key):
        return self.same.get(key, {key})

    def at(self, commit, key):
        """The fields of a record at a commit, under any of its ids."""
        for name in [key, *sorted(self.ids(key) - {key})]:
            if name in commit.records:
                return commit.records[name][1]
        return None

    def parents(self, commit):
        return [self.by_id[parent] for parent in commit.parents]

    def before(self, parent, key, field):
        """A field at a parent of a commit; if the record was removed by then, its last one."""
        found = self.at(parent, key)
        if found is None:
            earlier = (commit for commit in reversed(self.commits) if commit.id in self.ancestors[parent.id])
            found = next((self.at(commit, key) for commit in earlier if self.at(commit, key)), None)
        return field(found)

    def changes(self, key, field):
        """The commits at which a field has a value that no parent has, with that value and those of the parents."""
        for commit in self.commits:
            now = field(self.at(commit, key))
            before = [self.before(parent, key, field) for parent in self.parents(commit)]
            if now not in before and (before or now is not None):
                yield commit, now, before

    def is_later(self, change, written, date):
        """Whether a change came after a record that was written at some commits, with a date of its own.

        By ancestry, unless a rebase kept an author's date that is older; otherwise by dates.
        """
        if change.id in {commit.id for commit in written}:
            return False
        before = [commit for commit in written if commit.id in self.ancestors[change.id]]
        if before:
            for commit in before[:1]:
                # Git itself says so.
                git(self.repository, "merge-base", "--is-ancestor", commit.id, change.id)
            rebased = change.author != change.committer and change.author < min(commit.author for commit in before)
            if not rebased:
                return True
        return date is not None and (self.bound[change.id] if not before else change.day) > date

    def results(self, key):
        """The results of a record at the head."""
        return {name: fields for name, (kind, fields) in self.head.records.items()
                if kind == "results" and fields["of"] == key}

    def revisions(self, key):
        return [fields for kind, fields in self.head.records.values() if kind == "revisions" and fields["of"] == key]

    def written(self, key, field):
        return [commit for commit, now, _ in self.changes(key, field) if now is not None]

    def confirms(self, check, key):
        return getattr(self, check.replace("-", "_"))(key)

    def target_after_result(self, key):
        now = limit(self.at(self.head, key))
        recorded = {number(fields["to"]) for fields in self.revisions(key)}
        first = min((commit.day for commit in self.commits if self.at(commit, key)), default=None)
        for change, after, before in self.changes(key, limit):
            if after is None or after in recorded or (self.at(self.head, key) and now is None):
                continue
            for name, result in self.results(key).items():
                value = number(result.get("value", "999 m"))
                newly = value <= after and value <= now and all(old is None or value > old for old in before)
                # It is a result of this target since then.
                of_target = lambda fields: fields and fields["of"] in self.ids(key)
                written = [c for c, is_one, _ in self.changes(name, of_target) if is_one]
                appears = not any(old is not None for old in before) and change.day == first
                date = None if appears else result["date"]
                if newly and self.is_later(change, written, date):
                    return True
        return False

    def unrecorded_revision(self, key):
        kind, fields = self.head.records[key]
        if kind == "revisions":
            # A wrong `from`: the target was there before the revision.
            of = fields["of"]
            introduced = self.written(key, lambda fields: fields and 1)
            return any(self.at(parent, of) for commit in introduced for parent in self.parents(commit))
        now = limit(fields)
        revisions = sorted(self.revisions(key), key=lambda fields: fields["date"])
        if revisions and number(revisions[-1]["to"]) != now:
            return True
        if now in {number(fields["to"]) for fields in revisions}:
            return False
        met = [number(result["value"]) <= now for result in self.results(key).values() if "value" in result]
        changes = list(self.changes(key, limit))
        first = changes[0][0]
        for change, after, before in changes:
            old = [value for value in before if value is not None]
            if after is None or not old:
                continue
            days = (datetime.fromisoformat(change.day) - datetime.fromisoformat(first.day)).days
            results = [(name, result["date"]) for name, result in self.results(key).items()]
            depends = any(self.is_later(change, self.written(name, lambda f: f and 1), date) or
                          change in self.written(name, lambda f: f and 1) for name, date in results)
            if 0 <= days <= 3 and not depends:
                continue
            # Stricter than all others, and met.
            if now < min(limit_ for _, limit_, _ in changes if limit_ is not None and limit_ != now) and met and all(met):
                continue
            return True
        return False

    def rewritten_result(self, key):
        if self.head.records[key][0] != "results":
            # A result that was removed.
            for commit in self.commits:
                for name, (kind, fields) in commit.records.items():
                    gone = kind == "results" and fields["of"] in self.ids(key) and self.at(self.head, name) is None
                    if gone and commit.id in self.ancestors[self.head.id]:
                        return True
            return False
        fields = self.at(self.head, key)
        added = self.written(key, lambda fields: fields and 1)
        notes = {(self.at(commit, key) or {}).get("notes") for commit in added}
        if fields.get("notes") and fields["notes"] not in notes:
            explained = [commit for commit, now, _ in self.changes(key, lambda f: f and f.get("notes")) if now]
        else:
            explained = []
        for field in ("value", "outcome", "date", "of"):
            read = (lambda f: f and f.get("of")) if field == "of" else (lambda f: f and f.get(field))
            last = read(fields)
            firsts = {read(self.at(commit, key)) for commit in added}
            if firsts == {last} or (field == "of" and all(last in self.ids(first) for first in firsts if first)):
                continue
            for change, now, before in self.changes(key, read):
                if not any(old is not None for old in before):
                    continue
                if field == "value" and now and all(not old or ("±" not in old and number(old) == number(now)) for old in before):
                    continue
                if change.day in {commit.day for commit in added}:
                    continue
                noted = any(note is change or change.id in self.ancestors[note.id] for note in explained)
                if not noted:
                    return True
        return False

    def subject_fields(self, of):
        """The functions that give the parts of what a result is about, at a commit: id of the part -> what matters."""
        kind, fields = self.head.records.get(of, (None, None))
        if kind == "targets":
            of = fields["of"]
            kind = self.head.records.get(of, (None,))[0]
        if kind == "parts":
            return [of], False
        if kind == "systems":
            parts = {key for commit in self.commits for key, (kind, fields) in commit.records.items()
                     if kind == "parts" and fields["in"] == of}
            return sorted(parts), True
        return [], False

    def is_changed_since(self, of, written, date, dated):
        parts, is_system = self.subject_fields(of)
        for part in parts:
            read = (lambda f: f and mass(f)) if is_system else (lambda f: mass(f) if f else None)
            last = read(self.at(self.head, part))
            for change, now, before in self.changes(part, read):
                old = [value for value in before if value is not None]
                if not is_system and (now is None or not old):
                    continue
                if last in before and now is not None:
                    continue
                # A part that first appears by dates alone may have been there.
                by_date = date if old else None
                if self.is_later(change, written, by_date):
                    if not (dated and date > max(commit.day for commit in written) and change.day < date):
                        return True
            # A merge after it took the value back that was there before.
            changed = [change for change, now, _ in self.changes(part, read) if now == last]
            for commit in written:
                earlier = self.ancestors[commit.id]
                if read(self.at(commit, part)) != last and all(change.id in earlier for change in changed):
                    return True
        return False

    def stale_result(self, key):
        fields = self.at(self.head, key)
        written = self.written(key, lambda f: f and f["date"])
        written = [commit for commit in written if self.at(commit, key)["date"] == fields["date"]]
        return self.is_changed_since(fields["of"], written, fields["date"], True)

    def stale_analysis(self, key):
        fields = self.at(self.head, key)
        written = self.written(key, lambda f: f and f["finds"])
        written = [commit for commit in written if self.at(commit, key)["finds"] == fields["finds"]]
        of = re.match(r"\{(\S+):", fields["finds"]).group(1)
        return self.is_changed_since(of, written, max(commit.day for commit in written), False)


def number(text):
    return float(text.split()[0])


def limit(fields):
    return number(fields["at-most"]) if fields and "at-most" in fields else None


def mass(fields):
    return (re.search(r"mass: (\d+)", fields["amounts"]).group(1), fields["in"])


def records_of(text):
    """The records of a file, in the form that the generator writes."""
    records, kind = {}, None
    for line in text.splitlines():
        if not line.startswith(" "):
            kind = line.rstrip(":")
            continue
        key, body = re.match(r"  (\S+): \{(.*)\}$", line).groups()
        fields, depth, start = {}, 0, 0
        for at, char in enumerate(body + ","):
            depth += (char in "{[") - (char in "}]")
            if char == "," and depth == 0:
                name, _, value = body[start:at].strip().partition(": ")
                fields[name] = value
                start = at + 1
        records[key] = (kind, fields)
    return records


# ---- both ------------------------------------------------------------------------------------------------------------

def environment(folder):
    keep = {"PATH": os.environ["PATH"], "HOME": folder, "TZ": "UTC", "LC_ALL": "C.UTF-8"}
    return {**keep, "GIT_CONFIG_GLOBAL": "/dev/null", "GIT_CONFIG_NOSYSTEM": "1"}


def git(repository, *args, data=None):
    command = ["git", "-C", repository, *args]
    done = subprocess.run(command, input=data, capture_output=True, env=environment(repository), check=False)
    if done.returncode:
        raise RuntimeError(f"{command}: {done.stderr.decode()}")
    return done.stdout.decode()


def read_records(repository, names):
    """The records of every commit, with one process."""
    commits = git(repository, "rev-list", *names).split()
    wanted = [f"{commit}:{file}" for commit in commits for file in ("a.yaml", "b.yaml")]
    out = subprocess.run(["git", "-C", repository, "cat-file", "--batch"], input="\n".join(wanted).encode(),
                         capture_output=True, env=environment(repository), check=True).stdout
    records, at, known = {}, 0, {}
    for name in wanted:
        end = out.index(b"\n", at)
        blob, _, size = out[at:end].split()
        body = out[end + 1:end + 1 + int(size)]
        at = end + 2 + int(size)
        if blob not in known:
            known[blob] = records_of(body.decode())
        records.setdefault(name.partition(":")[0], {}).update(known[blob])
    return records


def judge(tierod, repository, name, history, records):
    """What is wrong with the findings of one history, and how many there are of each check."""
    command = [tierod, "check", "--rev", name, "--on", TODAY, "--format", "json"]
    done = subprocess.run(command, cwd=repository, capture_output=True, env=environment(repository), check=False)
    if done.returncode > 1:
        return [f"{name}: {done.stderr.decode()}"], Counter()
    findings = [f for f in json.loads(done.stdout)["findings"] if f["check"] in HISTORY]
    oracle = Oracle(repository, name, records)
    wrong, counts = [], Counter()
    for finding in findings:
        certain = finding["level"] in ("warning", "error")
        counts[finding["check"] if certain else "notes"] += 1
        if certain and not oracle.confirms(finding["check"], finding["record"]):
            wrong.append(f"{name}: not confirmed: {finding['check']} {finding['record']}: {finding['message']}")
    accused = {(f["check"], f["record"]) for f in findings if f["level"] in ("warning", "error")}
    for planted in history.planted:
        counts["planted"] += 1
        if planted not in accused:
            wrong.append(f"{name}: not found: {planted}")
    return wrong, counts


def main():
    tierod = os.path.abspath(sys.argv[1])
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 300
    first = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    histories = [(f"h{seed}", History(seed)) for seed in range(first, first + count)]
    with tempfile.TemporaryDirectory() as folder:
        repository = os.environ.get("KEEP", folder)
        git(repository, "init", "-q", "-b", "none")
        git(repository, "fast-import", "--quiet", data=stream(histories))
        records = read_records(repository, [name for name, _ in histories])
        with ThreadPoolExecutor(max_workers=max(2, os.cpu_count() or 2)) as pool:
            done = list(pool.map(lambda one: judge(tierod, repository, *one, records), histories))
    counts = sum((counts for _, counts in done), Counter())
    wrong = [line for lines, _ in done for line in lines]
    print(f"{count} histories: " + ", ".join(f"{number} {name}" for name, number in sorted(counts.items())))
    if wrong:
        print("\n".join(wrong))
        sys.exit(1)


if __name__ == "__main__":
    main()
