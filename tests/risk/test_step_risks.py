"""Tables of what a lengthening may bring: the same numbers as the rates, for many amounts at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pathway.problems import Refused
from pathway.protocol.harm import OUTCOMES
from pathway.protocol.load import load_protocol
from pathway.risk.rates import rate
from pathway.risk.step_risks import step_risks
from pathway.risk.steps import Step

PROTOCOL = load_protocol()
STEP = Step("femur", 50, 20, 9, hip_cover="good")
MANY = replace(STEP, mm=np.arange(20.0, 81.0)[:, None], percent=np.arange(5.0, 41.0)[None, :])


@pytest.mark.parametrize("outcome", OUTCOMES)
def test_one_step_has_the_numbers_of_its_rate(outcome: str) -> None:
    found = rate(PROTOCOL, outcome, STEP)
    if found.shown:
        levels = [
            100 * float(step_risks(PROTOCOL, STEP, level=level).events[outcome]) for level in ("low", "centre", "high")
        ]
        assert levels == pytest.approx([found.low, found.centre, found.high])


def test_a_table_of_amounts_is_as_if_asked_one_by_one() -> None:
    table = step_risks(PROTOCOL, MANY, slope=0.3, level="high")
    for mm, percent in ((20, 5), (45, 18), (80, 40)):
        alone = step_risks(PROTOCOL, replace(STEP, mm=mm, percent=percent), slope=0.3, level="high")
        row, column = mm - 20, percent - 5
        for name in OUTCOMES:
            assert table.events[name][row, column] == pytest.approx(float(alone.events[name]))
        assert table.short_mean_mm[row, column] == pytest.approx(float(alone.short_mean_mm))
    assert table.fracture.shape == table.outside.shape == (61, 36)


def test_levels_are_in_order_and_chances_are_chances() -> None:
    low, centre, high = (step_risks(PROTOCOL, MANY, level=level) for level in ("low", "centre", "high"))
    for name in OUTCOMES:
        assert (low.events[name] < centre.events[name]).all()
        assert (centre.events[name] < high.events[name]).all()
        assert ((high.chance(name) >= 0) & (high.chance(name) <= 1)).all()


def test_a_steeper_slope_sets_small_and_large_amounts_further_apart() -> None:
    flat, steep = (step_risks(PROTOCOL, MANY, slope=slope).unplanned_operations for slope in (0.0, 0.6))
    assert np.ptp(flat) == pytest.approx(0)
    assert (np.diff(steep, axis=1) > 0).all()
    assert steep[0, -1] / steep[0, 0] == pytest.approx(np.exp(0.6 * 3.5))


def test_a_short_lengthening_loses_ten_to_forty_percent_of_its_goal() -> None:
    found = step_risks(PROTOCOL, replace(STEP, mm=50.0))
    assert (float(found.short_least_mm), float(found.short_mean_mm), float(found.short_most_mm)) == (5.0, 12.5, 20.0)


def test_stopping_is_two_of_thirty_treatments() -> None:
    # Stanitski DF et al. J Pediatr Orthop 1995;15: stopped for psychological reasons.
    assert step_risks(PROTOCOL, STEP).stopping == pytest.approx(2 / 30, abs=5e-4)


def test_a_hip_slips_by_its_cover_and_only_above_a_femur() -> None:
    good, unknown, poor = (
        float(step_risks(PROTOCOL, replace(STEP, hip_cover=cover)).hip_slip) for cover in ("good", "unknown", "poor")
    )
    assert good < unknown < poor
    assert float(step_risks(PROTOCOL, replace(STEP, bone="tibia")).hip_slip) == 0.0
    assert float(step_risks(PROTOCOL, replace(STEP, bone="tibia")).knee_slip) > 0.0


def test_each_number_is_that_of_its_outcome() -> None:
    found = step_risks(PROTOCOL, STEP)
    named = {
        "shortfall": found.short_of_goal,
        "fracture": found.fracture,
        "hip": found.hip_slip,
        "knee": found.knee_slip,
        "knee_lasting": found.motion_lost,
        "nerve": found.nerve,
        "deep_infection": found.infection,
        "lasting_harm": found.lasting_harm,
    }
    for name, value in named.items():
        assert float(value) == pytest.approx(1 - np.exp(-float(found.events[name])))


def test_amounts_and_ages_that_were_not_counted_are_marked() -> None:
    percents = np.array([8.0, 10.0, 35.0, 37.0])
    assert list(step_risks(PROTOCOL, replace(STEP, percent=percents)).outside) == [True, False, False, True]
    ages = np.array([4.0, 5.0, 18.0, 19.0])
    assert list(step_risks(PROTOCOL, replace(STEP, age_years=ages)).outside) == [True, False, False, True]
    assert step_risks(PROTOCOL, replace(STEP, bone_disorder=True)).outside.all()


def test_another_level_is_refused_with_a_sentence() -> None:
    with pytest.raises(Refused, match=r"'worst'.*low, centre, high"):
        step_risks(PROTOCOL, STEP, level="worst")  # type: ignore[arg-type]
