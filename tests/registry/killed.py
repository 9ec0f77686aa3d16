"""Processes that are killed while they import, plan, accept, back up, restore, erase or rehearse.

`python -m tests.registry.killed FOLDER ROUNDS SEED [WHAT…]` prints as JSON how many were killed at each and what was
found wrong afterwards.
"""

from __future__ import annotations

import datetime
import json
import os
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy

from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.registry.address import drafts_in
from pathway.registry.copies import back_up, restore
from pathway.registry.drilling import drill
from pathway.registry.erasure import erase
from pathway.registry.exchange import import_record
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.planning import accept
from pathway.registry.store import Registry, open_registry
from pathway.registry.sweeping import sweep
from pathway.registry.verifying import seen_before, verify
from tests.registry.forked import forked
from tests.registry.keeping import WHEN, keep, keep_four, named, wish
from tests.sample import ON

CHILD, SECRET = "maple-01", "a very telling remark"
IN_A_BATCH, BATCHES = 20, 3
SHORTEST_SECONDS = 0.01


@dataclass(frozen=True)
class Round:
    """One round in a folder: its number, and a plan to accept."""

    folder: Path
    number: int
    plan: Plan | None = None

    @property
    def address(self) -> str:
        return str(self.folder / "registry.db")

    @property
    def name(self) -> str:
        return f"oak-{self.number:04}"

    def new(self, what: str) -> Path:
        return self.folder / f"{what}-{self.number}.db"

    def opened(self) -> Registry:
        return open_registry(self.address)


def _import(one: Round) -> None:
    with one.opened() as registry:
        import_record(registry, named(one.name), who="a", when=WHEN)


def _imported(one: Round, registry: Registry) -> list[str]:
    return [] if len(registry.entries(one.name)) in (0, 1) else ["half of an import"]


def _plans(one: Round, batch: int) -> list[StoredPlan]:
    names = [f"elm-{number:02}" for number in range(IN_A_BATCH * batch, IN_A_BATCH * (batch + 1))]
    with one.opened() as registry:
        head = registry.head(CHILD)
    return [StoredPlan(name, head, str(one.number), "d" * 64, ON, {"next": ""}, "{}") for name in names]


def _replan(one: Round) -> None:
    for batch in range(BATCHES):
        with one.opened() as registry:
            registry.store_plans(_plans(one, batch))


def _replanned(one: Round, registry: Registry) -> list[str]:
    made = [plan.child for plan in registry.stored_plans() if plan.protocol_version == str(one.number)]
    return [] if len(made) % IN_A_BATCH == 0 else ["half of a batch of plans"]


def _accept(one: Round) -> None:
    assert one.plan is not None
    with one.opened() as registry:
        accept(registry, CHILD, one.plan, registry.head(CHILD), who="a", when=WHEN, choice=wish(str(one.number)))


def _accepted(one: Round, registry: Registry) -> list[str]:
    kinds = [entry.kind for entry in registry.entries(CHILD)]
    return [] if kinds.count("revision") + 2 == kinds.count("decision") else ["half of an accepted plan"]


def _back_up(one: Round) -> None:
    with one.opened() as registry:
        back_up(registry, one.new("backup"), who="a", when=WHEN)


def _sound_file(file: Path) -> list[str]:
    if not file.exists():
        return []
    with open_registry(str(file)) as copy:
        return [fault.sentence for fault in verify(copy).faults]


def _backed_up(one: Round, registry: Registry) -> list[str]:
    return _sound_file(one.new("backup"))


def _restore(one: Round) -> None:
    with open_registry(str(one.folder / "kept.db")) as copy:
        restore(copy, str(one.new("restored")), None)


def _restored(one: Round, registry: Registry) -> list[str]:
    return _sound_file(one.new("restored"))


def _erase(one: Round) -> None:
    with one.opened() as registry:
        keep(registry, one.name, decision_entry(wish(SECRET), "nurse"))
        erase(registry, one.name, reason="asked", who="a", when=WHEN)


