"""The value of a policy is exact: it equals every history walked through, and two general solvers."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from pathway.courses.policy.actions import ARREST, BOTH, LENGTHEN, WAIT
from pathway.courses.policy.induction import solve
from tests.courses.policy.by_hand import ByHand
from tests.courses.policy.programmes import Size, random_programme
from tests.courses.policy.solvers import by_cp_sat, by_highs
from tests.offenders import for_each


def small(seed: int, *, one_bone: bool = True) -> Size:
    """Return sizes that go through all small ones."""
    return Size(
        steps=2 + seed % 2,
        classes=1 + seed % 3,
        joints=1 + seed // 2 % 2,
        most=1 + seed % 3,
        waits=1 + seed % 4,
        sets=seed % 3,
        gains=3 + seed % 4,
        bones=1 if one_bone else 2,
    )


class TestHistories:
    @for_each(range(240), parts=4)
    def test_the_value_is_that_of_every_state_by_itself(self, seed: int) -> None:
        given = random_programme(seed, small(seed))
        assert solve(given).value == pytest.approx(ByHand(given).value(), rel=1e-9, abs=1e-9)

    @for_each(range(240), parts=4)
    def test_and_with_two_bones(self, seed: int) -> None:
        given = random_programme(seed, small(seed, one_bone=False))
        assert solve(given).value == pytest.approx(ByHand(given).value(), rel=1e-9, abs=1e-9)

    def test_two_bones_are_told_apart_in_some_of_these(self) -> None:
        """A second set that is never used, or never matters, would prove nothing."""
        differ = 0
        for seed in range(240):
            given = random_programme(seed, small(seed, one_bone=False))
            alike = replace(given, bone_of=np.zeros_like(given.bone_of))
            differ += solve(given).value != pytest.approx(solve(alike).value, rel=1e-6)
        assert differ >= 60

    @for_each(range(20))
    def test_without_any_lengthening(self, seed: int) -> None:
        given = random_programme(seed, replace(small(seed), most=0, steps=4))
        assert solve(given).value == pytest.approx(ByHand(given).value(), rel=1e-9, abs=1e-9)

    @for_each(range(40))
    def test_and_of_every_history_by_itself(self, seed: int) -> None:
        """Here nothing is remembered between histories that meet in one state."""
        given = random_programme(seed, Size(steps=2, gains=4, below=1, above=1, amounts=1, bones=2))
        assert solve(given).value == pytest.approx(ByHand(given).value(remember=False), rel=1e-9, abs=1e-9)

    def test_every_kind_of_action_is_chosen_in_some_of_these(self) -> None:
        """The comparison would prove little where waiting was always best."""
        chosen: Counter[str] = Counter()
        for seed in range(240):
            solved = solve(random_programme(seed, small(seed)))
            for choices in solved.choices:
                chosen.update({solved.actions[code].kind for codes in choices.values() for code in np.unique(codes)})
        assert min(chosen[kind] for kind in (WAIT, LENGTHEN, ARREST, BOTH)) >= 50


class TestSolvers:
    @for_each(range(12))
    def test_a_linear_programme(self, seed: int) -> None:
        given = random_programme(
            seed, Size(steps=3 + seed % 2, gains=5, below=2, above=2, amounts=2, bones=1 + seed % 2)
        )
        cost, _ = by_highs(given)
        assert solve(given).value == pytest.approx(cost, rel=1e-5, abs=1e-6)

    @for_each(range(300), parts=4)
    def test_cp_sat_where_nothing_is_left_to_chance(self, seed: int) -> None:
        size = Size(
            steps=4 + seed % 3,
            most=1 + seed % 3,
            waits=1 + seed % 4,
            sets=1 + seed % 2,
            amounts=3,
            gains=9,
            bones=1 + seed // 2 % 2,
        )
        given = random_programme(seed, size, certain=True)
        assert solve(given).value == pytest.approx(by_cp_sat(given), abs=1e-5)
