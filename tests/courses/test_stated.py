"""What plans state beside lives lived by their policies; `.ci/simulate/stated.py` does it for thousands of lives."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pathway.protocol.load import load_protocol
from tests.courses.stated import CHANCES, MEASURES, stated_child

SEED, LIVES = 7, 2
FIGURES: dict[str, Any] = tomllib.loads((Path(__file__).parent / "stated_and_lived.toml").read_text(encoding="utf-8"))
ENOUGH_LIVES, MOST_ERRORS = 100, 2.5
APART = 0.15
"""The lowest and the highest fifth of children are told so much apart, or one number would do for all."""


def rows(name: str) -> Iterator[dict[str, float]]:
    return (row for row in FIGURES[name]["by_tenth"] if row["lives"] >= ENOUGH_LIVES)


@pytest.mark.parametrize("name", MEASURES)
def test_what_is_stated_comes_true_by_tenths(name: str) -> None:
    told = list(rows(name))
    assert len(told) >= (3 if name in CHANCES else 10)
    for row in told:
        assert abs(row["lived"] - row["stated"]) <= MOST_ERRORS * row["error"], row


def test_thousands_of_lives_break_no_hard_limit_and_no_chance_is_told_as_nearly_sure() -> None:
    assert FIGURES["lives"] >= 2000
    assert FIGURES["limits_broken"] == []
    assert FIGURES["most_within_20"] <= 0.97


@pytest.mark.parametrize("name", CHANCES)
def test_children_are_told_apart_and_what_came_follows(name: str) -> None:
    low, high = FIGURES[name]["lowest_fifth"], FIGURES[name]["highest_fifth"]
    assert high["stated"] - low["stated"] >= APART
    assert high["lived"] - low["lived"] >= APART / 2


def test_children_live_alike_again_and_within_every_hard_limit() -> None:
    protocol = load_protocol()
    numbers = (0, 3)
    children = [child for number in numbers if (child := stated_child(protocol, SEED, number, LIVES)) is not None]
    assert len(children) == len(numbers)
    for child in children:
        assert child.breaches == ()
        assert set(child.stated) == set(MEASURES)
        assert all(0 <= child.stated[name] <= 1 for name in CHANCES)
        assert all(set(life) == set(MEASURES) for life in child.lived)
    assert stated_child(protocol, SEED, numbers[1], LIVES) == children[1]
