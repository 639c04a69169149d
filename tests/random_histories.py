"""Random histories of records for `history_oracle.py`, as `git fast-import` reads them. Each is made from its number alone."""
import random
import re
from datetime import datetime, timedelta, timezone

START = datetime(2026, 10, 1, 9, tzinfo=timezone.utc)
SETTINGS = """season: 2027
stages: {concept: 2026-10-01, design: 2026-10-02, build: 2027-08-01}
growth: {mass: {estimated: 20 %, weighed: 0 %}}
"""


def text_of(state):
    """The record files of a state: id -> (kind, fields, file)."""
    files = {"a.yaml": {}, "b.yaml": {}}
    for key, (kind, fields, file) in state.items():
        files[file].setdefault(kind, {})[key] = fields
    out = {}
    for file, kinds in files.items():
        lines = []
        for kind in sorted(kinds):
            lines.append(f"{kind}:")
            lines += [f"  {key}: {{{', '.join(f'{k}: {v}' for k, v in fields.items())}}}" for key, fields in kinds[kind].items()]
        out[file] = "\n".join(lines) + "\n"
    return out


def merged(base, ours, theirs):
    """Three-way merge by record; where both sides changed, ours."""
    out = {}
    for key in list(ours) + [key for key in theirs if key not in ours]:
        mine, other, old = ours.get(key), theirs.get(key), base.get(key)
        chosen = other if mine == old else mine
        if chosen is not None:
            out[key] = chosen
    return out


class History:
    """One random history; `commits` are (parents, state, author time, committer time)."""

    def __init__(self, seed):
        self.random = random.Random(seed)
        self.commits = []
        self.now = START
        self.planted = []
        self.number = 0
        state = {"suspension": ("systems", {"in": "car"}, "a.yaml")}
        if self.random.random() < 0.5:
            # Records that are imported in one commit, which can have everything.
            for _ in range(self.random.randrange(4, 12)):
                self.edit(state)
        self.main = self.commit([], state)
        self.plants = self.random.sample(PLANTS, self.random.randrange(0, 3))
        steps = [self.step_main, self.step_main, self.step_branch]
        rounds = self.random.randrange(4, 10)
        for at in range(rounds):
            self.random.choice(steps)()
            if at == rounds // 2:
                for plant in self.plants:
                    plant(self)

    def pass_days(self, least, most):
        self.now += timedelta(days=self.random.randint(least, most), minutes=self.random.randint(1, 300))

    def commit(self, parents, state, author=None, exact=False):
        author = author or self.now
        committer = self.now
        if not exact and self.random.random() < 0.1:
            # A wrong clock.
            # After a planted case none is behind, because then dates prove nothing.
            days = self.random.choice([3] if self.planted else [-9, -4, -1, 3])
            author = committer = self.now + timedelta(days=days)
        self.commits.append((parents, dict(state), author, committer))
        return len(self.commits) - 1

    def state(self, commit):
        return dict(self.commits[commit][1])

    def step_main(self):
        self.pass_days(0, 6)
        state = self.state(self.main)
        for _ in range(self.random.choice([1, 1, 1, 2, 5])):
            self.edit(state)
        self.main = self.commit([self.main], state)

    def step_branch(self):
        """A branch of some commits, while main goes on, that is merged, squashed, or rebased."""
        fork, tip = self.main, self.main
        for _ in range(self.random.randrange(1, 4)):
            self.pass_days(0, 4)
            state = self.state(tip)
            self.edit(state)
            tip = self.commit([tip], state)
            if self.random.random() < 0.5:
                self.step_main()
            if self.random.random() < 0.15 and self.main != fork:
                # Main is merged into the branch.
                self.pass_days(0, 1)
                tip = self.commit([tip, self.main], merged(self.state(fork), self.state(tip), self.state(self.main)))
                fork = self.main
        self.pass_days(0, 4)
        how = self.random.choice(["merge", "merge", "squash", "rebase"])
        if how == "rebase" and any(len(self.commits[c][0]) > 1 for c in self.chain(fork, tip)):
            how = "squash"
        ours, theirs = self.state(self.main), self.state(tip)
        if how == "merge":
            self.main = self.commit([self.main, tip], merged(self.state(fork), ours, theirs), exact=True)
        elif how == "squash":
            self.main = self.commit([self.main], merged(self.state(fork), ours, theirs), exact=True)
        else:
            for commit in self.chain(fork, tip):
                parents, state, author, _ = self.commits[commit]
                rebased = merged(self.state(parents[0]), self.state(self.main), state)
                self.main = self.commit([self.main], rebased, author, exact=True)

    def chain(self, fork, tip):
        """The commits by first parents after the fork, the oldest first."""
        found = []
        while tip > fork:
            found.append(tip)
            tip = self.commits[tip][0][0]
        return found[::-1]

    def pick(self, state, kind):
        own = [key for key, record in state.items() if record[0] == kind and not key.startswith("planted")]
        return self.random.choice(own) if own else None

    def new_id(self, letter):
        self.number += 1
        return f"{letter}{self.number}"

    def edit(self, state):
        self.random.choice(EDITS)(self, state)

    def day(self, back=0):
        return (self.now - timedelta(days=back)).date().isoformat()

    def change(self, state, key, **fields):
        kind, old, file = state[key]
        new = {**old, **{name.replace("_", "-"): value for name, value in fields.items()}}
        state[key] = (kind, {name: value for name, value in new.items() if value is not None}, file)


