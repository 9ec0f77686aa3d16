"""Invented children lived through: the chance stated on the first day is the share that comes true.

The figures were made by `.ci/simulate/run.py`; a few children are lived through here again.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from pathway.protocol.load import load_protocol
from tests.courses.childhood import live

FIGURES: dict[str, Any] = tomllib.loads((Path(__file__).parent / "simulation.toml").read_text(encoding="utf-8"))
GOALS = ("within_10_mm", "within_20_mm")
ENOUGH_CHILDREN = 100
STANDARD_ERRORS = 2.5
OLD_ENOUGH_TO_BE_QUICK = (10.5, 12.0)


def tenths(goal: str) -> list[dict[str, float]]:
    return [row for row in FIGURES[goal] if row["children"] >= ENOUGH_CHILDREN]


def outside(goal: str) -> list[float]:
    """Return the tenths whose observed share lies farther from the stated one than chance explains."""
    far = (
        row for row in tenths(goal) if abs(row["observed"] - row["stated"]) > STANDARD_ERRORS * row["standard_error"]
    )
    return [row["tenth"] for row in far]


def test_enough_children_were_lived_through() -> None:
    assert FIGURES["children"] >= 2000
    assert sum(len(tenths(goal)) for goal in GOALS) >= 4


@pytest.mark.parametrize("goal", GOALS)
def test_the_stated_chance_came_true_in_every_tenth(goal: str) -> None:
    assert tenths(goal)
    assert outside(goal) == []


@pytest.mark.parametrize("goal", GOALS)
def test_the_tenths_add_up_to_all_children(goal: str) -> None:
    rows, children = FIGURES[goal], FIGURES["children"]
    assert sum(row["children"] for row in rows) == children
    for name in ("stated", "observed"):
        mean = sum(row["children"] * row[name] for row in rows) / children
        assert mean == pytest.approx(FIGURES[f"{name}_{goal}"], abs=2e-4)
    for row in rows:
        assert row["tenth"] / 10 <= row["stated"] <= (row["tenth"] + 1) / 10
        spread = (row["stated"] * (1 - row["stated"]) / row["children"]) ** 0.5
        assert row["standard_error"] <= spread + 2e-4


def test_no_amount_was_over_its_limit() -> None:
    assert FIGURES["amounts_over_their_limit"] == 0


def test_children_lived_through_again_keep_every_limit() -> None:
    protocol = load_protocol()
    lived = [child for k in range(8) if (child := live(protocol, 5, k, OLD_ENOUGH_TO_BE_QUICK)) is not None]
    assert sum(child.lengthenings for child in lived) >= len(lived) / 2
    assert sum(child.breaches for child in lived) == 0
