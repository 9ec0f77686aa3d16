"""Hold what plans state against lives lived by their policies, by tenths of what is stated.

python .ci/simulate/stated.py [--children 400] [--lives 5] [--seed 7] [--processes 2] [--out FILE.toml]

Chances are parted at every tenth, expected numbers into ten groups of as many children each. Errors are standard
errors over children, of what was lived above what was stated, and no less than so few events would have by chance.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Threads of the numerical library would take the other processes' cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(ROOT))

import numpy as np  # noqa: E402
import tomlkit  # noqa: E402

from pathway.protocol.load import load_protocol  # noqa: E402
from tests.courses.many import asked, many, written  # noqa: E402
from tests.courses.stated import CHANCES, MEASURES, StatedChild, stated_child  # noqa: E402

PROTOCOL = load_protocol()
TENTHS = 10


def one(task: tuple[int, int, int]) -> StatedChild | None:
    """Return one child of a run."""
    return stated_child(PROTOCOL, *task)


def groups(found: Sequence[StatedChild], name: str) -> Iterator[list[StatedChild]]:
    """Yield the children by tenth of what is stated of them."""
    ordered = sorted(found, key=lambda child: child.stated[name])
    if name in CHANCES:
        for tenth in range(TENTHS):
            yield [child for child in ordered if min(int(TENTHS * child.stated[name]), TENTHS - 1) == tenth]
    else:
        for part in np.array_split(np.arange(len(ordered)), TENTHS):
            yield [ordered[int(at)] for at in part]


def row(part: Sequence[StatedChild], name: str) -> dict[str, object]:
    """Return one group: what is stated and lived, and the error of their difference."""
    stated = np.array([child.stated[name] for child in part])
    came = np.array([np.mean([life[name] for life in child.lived]) for child in part])
    above = came - stated
    lives = sum(len(child.lived) for child in part)
    error = float(above.std(ddof=1) / len(part) ** 0.5) if len(part) > 1 else float("nan")
    expected = float(stated.mean())
    # Of few events those that came say too little of how much they vary.
    least = expected * (1 - expected) if name in CHANCES else expected
    error = max(error, (least / lives) ** 0.5)
    return {
        "lives": lives,
        "from": round(float(stated.min()), 4),
        "to": round(float(stated.max()), 4),
        "stated": round(float(stated.mean()), 4),
        "lived": round(float(came.mean()), 4),
        "error": round(error, 5),
    }


def document(found: list[StatedChild], seed: int, lives: int) -> tomlkit.TOMLDocument:
    """Return the figures as a file."""
    text = tomlkit.document()
    text.add(tomlkit.comment("What plans state and what came of it. Made by .ci/simulate/stated.py; do not edit."))
    text["made_with"] = f"python .ci/simulate/stated.py --children {len(found)} --lives {lives} --seed {seed}"
    text["rules_version"] = str(PROTOCOL.version)
    text["children"], text["lives"] = len(found), sum(len(child.lived) for child in found)
    text["limits_broken"] = [breach for child in found for breach in child.breaches]
    lengthened = [child.stated["within_20"] for child in found if child.lengthened]
    text["mean_within_20_of_the_lengthened"] = round(float(np.mean(lengthened)), 4)
    text["most_within_20"] = round(max(child.stated["within_20"] for child in found), 4)
    for name in MEASURES:
        text[name] = {"all": row(found, name), "by_tenth": [row(part, name) for part in groups(found, name) if part]}
    for name in CHANCES:
        ordered = sorted(found, key=lambda child, name=name: child.stated[name])
        fifth = len(ordered) // 5
        text[name]["lowest_fifth"], text[name]["highest_fifth"] = (
            row(ordered[:fifth], name),
            row(ordered[-fifth:], name),
        )
    return text


def main() -> None:
    """Run and write the figures."""
    options = asked(__doc__).parse_args()
    written(tomlkit.dumps(document(many(one, options), options.seed, options.lives)), options.out)


if __name__ == "__main__":
    main()