def add_target(h, state):
    of = h.random.choice(["car", "suspension", h.pick(state, "parts") or "car"])
    state[h.new_id("t")] = ("targets", {"of": of, "at-most": f"{h.random.randint(10, 20)} m"}, h.random.choice(["a.yaml", "b.yaml"]))


def add_part(h, state):
    fields = {"in": "suspension", "amounts": f"{{mass: {h.random.randint(1, 9)} kg, cost: 60 EUR}}"}
    state[h.new_id("p")] = ("parts", fields, h.random.choice(["a.yaml", "b.yaml"]))


def add_result(h, state):
    kind = h.random.choice(["targets", "targets", "parts"])
    of = h.pick(state, kind)
    if not of:
        return
    value = {"value": f"{h.random.randint(8, 22)} m"} if kind == "targets" else {"outcome": "pass"}
    state[h.new_id("r")] = ("results", {"of": of, **value, "date": h.day(h.random.choice([0, 0, 1, 5, 20, -3]))}, "b.yaml")


def add_analysis(h, state):
    target = h.pick(state, "targets")
    if target:
        state[h.new_id("n")] = ("analyses", {"finds": f"{{{target}: {h.random.randint(8, 22)} m}}"}, "a.yaml")


def change_limit(h, state):
    target = h.pick(state, "targets")
    if target:
        before = state[target][1]["at-most"]
        now = f"{h.random.randint(10, 20)} m"
        h.change(state, target, at_most=now)
        if h.random.random() < 0.3 and now != before:
            fields = {"of": target, "from": before, "to": now, "date": h.day(), "agreed-by": "lead", "reason": "Agreed."}
            state[h.new_id("v")] = ("revisions", fields, "a.yaml")


def change_part(h, state):
    part = h.pick(state, "parts")
    if part:
        mass, cost = re.findall(r"\d+", state[part][1]["amounts"])
        if h.random.random() < 0.3:
            cost = h.random.randint(50, 70)
        else:
            mass = h.random.randint(1, 9)
        h.change(state, part, amounts=f"{{mass: {mass} kg, cost: {cost} EUR}}")


def change_result(h, state):
    result = h.pick(state, "results")
    if not result:
        return
    kind = h.random.choice(["value", "value", "date", "notes", "uncertainty"])
    value = state[result][1].get("value")
    if kind == "value" and value:
        h.change(state, result, value=f"{h.random.randint(8, 22)} m")
    elif kind == "uncertainty" and value and "±" not in value:
        h.change(state, result, value=f"{value} ± 1 m")
    elif kind == "date":
        h.change(state, result, date=h.day(h.random.randint(0, 9)))
    elif kind == "notes":
        h.change(state, result, notes=f"Reason {h.random.randint(1, 99)}.")


def change_analysis(h, state):
    analysis = h.pick(state, "analyses")
    if analysis:
        target = re.match(r"\{(\S+):", state[analysis][1]["finds"]).group(1)
        h.change(state, analysis, finds=f"{{{target}: {h.random.randint(8, 22)} m}}")


def rename(h, state):
    kind = h.random.choice(["targets", "parts", "results"])
    old = h.pick(state, kind)
    if not old:
        return
    new = h.new_id(kind[0])
    record = state.pop(old)
    state[new] = record
    if h.random.random() < 0.5:
        h.change(state, new, formerly=f"[{old}]")
    for key in list(state):
        fields = state[key][1]
        if fields.get("of") == old:
            h.change(state, key, of=new)
        if "finds" in fields and fields["finds"].startswith(f"{{{old}:"):
            h.change(state, key, finds=fields["finds"].replace(f"{{{old}:", f"{{{new}:"))


def move(h, state):
    key = h.random.choice([key for key in state])
    kind, fields, file = state[key]
    state[key] = (kind, fields, "b.yaml" if file == "a.yaml" else "a.yaml")


