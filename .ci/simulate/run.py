"""Live through invented children and compare how they end with the chance stated on the first day.

python .ci/simulate/run.py [--children 2500] [--seed 1] [--processes 2] [--out tests/courses/simulation.toml]

Writes counts by tenth of the stated chance, breaches of limits, and how the figures were made.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Threads of the numerical library would take the other processes' cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402
import tomlkit  # noqa: E402

from pathway.protocol.load import load_protocol  # noqa: E402
from tests.courses.childhood import Lived, live  # noqa: E402

PROTOCOL = load_protocol()
TENTHS = 10
GOALS_MM = (10, 20)


def one(task: tuple[int, int]) -> Lived | None:
    """Return one child of a run."""
    seed, number = task
    return live(PROTOCOL, seed, number)


def lived_through(children: int, seed: int, processes: int, each: bool) -> list[Lived]:
    """Return the first so many children who are recommended a lengthening road, with a progress line."""
    found: list[Lived] = []
    begun, tried = time.monotonic(), 0
    with ProcessPoolExecutor(processes) as pool:
        while len(found) < children:
            batch = [(seed, number) for number in range(tried, tried + max(children - len(found), processes))]
            tried += len(batch)
            for item in pool.map(one, batch, chunksize=4):
                found += [item] if item is not None else []
                if each and item is not None:
                    print(item, flush=True)
                seconds = (time.monotonic() - begun) / max(len(found), 1)
                print(
                    f"\r{len(found)} of {children} children, {seconds:.2f} s each", end="", file=sys.stderr, flush=True
                )
    print(file=sys.stderr)
    return found[:children]


def rows(found: list[Lived], goal_mm: int) -> list[dict[str, float | int]]:
    """Return one row per tenth of the stated chance: children, mean stated, share observed, its standard error."""
    stated = np.array([getattr(item, f"chance_{goal_mm}") for item in found])
    held = np.abs([item.residual_mm for item in found]) <= goal_mm
    result: list[dict[str, float | int]] = []
    for tenth in range(TENTHS):
        inside = np.minimum((TENTHS * stated).astype(int), TENTHS - 1) == tenth
        number = int(inside.sum())
        if number:
            mean = float(stated[inside].mean())
            error = float(np.sqrt((stated[inside] * (1 - stated[inside])).sum())) / number
            observed = float(held[inside].mean())
            result.append(
                {
                    "tenth": tenth,
                    "children": number,
                    "stated": round(mean, 4),
                    "observed": round(observed, 4),
                    "standard_error": round(max(error, 1e-4), 4),
                }
            )
    return result


def document(found: list[Lived], seed: int) -> tomlkit.TOMLDocument:
    """Return the figures as a file."""
    text = tomlkit.document()
    text.add(tomlkit.comment("How invented children end, against the chance stated on the first day."))
    text.add(tomlkit.comment("Made by .ci/simulate/run.py; do not edit."))
    text["made_with"] = f"python .ci/simulate/run.py --children {len(found)} --seed {seed}"
    text["rules_version"] = str(PROTOCOL.version)
    text["children"] = len(found)
    text["girls"] = sum(item.sex == "girl" for item in found)
    ages, predicted = [item.age_years for item in found], [item.predicted_mm for item in found]
    text["ages_years"] = [min(ages), max(ages)]
    text["predicted_mm"] = [round(float(q), 1) for q in np.quantile(predicted, [0.05, 0.5, 0.95])]
    text["amounts_over_their_limit"] = sum(item.breaches for item in found)
    # The last plan itself leaves more than the accepted difference: no rule asks for another operation.
    accepted = PROTOCOL.number("goal_accepted_mm")
    text["left_by_the_last_plan"] = sum(abs(item.known_left_mm) > accepted for item in found)
    text["lengthenings_foreseen"] = round(float(np.mean([item.foreseen_lengthenings for item in found])), 3)
    text["lengthenings_done"] = round(float(np.mean([item.lengthenings for item in found])), 3)
    for goal in GOALS_MM:
        held = [abs(item.residual_mm) <= goal for item in found]
        text[f"stated_within_{goal}_mm"] = round(float(np.mean([getattr(i, f"chance_{goal}") for i in found])), 4)
        text[f"as_planned_within_{goal}_mm"] = round(
            float(np.mean([getattr(i, f"as_planned_{goal}") for i in found])), 4
        )
        text[f"observed_within_{goal}_mm"] = round(float(np.mean(held)), 4)
    for goal in GOALS_MM:
        text[f"within_{goal}_mm"] = rows(found, goal)
    return text


def main() -> None:
    """Run and write the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--children", type=int, default=2500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--out", type=Path)
    parser.add_argument("--each", action="store_true", help="print every child")
    asked = parser.parse_args()
    found = lived_through(asked.children, asked.seed, asked.processes, asked.each)
    text = tomlkit.dumps(document(found, asked.seed))
    if asked.out:
        asked.out.parent.mkdir(parents=True, exist_ok=True)
        asked.out.write_text(text, encoding="utf-8")
    else:
        print(text)


if __name__ == "__main__":
    main()
