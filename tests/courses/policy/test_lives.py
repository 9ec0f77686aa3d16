"""Lives lived by a policy cost what it says, end as it says, and break no rule."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.courses.policy.induction import Solved, solve
from pathway.courses.policy.outcome import Outcome, outcome
from pathway.courses.policy.programme import BARRED, REMOVAL, Floats
from tests.courses.policy.lives import Lives, live, live_off_the_grid
from tests.courses.policy.programmes import Size, random_programme
from tests.courses.policy.realistic import LIMITS, MATURE_YEARS, realistic
from tests.offenders import for_each

LIVES = 5000
CHILDREN = {
    "girl of 4 with 14 cm": {"mean_mm": 140.0},
    "visits by quarter years": {"mean_mm": 110.0, "age_years": 7.0, "quarters": True},
    "arrest while the class is hidden": {"mean_mm": 60.0, "age_years": 9.0, "tempo_known_years": 12.0},
    "grown": {"mean_mm": 100.0, "age_years": 15.0},
}


@pytest.fixture(scope="module", params=CHILDREN)
def lived(request: pytest.FixtureRequest) -> tuple[Solved, Outcome, Lives]:
    solved = solve(realistic(**CHILDREN[request.param]))
    return solved, outcome(solved), live(solved, LIVES, seed=7)


def agrees(drawn: Floats, expected: float, errors: float = 2.5) -> None:
    drawn = np.asarray(drawn, float)
    error = drawn.std(ddof=1) / len(drawn) ** 0.5
    assert abs(drawn.mean() - expected) <= errors * error + 1e-9, (drawn.mean(), expected, error)


class TestReal:
    def test_the_mean_cost_is_the_value(self, lived: tuple[Solved, Outcome, Lives]) -> None:
        solved, _, lives = lived
        agrees(lives.cost, solved.value)

    def test_what_is_counted_is_what_is_lived(self, lived: tuple[Solved, Outcome, Lives]) -> None:
        """Nearly thirty comparisons a child: 3.5 errors each, so that all together seldom fail by chance."""
        solved, ends, lives = lived
        agrees(lives.planned, ends.planned, 3.5)
        agrees(lives.unplanned, ends.unplanned, 3.5)
        agrees(lives.harm, ends.harm, 3.5)
        agrees(lives.device_months, ends.device_months, 3.5)
        agrees(lives.months_over, ends.months_over, 3.5)
        agrees(lives.arrested, ends.arrested, 3.5)
        agrees(lives.stopped, ends.stopped, 3.5)
        for number, chance in enumerate(ends.number):
            if chance > 0.002:  # the error of rarer ones is not that of a normal distribution
                agrees(lives.number == number, chance, 3.5)
        for joint, chance in enumerate(ends.joints):
            agrees(lives.joint == joint, chance, 3.5)
        for mm, chance in zip(solved.programme.costs.within_mm, ends.within, strict=True):
            agrees(np.abs(lives.left_mm) <= mm, chance, 3.5)

    def test_ages_and_amounts_of_each_operation(self, lived: tuple[Solved, Outcome, Lives]) -> None:
        _, ends, lives = lived
        found, arrests = np.zeros_like(ends.lengthened), np.zeros(ends.arrest.shape[1:])
        for one in lives.done:
            if one.action.amount >= 0:
                np.add.at(found, (one.number, one.visit, one.action.amount), 1 / LIVES)
            if one.action.plates >= 0:
                arrests[one.action.plates, one.visit] += len(one.who) / LIVES
        for drawn, table in ((found, ends.lengthened), (arrests, ends.arrest.sum(axis=0))):
            error = np.sqrt(table * (1 - table) / LIVES)
            assert (np.abs(drawn - table) <= 4 * error + 3 / LIVES).all()

    def test_no_limit_is_broken(self, lived: tuple[Solved, Outcome, Lives]) -> None:
        """Read from what was done and the ages, not from the tables that allowed it."""
        solved, _, lives = lived
        ages, amounts = solved.programme.age_years, solved.programme.amounts_mm
        last = np.full(LIVES, -np.inf)
        arrested = np.zeros(LIVES, bool)
        operations = 0
        for one in lives.done:
            age, since = ages[one.visit], ages[one.visit] - last[one.who]
            operations += len(one.who)
            if one.action.plates >= 0:
                assert not arrested[one.who].any()
                arrested[one.who] = True
                assert age >= LIMITS["arrest_from_years"]
                effect = solved.programme.arrest.effect_mm[:, one.action.plates, one.visit]
                assert effect.min() >= 8 and effect.max() <= 52
                if one.action.amount < 0:
                    # Two visits after a start the device goes; else none may be done before the fourth.
                    visits = np.array([np.sum((ages > x) & (ages <= age)) for x in last[one.who]])
                    assert ((visits == 2) | (visits >= 4) | np.isinf(last[one.who])).all()
            if one.action.amount >= 0:
                rest = LIMITS["rest_grown_years"] if age >= MATURE_YEARS else LIMITS["rest_years"]
                assert (since >= rest - 1e-9).all()
                share = 100 * amounts[one.action.amount] / bone_mm(solved, one.visit, one.gained)
                assert (share <= LIMITS["percent"] + 1e-9).all()
                last[one.who] = age
        assert operations > LIVES / 2


@pytest.mark.parametrize("mean_mm, age_years", [(140.0, 4.0), (40.0, 10.0)])
def test_the_grid_takes_nothing_from_what_is_told(mean_mm: float, age_years: float) -> None:
    """Lives whose forecast keeps to no grid cost what the policy says and end as near, to two of a hundred."""
    solved = solve(realistic(mean_mm=mean_mm, age_years=age_years))
    ends, lives = outcome(solved), live_off_the_grid(solved, LIVES, seed=3)
    agrees(lives.cost, solved.value)
    for mm, chance in zip(solved.programme.costs.within_mm, ends.within, strict=True):
        assert np.mean(np.abs(lives.left_mm) <= mm) == pytest.approx(chance, abs=0.02)


def bone_mm(solved: Solved, visit: int, gained: Floats) -> Floats:
    """Return the length of the bone as `realistic` makes it."""
    length: Floats = 200 + 210 * solved.programme.tempo.reached[1, visit] + solved.programme.grid_mm * gained
    return length


class TestRandom:
    @for_each(range(24), parts=2)
    def test_the_mean_cost_is_the_value(self, seed: int) -> None:
        """24 comparisons: 3.5 errors each, so that all together seldom fail by chance."""
        solved = solve(
            random_programme(
                seed, Size(steps=5, classes=3, joints=3, sets=2, most=3, waits=4, gains=9, bones=1 + seed % 2)
            )
        )
        lives = live(solved, 2000, seed)
        agrees(lives.cost, solved.value, 3.5)
        assert all(
            one.action.amount >= 0 or (solved.programme.arrest.sitting[one.visit, one.waited] != BARRED).all()
            for one in lives.done
        )

    @for_each(range(200))
    def test_the_forward_distribution_costs_the_value(self, seed: int) -> None:
        size = Size(
            steps=2 + seed % 5,
            classes=1 + seed % 3,
            joints=1 + seed % 4,
            sets=seed % 3,
            most=1 + seed % 4,
            gains=9,
            bones=1 + seed % 3,
        )
        solved = solve(random_programme(seed, size))
        ends = outcome(solved)
        assert ends.cost == pytest.approx(solved.value, rel=1e-9, abs=1e-9)
        assert ends.number.sum() == pytest.approx(1) and ends.joints.sum() == pytest.approx(1)


def test_the_removal_is_used_by_some_lives() -> None:
    """The barred window would not be tried where nobody wants an arrest near a lengthening."""
    kinds = set()
    for seed in range(40):
        solved = solve(random_programme(seed, Size(steps=5, sets=2)))
        for one in live(solved, 50, seed).done:
            if one.action.plates >= 0 and one.action.amount < 0:
                kinds |= set(solved.programme.arrest.sitting[one.visit, one.waited].tolist())
    assert REMOVAL in kinds and BARRED not in kinds