def remove(h, state):
    key = h.pick(state, h.random.choice(["results", "parts"]))
    if key:
        del state[key]


EDITS = [add_target, add_part, add_result, add_result, add_analysis, change_limit, change_limit, change_part, change_part,
         change_result, change_analysis, rename, move, remove]


def planted_commit(h, days, on_branch=False, **records):
    """A commit with certain dates; on a branch that is merged at once, if asked for."""
    h.now = max([h.now] + [commit[3] for commit in h.commits]) + timedelta(days=days)
    state = h.state(h.main)
    state.update({f"planted-{key}": record for key, record in records.items()})
    commit = h.commit([h.main], state, exact=True)
    if on_branch:
        h.now += timedelta(days=1)
        commit = h.commit([h.main, commit], state, exact=True)
    h.main = commit


def target(limit):
    return ("targets", {"of": "car", "at-most": f"{limit} m"}, "a.yaml")


def plant_limit_after_result(h):
    result = ("results", {"of": "planted-t", "value": "11 m", "date": "DATE"}, "b.yaml")
    planted_commit(h, 1, t=target(10))
    h.now += timedelta(days=8)
    result[1]["date"] = h.day()
    branch = h.random.random() < 0.5
    if h.random.random() < 0.5:
        planted_commit(h, 0, r=result)
        planted_commit(h, 3, branch, t=target(12))
    else:
        # The limit changes before the result is committed, but after its date.
        planted_commit(h, 6, branch, t=target(12))
        planted_commit(h, 3, r=result)
    h.planted.append(("target-after-result", "planted-t"))


def plant_rewritten(h):
    result = lambda value, date: ("results", {"of": "planted-w", "value": f"{value} m", "date": date}, "b.yaml")
    planted_commit(h, 1, w=target(20))
    planted_commit(h, 8, x=result(11, h.day()))
    planted_commit(h, 3, h.random.random() < 0.5, x=result(9, h.state(h.main)["planted-x"][1]["date"]))
    h.planted.append(("rewritten-result", "planted-x"))


def plant_stale(h):
    part = lambda mass: ("parts", {"in": "car", "amounts": f"{{mass: {mass} kg}}"}, "a.yaml")
    planted_commit(h, 1, p=part(3))
    h.now += timedelta(days=8)
    tested = ("results", {"of": "planted-p", "outcome": "pass", "date": h.day()}, "b.yaml")
    branch = h.random.random() < 0.5
    if h.random.random() < 0.5:
        planted_commit(h, 0, s=tested)
        planted_commit(h, 3, branch, p=part(2))
    else:
        planted_commit(h, 3, branch, p=part(2))
        planted_commit(h, 6, s=tested)
    h.planted.append(("stale-result", "planted-s"))


def plant_unrecorded(h):
    planted_commit(h, 1, u=target(10))
    planted_commit(h, 12, h.random.random() < 0.5, u=target(13))
    h.planted.append(("unrecorded-revision", "planted-u"))


def plant_stale_analysis(h):
    part = lambda mass: ("parts", {"in": "car", "amounts": f"{{mass: {mass} kg}}"}, "a.yaml")
    limit = ("targets", {"of": "planted-q", "at-most": "20 m"}, "a.yaml")
    planted_commit(h, 1, q=part(3), k=limit, n=("analyses", {"finds": "{planted-k: 9 m}"}, "a.yaml"))
    planted_commit(h, 6, h.random.random() < 0.5, q=part(2))
    h.planted.append(("stale-analysis", "planted-n"))


PLANTS = [plant_limit_after_result, plant_rewritten, plant_stale, plant_unrecorded, plant_stale_analysis]


def stream(histories):
    """All histories, as `git fast-import` reads them."""
    out, mark = [], 0
    for name, history in histories:
        first = mark + 1
        for parents, state, author, committer in history.commits:
            mark += 1
            out.append(f"commit refs/heads/work\nmark :{mark}\n")
            for who, when in (("author", author), ("committer", committer)):
                out.append(f"{who} T <t@example.org> {int(when.timestamp())} +0000\n")
            out.append("data 1\nx\n")
            for at, parent in enumerate(parents):
                out.append(f"{'from' if at == 0 else 'merge'} :{first + parent}\n")
            out.append("deleteall\n")
            for path, content in [("tierod.yaml", SETTINGS), *text_of(state).items()]:
                data = content.encode()
                out.append(f"M 100644 inline {path}\ndata {len(data)}\n{content}\n")
        out.append(f"reset refs/heads/{name}\nfrom :{first + history.main}\n\n")
        # The next history has another root.
        out.append("reset refs/heads/work\n\n")
    return "".join(out).encode()
