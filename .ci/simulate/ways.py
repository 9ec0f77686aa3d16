"""Treat the same invented lives in several ways and compare what becomes of them.

python .ci/simulate/ways.py [--children 400] [--lives 5] [--seed 7] [--processes 2] [--out FILE.toml]

Each child has so many lives, one in every one of the ways; the one who knows how the child will grow treats the first
life of each. Writes means, their standard errors and those of the differences to the policy, counted by children.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
# Threads of the numerical library would take the other processes' cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402
import tomlkit  # noqa: E402

from pathway.protocol.load import load_protocol  # noqa: E402
from tests.courses.many import asked, many, written  # noqa: E402
from tests.courses.policy_lives import WAYS, Ended, lived, patient  # noqa: E402

PROTOCOL = load_protocol()
POLICY, FORESIGHT = "policy", "foresight"
FORETOLD = ("cost", "planned", "unplanned", "harm", "device_months", "months_over")


class Compared(NamedTuple):
    """One child: its number, whether both bones are short, what the policy `foretold`, its lives by way."""

    number: int
    two_bones: bool
    foretold: dict[str, float]
    ended: dict[str, list[Ended]]
    breaches: dict[str, list[str]]


def one(task: tuple[int, int, int]) -> Compared | None:
    """Return one child of a run."""
    seed, number, lives = task
    child = patient(PROTOCOL, seed, number)
    if child is None:
        return None
    ended: dict[str, list[Ended]] = {}
    breaches: dict[str, list[str]] = {}
    for way in WAYS:
        told = [lived(child, life, way) for life in range(1 if way == FORESIGHT else lives)]
        ended[way] = [life.ended for life in told]
        breaches[way] = [breach for life in told for breach in life.breaches]
    ends = child.policy.outcome
    near, wide = ends.within
    foretold = {name: float(getattr(ends, name)) for name in FORETOLD} | {"within_10": near, "within_20": wide}
    return Compared(number, child.child.two_bones, foretold, ended, breaches)


def mean_and_error(by_child: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Return the mean over all lives and its standard error, the lives of a child counted as alike."""
    means = np.array([np.mean(row) for row in by_child])
    return float(means.mean()), float(means.std(ddof=1) / np.sqrt(len(means)))


def row(found: Sequence[Compared], way: str) -> dict[str, object]:
    """Return one way: each figure with its error, and by how much it lies above the policy in the same lives."""
    out: dict[str, object] = {"way": way, "lives": sum(len(child.ended[way]) for child in found)}
    out["limits_broken"] = sum(len(child.breaches[way]) for child in found)
    for name in Ended._fields:
        own = [[float(getattr(life, name)) for life in child.ended[way]] for child in found]
        mean, error = mean_and_error(own)
        out[name], out[f"{name}_error"] = round(mean, 4), round(error, 4)
        if way != POLICY:
            base = [[float(getattr(life, name)) for life in child.ended[POLICY]] for child in found]
            differences = [
                [x - y for x, y in zip(mine, theirs, strict=False)] for mine, theirs in zip(own, base, strict=True)
            ]
            more, its_error = mean_and_error(differences)
            out[f"{name}_above_policy"], out[f"{name}_above_policy_error"] = round(more, 4), round(its_error, 4)
    return out


def foretold(found: Sequence[Compared]) -> dict[str, float]:
    """Return what the policy said on the first day, and by how much its lives came to more."""
    out: dict[str, float] = {}
    for name in found[0].foretold:
        said = [child.foretold[name] for child in found]
        over = [
            [float(getattr(life, name)) - one for life in child.ended[POLICY]]
            for child, one in zip(found, said, strict=True)
        ]
        more, error = mean_and_error(over)
        out |= {name: round(float(np.mean(said)), 4), f"{name}_lived_above": round(more, 4)}
        out[f"{name}_lived_above_error"] = round(error, 4)
    return out


def document(found: list[Compared], seed: int, lives: int) -> tomlkit.TOMLDocument:
    """Return the figures as a file."""
    text = tomlkit.document()
    text.add(tomlkit.comment("The same invented lives treated by the policy, by today's course, and with foresight."))
    text.add(tomlkit.comment("Errors are standard errors over children. Made by .ci/simulate/ways.py; do not edit."))
    text["made_with"] = f"python .ci/simulate/ways.py --children {len(found)} --lives {lives} --seed {seed}"
    text["rules_version"] = str(PROTOCOL.version)
    text["seed"] = seed
    text["children"] = len(found)
    text["children_with_two_short_bones"] = sum(child.two_bones for child in found)
    text["lives"] = len(found) * lives
    text["foretold"] = foretold(found)
    parts = {
        "all": found,
        "one_bone": [child for child in found if not child.two_bones],
        "two_bones": [child for child in found if child.two_bones],
    }
    for name, part in parts.items():
        text[name] = [row(part, way) for way in WAYS] if len(part) > 1 else []
    return text


def main() -> None:
    """Run and write the figures."""
    options = asked(__doc__).parse_args()
    written(tomlkit.dumps(document(many(one, options), options.seed, options.lives)), options.out)


if __name__ == "__main__":
    main()
