"""Processes that append to the same children at a time, run as a program of its own.

`python -m tests.registry.writers ADDRESS PROCESSES EACH` prints what was saved and which conflicts were told.
"""

from __future__ import annotations

import json
import os
import sys
from functools import partial

import numpy

from pathway.registry.journal.entry import Saved
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.store import open_registry
from tests.registry.forked import forked
from tests.registry.keeping import WHEN, keep, wish

NAMES = tuple(f"maple-{number:02}" for number in range(20))


def write(address: str, number: int, each: int) -> dict[str, object]:
    """Append `each` entries, reading the head anew after every conflict; return what was saved and told."""
    dice = numpy.random.default_rng(number)
    saved: list[tuple[str, int, str]] = []
    conflicts = 0
    with open_registry(address) as registry:
        for turn in range(each):
            name, token = str(dice.choice(NAMES)), f"{number}.{turn}"
            entry, seen = decision_entry(wish(token), f"writer {number}"), registry.head(name)
            while not isinstance(done := registry.append(name, entry, seen=seen, when=WHEN), Saved):
                conflicts += 1
                assert done.since, "a conflict names what was saved since"
                seen = done.head
            saved.append((name, done.head.count, token))
    return {"saved": saved, "conflicts": conflicts}


def main(address: str, processes: int, each: int) -> list[dict[str, object]]:
    """Return what each of the processes says."""
    with open_registry(address, create=True) as registry:
        for name in NAMES:
            keep(registry, name)
    writers = []
    for number in range(processes):
        hears, says = os.pipe()
        writers.append((forked(partial(_say, says, address, number, each)), hears))
        os.close(says)
    told, failed = [], []
    for number, (child, hears) in enumerate(writers):
        with os.fdopen(hears) as heard:
            told.append(heard.read())
        if os.waitpid(child, 0)[1]:
            failed.append(str(number))
    if failed:
        raise SystemExit(f"writers that failed (each traceback stands above): {', '.join(failed)}")
    return [json.loads(said) for said in told]


def _say(says: int, address: str, number: int, each: int) -> None:
    with os.fdopen(says, "w") as said:
        json.dump(write(address, number, each), said)


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))))
