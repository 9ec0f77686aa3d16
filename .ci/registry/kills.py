"""Kill processes at random moments of every step that writes a registry, and say what was lost or left behind.

`python .ci/registry/kills.py --each 60 --seed 11` (about ten minutes on two idle cores).
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.registry.crash import killed_while_appending, killed_while_making
from tests.registry.killed import STEPS, killed


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=60)
    parser.add_argument("--seed", type=int, default=11)
    asked = parser.parse_args()
    kills, wrong = 0, list[str]()
    with tempfile.TemporaryDirectory() as folder:
        os.environ["LIMB_PATHWAY_WORKSTATION"] = str(Path(folder) / "workstation")
        for what in STEPS:
            found = killed(Path(folder) / what, what, asked.each, asked.seed)
            print(f"{what}: {found}", flush=True)
            kills += asked.each
            wrong += map(str, found["wrong"])  # type: ignore[arg-type]
        appended = killed_while_appending(str(Path(folder) / "append.db"), asked.each, asked.seed)
        print(f"append: {appended}", flush=True)
        made = killed_while_making(str(Path(folder) / "new.db"), asked.each, asked.seed)
        print(f"make: {len(made)} wrong", flush=True)
        kills += 2 * asked.each
        wrong += [*made, *(str(one) for name in ("faults", "lost", "halves") for one in appended[name])]  # type: ignore[attr-defined]
    print(f"{kills} killed, {len(wrong)} wrong")
    raise SystemExit(1 if wrong else 0)


if __name__ == "__main__":
    main()
