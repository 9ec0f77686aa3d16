"""Measure what a save and a verification take in a registry of so many entries.

`python .ci/registry/speed.py --entries 10000` prints both, on a file in a folder of its own.
"""

from __future__ import annotations

import argparse
import datetime
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from pathway.registry.journal.entry import Saved
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.store import Registry, open_registry
from pathway.registry.verifying import verify
from tests.registry.keeping import WHEN, keep, wish

EACH = 20


def filled(registry: Registry, entries: int) -> list[float]:
    """Save children of twenty entries each until there are so many; return the seconds of every save."""
    took = []
    for number in range(entries // EACH):
        name = f"maple-{number:05}"
        head, when = keep(registry, name), WHEN
        for turn in range(EACH - 1):
            when += datetime.timedelta(minutes=1)
            begun = time.perf_counter()
            saved = registry.append(name, decision_entry(wish(f"{number}.{turn}"), "a"), seen=head, when=when)
            took.append(time.perf_counter() - begun)
            assert isinstance(saved, Saved)
            head = saved.head
    return took


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entries", type=int, default=10_000)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["LIMB_PATHWAY_WORKSTATION"] = str(Path(folder) / "workstation")
        with open_registry(str(Path(folder) / "registry.db"), create=True) as registry:
            took = filled(registry, asked.entries)
            for what, some in (("first", took[:500]), ("last", took[-500:])):
                print(
                    f"save, {what} 500: median {1000 * statistics.median(some):.2f} ms, longest {1000 * max(some):.1f}"
                )
            begun = time.perf_counter()
            found = verify(registry)
            print(f"verify, {found.entries} entries: {time.perf_counter() - begun:.2f} s, {len(found.faults)} faults")


if __name__ == "__main__":
    main()
