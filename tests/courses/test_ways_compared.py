"""The policy treats children better than today's course does, and not by its own costs alone.

The figures were made by `.ci/simulate/ways.py`; a few children are treated here again.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from pathway.protocol.load import load_protocol
from tests.courses.one_life import SAME_SITTING_YEARS
from tests.courses.policy_lives import by_policy, lived, patient

FIGURES: dict[str, Any] = tomllib.loads((Path(__file__).parent / "ways_compared.toml").read_text(encoding="utf-8"))
ROWS: dict[str, dict[str, Any]] = {row["way"]: row for row in FIGURES["all"]}
TODAY = ("course_again", "course_once")
STANDARD_ERRORS = 2.0
WANTED_LESS = ("planned", "unplanned", "device_months", "months_over", "harm")
WANTED_MORE = ("within_10", "within_20")
OLD_ENOUGH_TO_BE_QUICK = (9.5, 12.0)


def no_worse(row: dict[str, Any], name: str) -> bool:
    """Return whether the policy is not worse than a way in one figure, by more than chance explains."""
    sign = -1 if name in WANTED_MORE else 1
    return sign * row[f"{name}_above_policy"] >= -STANDARD_ERRORS * row[f"{name}_above_policy_error"]


def test_enough_lives_were_lived() -> None:
    assert FIGURES["lives"] >= 2000
    assert all(ROWS[way]["lives"] == FIGURES["lives"] for way in ("policy", *TODAY))
    assert ROWS["foresight"]["lives"] >= 200


@pytest.mark.parametrize("way", TODAY)
def test_the_policy_costs_less(way: str) -> None:
    row = ROWS[way]
    assert row["cost_above_policy"] > STANDARD_ERRORS * row["cost_above_policy_error"] > 0


@pytest.mark.parametrize("way", TODAY)
def test_the_policy_is_no_worse_in_most_of_what_is_counted(way: str) -> None:
    held = [name for name in (*WANTED_LESS, *WANTED_MORE) if no_worse(ROWS[way], name)]
    assert len(held) >= 3, held


def test_who_knows_the_future_does_no_worse_than_the_policy() -> None:
    row = ROWS["foresight"]
    assert row["cost_above_policy"] <= STANDARD_ERRORS * row["cost_above_policy_error"]


def test_the_policy_broke_no_limit() -> None:
    assert ROWS["policy"]["limits_broken"] == 0


def test_children_treated_again_keep_every_limit() -> None:
    """No amount, interval or age is broken, and the good leg is never operated on while a device is on the other."""
    protocol = load_protocol()
    children = [one for k in range(10) if (one := patient(protocol, 5, k, OLD_ENOUGH_TO_BE_QUICK)) is not None]
    told = [lived(child, 0, "policy") for child in children]
    assert sum(len(one.life.lengthened) for one in told) >= len(told) / 2
    assert [breach for one in told for breach in one.breaches] == []
    for one in told:
        for arrest in one.life.arrested:
            devices = [(step.age_years, step.off_years - SAME_SITTING_YEARS) for step in one.life.lengthened]
            assert not any(on + SAME_SITTING_YEARS < arrest.age_years < off for on, off in devices)


def test_the_same_life_is_lived_alike_again() -> None:
    protocol = load_protocol()
    child = next(one for k in range(10) if (one := patient(protocol, 5, k, OLD_ENOUGH_TO_BE_QUICK)) is not None)
    first, again = by_policy(child, 3), by_policy(child, 3)
    assert first.lengthened == again.lengthened and first.left_mm() == again.left_mm()
