"""The chance of a course whose amounts are decided again on the way."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as npst

from pathway.courses.outcome import Chance, Narrowing, Slot, Task, chance

STEP = 5.0


def excess(left_mm: np.ndarray) -> np.ndarray:
    return np.where(left_mm <= 10, 0.0, np.where(left_mm <= 20, 1.0, left_mm))


def slot(planned: int, most: int | Sequence[int], *, least: int = 4, points: np.ndarray | None = None) -> Slot:
    limits = np.atleast_1d(np.array(most, dtype=np.int64))
    costs = np.zeros((1, int(limits.max()) + 1)) if points is None else points
    return Slot(planned, least, limits, costs, operations=2)


def arrest(planned: int, most: int, response: np.ndarray | None = None) -> Slot:
    return replace(slot(planned, most, least=2), operations=1, lengthens=False, response=response)


def decided(slots: Sequence[Slot], net: Sequence[float], said: Sequence[Sequence[float]] | None = None) -> Chance:
    """Return how draws with these true differences end; without `said` each slot knows the truth."""
    true = np.array(net, float)
    estimate = np.repeat(true[:, None], len(slots), axis=1) if said is None else np.array(said, float)
    return chance(slots, Task(STEP, true, np.zeros((len(true), len(slots))), estimate, excess))


def test_a_known_difference_is_made_up_as_nearly_as_a_step_allows() -> None:
    found = decided([slot(10, 12), slot(10, 16)], [60.0, 81.0, 100.0, 119.0, 138.0])
    # Needs are looked up in half steps.
    assert np.abs(found.residual_mm).max() <= STEP / 2 + STEP / 4
    assert found.within(10) == 1.0


def test_the_last_amount_follows_what_was_learnt_last() -> None:
    found = decided([slot(10, 12), slot(10, 16)], [120.0], [[100.0, 120.0]])
    assert found.amounts_mm.sum() == 120
    assert found.amounts_mm[0, 1] > 40


def test_an_error_at_the_last_decision_stays() -> None:
    found = decided([slot(10, 12)], [57.0], [[50.0]])
    assert found.residual_mm[0] == pytest.approx(7.0)


def test_no_amount_exceeds_its_limit_and_the_limit_is_told() -> None:
    found = decided([slot(10, 12)], [50.0, 90.0])
    assert found.amounts_mm[:, 0].tolist() == [50.0, 60.0]
    assert found.at_limit.tolist() == [False, True]
    assert found.limit_share == 0.5


def test_a_limit_may_grow_with_the_length_gained() -> None:
    second = slot(8, [6] * 10 + [9])
    found = decided([slot(10, 10, least=10), second], [95.0])
    assert found.amounts_mm.tolist() == [[50.0, 45.0]]


def test_a_lengthening_that_is_not_needed_is_left_out() -> None:
    found = decided([slot(10, 12), slot(10, 12)], [8.0, 55.0, 110.0])
    assert found.lengthenings.tolist() == [0, 1, 2]
    assert found.operations.tolist() == [0, 2, 4]
    assert found.numbers == {0: pytest.approx(1 / 3), 1: pytest.approx(1 / 3), 2: pytest.approx(1 / 3)}
    assert found.operation_numbers == {0: pytest.approx(1 / 3), 2: pytest.approx(1 / 3), 4: pytest.approx(1 / 3)}


def test_a_spare_one_is_done_only_where_the_goal_asks_for_it() -> None:
    found = decided([slot(12, 12), slot(0, 12)], [62.0, 70.0, 85.0], [[60.0, 62.0], [60.0, 70.0], [60.0, 85.0]])
    assert found.lengthenings.tolist() == [1, 1, 2]


def test_a_slot_waits_for_the_need_that_rules_ask_for() -> None:
    asked = replace(slot(0, 12), from_need_mm=20.0)
    found = decided([asked], [17.0, 25.0])
    assert found.amounts_mm[:, 0].tolist() == [0.0, 25.0]


def test_a_growth_arrest_is_dated_anew_and_costs_height() -> None:
    found = decided([arrest(8, 10)], [10.0, -10.0], [[10.0], [-10.0]])
    assert found.height_lost_mm.tolist() == [50.0, 30.0]
    assert found.residual_mm.tolist() == [0.0, 0.0]
    assert found.lengthenings.tolist() == [0, 0]
    assert found.height_lost([0.0, 1.0]).tolist() == [30.0, 50.0]


def test_a_child_who_grows_more_loses_more_by_the_same_arrest() -> None:
    found = decided([arrest(8, 10, np.array([1.25]))], [10.0], [[10.0]])
    assert found.height_lost_mm.tolist() == [62.5]
    assert found.residual_mm.tolist() == [10.0 - 10.0 * 1.25]


def test_among_equals_the_fewest_points_decide() -> None:
    dear, cheap = np.zeros((1, 13)), np.zeros((1, 13))
    dear[0, 9:] = 5.0
    found = decided([slot(8, 12, points=dear), slot(8, 12, points=cheap)], [80.0])
    assert found.amounts_mm[0, 0] <= 40
    assert found.residual_mm[0] == 0.0


def test_gains_beside_the_amount_count_once() -> None:
    errors = np.array([[3.0, 4.0]])
    task = Task(STEP, np.array([60.0 - 3.0]), errors, np.array([[60.0, 57.0]]), excess)
    found = chance([slot(12, 12), slot(0, 12)], task)
    assert found.residual_mm.tolist() == [-3.0]


def test_what_does_not_fit_is_said() -> None:
    with pytest.raises(ValueError, match=r"estimates must be 1 x 1"):
        chance([slot(10, 12)], Task(STEP, np.zeros(1), np.zeros((1, 1)), np.zeros((1, 2)), excess))


@st.composite
def _tasks(draw: st.DrawFn) -> tuple[list[Slot], float]:
    slots = []
    for _ in range(draw(st.integers(1, 3))):
        limits = [draw(st.integers(0, 7))]
        for _ in range(draw(st.integers(0, 5))):
            limits.append(limits[-1] + draw(st.integers(0, 1)))
        costs = draw(st.lists(st.integers(0, 40), min_size=limits[-1] + 1, max_size=limits[-1] + 1))
        slots.append(slot(0, limits, points=np.array([costs], float)))
    if draw(st.booleans()):
        slots.insert(draw(st.integers(0, len(slots))), arrest(0, draw(st.integers(2, 6))))
    return slots, draw(st.integers(-4, 60)) * STEP / 2


@given(_tasks())
@settings(max_examples=60, deadline=None)
def test_the_choice_is_the_best_of_all_choices(case: tuple[list[Slot], float]) -> None:
    slots, net = case

    def worth(units: Sequence[int]) -> tuple[float, int, int, float] | None:
        gained, operations, points = 0, 0, 0.0
        for one, count in zip(slots, units, strict=True):
            if count and not one.least <= count <= one.most[min(gained, len(one.most) - 1)]:
                return None
            points += float(one.points[0, count])
            operations += one.operations * (count > 0)
            gained += count if one.lengthens else 0
        left = abs(net - STEP * sum(units))
        return float(excess(np.array(left))), operations, int(np.round(left / STEP)), points

    ways = itertools.product(*(range(int(one.most.max()) + 1) for one in slots))
    best = min(value for units in ways if (value := worth(units)) is not None)
    chosen = (decided(slots, [net]).amounts_mm[0] / STEP).astype(int)
    assert worth(chosen.tolist()) == best


def test_planning_again_leaves_a_share_and_draws_the_tails_in_further() -> None:
    residual = np.array([-40.0, -8.0, 4.0, 12.0, 60.0])
    # Half of each: -20, -4, 2, 6, 30; of what lies beyond 10 a quarter. The middle half spans 20 mm, 14.8 mm of SD.
    wide = Narrowing(share=0.5, most_sd_mm=15.0, beyond_mm=10.0, tail_share=0.25)
    assert wide.of(residual).tolist() == pytest.approx([-12.5, -4.0, 2.0, 6.0, 15.0])


def test_a_spread_wider_than_the_widest_becomes_the_widest() -> None:
    rng = np.random.default_rng(3)
    found = Narrowing(share=1.0, most_sd_mm=11.0, beyond_mm=1e3, tail_share=1.0).of(rng.normal(0, 22, 20_000))
    assert float(found.std()) == pytest.approx(11.0, rel=0.02)


def test_a_course_that_stays_short_of_equal_legs_keeps_its_median() -> None:
    found = Narrowing(share=0.5, most_sd_mm=11.0, beyond_mm=10.0, tail_share=0.25).about_median(
        np.array([40.0, 60.0, 70.0])
    )
    assert found.tolist() == [50.0, 60.0, 65.0]


@given(
    npst.arrays(float, st.integers(1, 40), elements=st.floats(-200, 200)),
    st.floats(0.1, 1),
    st.floats(1, 50),
    st.floats(0.1, 1),
)
def test_narrowing_never_turns_the_order_nor_widens(
    residual: npt.NDArray[np.float64], share: float, most: float, tail: float
) -> None:
    found = Narrowing(share, most, 10.0, tail).of(residual)
    assert (np.diff(found[np.argsort(residual, kind="stable")]) >= -1e-9).all()
    assert (np.abs(found) <= np.abs(residual) + 1e-9).all()
