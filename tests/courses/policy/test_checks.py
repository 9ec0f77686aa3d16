"""Tables that disagree are refused, each with a sentence that names it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from pathway.courses.policy.checks import ORDER, SHAPES
from pathway.courses.policy.programme import Programme
from pathway.problems import Refused
from tests.courses.policy.programmes import Size, random_programme
from tests.offenders import for_each

GIVEN = random_programme(
    4, Size(steps=4, classes=3, joints=2, most=2, waits=5, amounts=6, outcomes=7, sets=8, gains=9, bones=2)
)
TABLES = [*((group, name) for group, tables in SHAPES.items() for name in tables), *(("", name) for name in ORDER)]
DEFINES = {"allowed", "when", "gain_steps", "chance"}
"""Tables that give an axis its length: the others are held to them."""


def altered(group: str, name: str, value: Any) -> Programme:
    """Return the programme with another table, of the first set where it is a lengthening's."""
    if not group:
        return replace(GIVEN, **{name: value})
    if group == "lengthening":
        first, *others = GIVEN.lengthenings
        return replace(GIVEN, lengthenings=(replace(first, **{name: value}), *others))
    return replace(GIVEN, **{group: replace(getattr(GIVEN, group), **{name: value})})


def table_of(group: str, name: str) -> Any:
    owner = GIVEN.lengthenings[0] if group == "lengthening" else getattr(GIVEN, group) if group else GIVEN
    return np.asarray(getattr(owner, name))


def refusal(group: str, name: str, value: Any) -> str:
    with pytest.raises(Refused) as refused:
        altered(group, name, value)
    return str(refused.value)


@for_each(TABLES)
def test_a_table_of_another_shape_is_named(group: str, name: str) -> None:
    table = table_of(group, name)
    told = {"": "", "lengthening": "lengthenings[0]."}.get(group, f"{group}.") + name
    said = refusal(group, name, np.concatenate([table, table[:1]]))
    if name not in DEFINES:
        assert said.count("found") == 1
        assert f"{told}: found the shape {(len(table) + 1, *table.shape[1:])}, expected {table.shape}" in said
    assert "The policy's tables do not fit together." in said


@for_each(TABLES)
def test_a_table_without_its_axes_is_named(group: str, name: str) -> None:
    assert "expected" in refusal(group, name, np.zeros(()))


@for_each(
    [
        ("tempo", "chance", np.array([0.5, 0.5, 0.5]), "chances that add up to 1.5"),
        ("lengthening", "loss_chance", np.full((4, 6), 1.5), "chances from 1.5 to 1.5"),
        ("lengthening", "stop_chance", np.full((4, 6, 9), -0.1), "chances from -0.1 to -0.1"),
        ("lengthening", "joints", np.full((4, 6, 9, 2, 2), 0.6), "chances that add up to 1.2"),
        ("lengthening", "gain_chance", np.full((4, 6, 7, 9), 0.1), "chances that add up to 0.7"),
        ("lengthening", "gain_steps", np.full((4, 6, 7), -1), "lengthening.gain_steps"),
        ("lengthening", "amounts_mm", np.arange(6.0), "different amounts"),
        ("", "bone_of", np.array([0, 2]), "bone_of: found 0 to 2, expected 0 to 1"),
        ("costs", "wish_a_year", -1.0, "costs.wish_a_year"),
        ("lengthening", "cost", np.full((4, 6, 9, 2), np.inf), "not finite"),
        ("tempo", "known_from", 9, "tempo.known_from: found 9, expected a visit, 0 to 4"),
        ("tempo", "long_leg_mm", np.zeros((3, 5)), "tempo.long_leg_mm"),
        ("forecast", "open_variance_mm2", -1.0, "forecast.open_variance_mm2"),
        ("start", "joint", 2, "start.joint: found 2, expected 0 to 1"),
        ("start", "done", 3, "start.done: found 3, expected 0 to 2"),
        ("start", "waited", 5, "start.waited: found 5, expected 0 to 4"),
    ]
)
def test_a_value_that_cannot_be_is_named(group: str, name: str, value: Any, said: str) -> None:
    assert said in refusal(group, name, value)


def test_ages_must_rise() -> None:
    with pytest.raises(Refused, match="age_years"):
        replace(GIVEN, age_years=GIVEN.age_years[::-1].copy())


def test_everything_wrong_is_told_at_once() -> None:
    first, second = GIVEN.lengthenings
    wrong = replace(second, loss_mm=np.zeros((1, 1)), planned=np.zeros(3))
    with pytest.raises(Refused) as refused:
        replace(GIVEN, lengthenings=(first, wrong))
    assert {problem.key for problem in refused.value.problems} == {"lengthenings[1].loss_mm", "lengthenings[1].planned"}

    with pytest.raises(Refused, match="lengthenings: found none"):
        replace(GIVEN, lengthenings=())