def _erased(one: Round, registry: Registry) -> list[str]:
    entries = registry.entries(one.name)
    if not entries:
        return []
    if entries[-1].kind != "erasure":
        erase(registry, one.name, reason="asked", who="a", when=WHEN)
    elif any(entry.payload is not None for entry in entries[:-1]):
        return ["half of an erasure"]
    swept = sweep(registry, who="a", when=WHEN)
    there = b"".join(path.read_bytes() for path in one.folder.glob("registry.db*"))
    return [*swept.left, *(["erased text in the file"] if SECRET.encode() in there else [])]


def _drill(one: Round) -> None:
    with one.opened() as registry:
        drill(registry, one.folder / "kept.db", lambda task: (task.child, {}), sample=2, who="a", when=WHEN)


def _drilled(one: Round, registry: Registry) -> list[str]:
    return [f"a rehearsal that found faults: {act.body}" for act in registry.acts("drill") if not act.said["sound"]]


STEPS: dict[str, tuple[Callable[[Round], None], Callable[[Round, Registry], list[str]]]] = {
    "import": (_import, _imported),
    "replan": (_replan, _replanned),
    "accept": (_accept, _accepted),
    "backup": (_back_up, _backed_up),
    "restore": (_restore, _restored),
    "erase": (_erase, _erased),
    "drill": (_drill, _drilled),
}


def killed(folder: Path, what: str, rounds: int, seed: int) -> dict[str, object]:
    """Return how many processes were killed in the middle of a step, and what was wrong after any of them."""
    dice = numpy.random.default_rng(seed)
    folder.mkdir(parents=True)
    act, check = STEPS[what]
    plan = _a_plan() if what == "accept" else None
    with open_registry(str(folder / "registry.db"), create=True) as registry:
        keep_four(registry, CHILD)
        back_up(registry, folder / "kept.db")
    _seconds(lambda: act(Round(folder, 0, plan)))  # the first one warms files up and writes the key down
    longest = _seconds(lambda: act(Round(folder, 9999, plan)))
    wrong: list[str] = []
    caught = 0
    for number in range(1, rounds + 1):
        one = Round(folder, number, plan)
        child = forked(lambda one=one: act(one))  # type: ignore[misc]
        time.sleep(float(dice.uniform(0, longest)))
        os.kill(child, signal.SIGKILL)
        status = os.waitpid(child, 0)[1]
        caught += os.WIFSIGNALED(status)
        if os.WIFEXITED(status) and os.WEXITSTATUS(status):
            wrong.append(f"round {number}: the child failed by itself; its traceback is on standard error")
        wrong += [f"round {number}: {said}" for said in _after(one, check)]
    return {"killed": rounds, "in the middle": caught, "wrong": wrong}


def _after(one: Round, check: Callable[[Round, Registry], list[str]]) -> list[str]:
    """Return what is wrong once a process was killed: nothing of it must be left that a sweep does not remove."""
    with one.opened() as registry:
        wrong = check(one, registry)
        swept = sweep(registry, who="a", when=WHEN)
        left = [str(path) for path in one.folder.iterdir() if ".new" in path.name]
        wrong += [f"a draft that is left: {name}" for name in (*left, *map(str, drafts_in(one.folder)))]
        found = verify(registry, roots=seen_before(registry))
        return [*wrong, *swept.left, *(fault.sentence for fault in found.faults)]


def _seconds(act: Callable[[], None]) -> float:
    """Return how long a step takes in a process of its own."""
    begun = time.perf_counter()
    os.waitpid(forked(act), 0)
    return max(SHORTEST_SECONDS, time.perf_counter() - begun)


def _a_plan() -> Plan:
    on = datetime.date(ON.year, ON.month, ON.day)
    return make_plan(Question(named(CHILD), load_protocol(), on), compared=False)


if __name__ == "__main__":
    folder, rounds, seed, *named_steps = sys.argv[1:]
    steps = named_steps or list(STEPS)
    print(json.dumps({what: killed(Path(folder) / what, what, int(rounds), int(seed)) for what in steps}))
