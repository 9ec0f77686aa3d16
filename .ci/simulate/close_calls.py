"""Count close calls among invented children.

python .ci/simulate/close_calls.py [--children 200] [--seed 7] [--processes 2]

Prints how many of those with a plan for length have a close call, and why.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Threads of the numerical library would take the other processes' cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(ROOT))

from pathway.protocol.load import load_protocol  # noqa: E402
from tests.courses.close_calls import Told, told  # noqa: E402

PROTOCOL = load_protocol()


def one(task: tuple[int, int]) -> Told | None:
    """Return what the plan of one child says of its first operation."""
    return told(PROTOCOL, *task)


def main() -> None:
    """Count and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--children", type=int, default=200)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    found: list[Told] = []
    tried = 0
    with ProcessPoolExecutor(asked.processes) as pool:
        while len(found) < asked.children:
            batch = [(asked.seed, number) for number in range(tried, tried + asked.children - len(found))]
            tried += len(batch)
            found += [item for item in pool.map(one, batch) if item is not None]
    close = [item for item in found if item.close]
    print(f"{len(close)} of {len(found)} children have a close call ({tried} were made up)")
    for why, count in Counter(why for item in close for why in set(item.why)).most_common():
        print(f"  {count} by {why}")
    weighing = sum(item.level == "a matter of weighing" for item in found)
    print(f"{weighing} of {len(found)} are a matter of weighing")


if __name__ == "__main__":
    main()
