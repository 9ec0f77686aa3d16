"""Children that append and are killed at random moments, run as a program of its own.

`python -m tests.registry.crash ADDRESS ROUNDS SEED` prints what was found as JSON.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from functools import partial
from pathlib import Path

import numpy

from pathway.registry.journal.entry import Saved
from pathway.registry.journal.payloads import decision_entry, visit_entry
from pathway.registry.store import open_registry
from pathway.registry.verifying import verify
from tests.registry.forked import forked
from tests.registry.keeping import LATER_VISIT, WHEN, keep, wish

NAMES = ("maple-01", "maple-02", "maple-03")
LONGEST_SECONDS = 0.03
AT_ONCE = 5
"""One round in so many is killed without waiting until the child has saved something."""


def append_for_ever(address: str, says: int, round_number: int) -> None:
    """Append to the children in turn, each time a visit or two wishes at once; report what was saved."""
    with open_registry(address) as registry:
        for number in range(10**6):
            name = NAMES[number % len(NAMES)]
            wishes = tuple(decision_entry(wish(f"{round_number}.{number}.{half}"), "a") for half in "ab")
            saved = registry.append(name, wishes, seen=registry.head(name), when=WHEN)
            if isinstance(saved, Saved):
                for entry in saved.entries:
                    os.write(says, f"{name} {entry.sequence} {entry.sha256}\n".encode())


def one_round(address: str, seconds: float, round_number: int) -> str:
    """Fork a child that appends, kill it some seconds after it begins, and return what it reported."""
    hears, says = os.pipe()
    child = forked(partial(append_for_ever, address, says, round_number))
    os.close(says)
    begun = b"" if round_number % AT_ONCE == 0 else os.read(hears, 1)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    status = os.waitpid(child, 0)[1]
    assert os.WIFSIGNALED(status), f"the child ended by itself ({status}); its traceback stands above"
    with os.fdopen(hears) as heard:
        return begun.decode() + heard.read()


def killed_while_appending(address: str, rounds: int, seed: int) -> dict[str, object]:
    """Return how many were killed, what was reported, and every fault, lost entry and half of a pair found."""
    dice = numpy.random.default_rng(seed)
    with open_registry(address, create=True) as registry:
        for name in NAMES:
            keep(registry, name, visit_entry(LATER_VISIT, "a"))
    reported: dict[tuple[str, int], str] = {}
    faults: list[str] = []
    lost: list[str] = []
    halves: list[str] = []
    silent = 0
    for number in range(rounds):
        said = one_round(address, float(dice.uniform(0, LONGEST_SECONDS)), number)
        lines = [line.split() for line in said.splitlines()]
        silent += not lines
        reported.update({(name, int(sequence)): sha256 for name, sequence, sha256 in lines})
        with open_registry(address) as registry:
            faults += [fault.sentence for fault in verify(registry).faults]
            kept = {(entry.child, entry.sequence): entry.sha256 for name in NAMES for entry in registry.entries(name)}
        lost += [f"round {number}: {key}" for key, sha256 in reported.items() if kept.get(key) != sha256]
        halves += [f"round {number}: {name}" for name in NAMES if sum(key[0] == name for key in kept) % 2]
    return {
        "killed": rounds,
        "reported": len(reported),
        "kept": len(kept),
        "silent": silent,
        "faults": faults,
        "lost": lost,
        "halves": halves,
    }


def killed_while_making(address: str, rounds: int, seed: int) -> list[str]:
    """Return what was left, other than nothing or a sound registry, by children killed while making one."""
    dice = numpy.random.default_rng(seed)
    wrong = []
    for number in range(rounds):
        child = forked(lambda: open_registry(address, create=True).close())
        time.sleep(float(dice.uniform(0, LONGEST_SECONDS)))
        os.kill(child, signal.SIGKILL)
        status = os.waitpid(child, 0)[1]
        if os.WIFEXITED(status) and os.WEXITSTATUS(status):
            wrong.append(f"round {number}: the child failed by itself; its traceback is on standard error")
        if Path(address).exists():
            with open_registry(address) as registry:
                wrong += [f"round {number}: {fault.sentence}" for fault in verify(registry).faults]
            Path(address).unlink()
    return wrong


if __name__ == "__main__":
    where, rounds, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    found = killed_while_appending(where, rounds, seed)
    if "://" not in where:
        found["half_made"] = killed_while_making(where + ".new", 40, seed)
    print(json.dumps(found))
