"""Osteotomies together: mean and spread of what was achieved, by implant, and the error of the next plan."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from pathway.protocol.load import load_protocol
from pathway.questions.achieved import Achieved, Difference
from pathway.questions.corrections import FED, corrections
from tests.sample import ON

PROTOCOL = load_protocol()
LEAST = round(PROTOCOL.number("osteotomy_achieved_least_operations"))
PRIOR = PROTOCOL.number("osteotomy_error_prior_operations")
ASSUMED = PROTOCOL.number("osteotomy_error_rotation_deg")


def done(off: float, implant: float = 130, name: str = "rotation_deg", reading: float | None = None) -> Achieved:
    one = Difference(name=name, planned=20, achieved=20 + off, reading_sd=reading)
    return Achieved(child="test-01", side="left", on=ON, implant_deg=implant, film_on=ON, differences=(one,))


def next_error(*some: Achieved) -> float:
    (one,) = corrections(some, PROTOCOL).next_errors
    return one.sd


def test_mean_and_spread_have_the_intervals_of_the_textbook() -> None:
    """Student's t for a mean and chi-squared for a variance, by `scipy.stats`."""
    off = np.random.default_rng(3).normal(4, 6, 12)
    (one,) = (one for one in corrections([done(x) for x in off], PROTOCOL).pooled if one.implant_deg is None)
    low, high = stats.t.interval(0.9, 11, off.mean(), off.std(ddof=1) / math.sqrt(12))
    assert (one.operations, one.mean) == (12, pytest.approx(off.mean()))
    assert (one.mean_low, one.mean_high) == pytest.approx((low, high))
    assert one.sd == pytest.approx(off.std(ddof=1))
    ends = (one.sd_low**2, one.sd_high**2)
    assert ends == pytest.approx(tuple(11 * off.var(ddof=1) / stats.chi2.ppf(q, 11) for q in (0.95, 0.05)))


def test_each_implant_is_told_by_itself_and_all_together() -> None:
    some = [*(done(x, 120) for x in (1, 2, 3)), *(done(x, 130) for x in (-4, -5, -6))]
    found = {one.implant_deg: one.mean for one in corrections(some, PROTOCOL).pooled}
    assert found == pytest.approx({120: 2, 130: -5, None: -1.5})


def test_of_too_few_nothing_is_told_but_each_by_itself() -> None:
    few = [done(5.0)] * (LEAST - 1)
    found = corrections(few, PROTOCOL)
    assert (found.pooled, found.next_errors) == ((), ())
    assert len(found.operations) == LEAST - 1


def test_what_no_film_tells_does_not_count() -> None:
    unseen = done(0).model_copy(
        update={"differences": (Difference(name="rotation_deg", planned=20, achieved=None, reading_sd=None),)}
    )
    found = corrections([done(1), done(2), done(3), unseen], PROTOCOL)
    assert {one.operations for one in found.pooled} == {3}


def test_films_without_error_add_their_squares_to_those_assumed() -> None:
    """Scaled inverse chi-squared, the conjugate of a normal variance: (nu s0^2 + sum d^2) / (nu + n)."""
    off = [7.0, -9.0, 4.0, 12.0, 3.0]
    wanted = (PRIOR * ASSUMED**2 + sum(x**2 for x in off)) / (PRIOR + len(off))
    assert next_error(*(done(x) for x in off)) == pytest.approx(math.sqrt(wanted), abs=0.02)


def test_what_always_goes_one_way_is_an_error_of_the_next_plan_too() -> None:
    assert next_error(*(done(12.0) for _ in range(30))) == pytest.approx(12, abs=1.0)


@pytest.mark.parametrize("hand", [2.0, 5.0, 9.0])
def test_with_many_the_error_of_the_hand_comes_out_without_that_of_reading(hand: float) -> None:
    """Clinics with a known hand whose films are read with an error: 400 osteotomies bring the hand back."""
    draws, reading = np.random.default_rng(11), 4.0
    off = draws.normal(0, hand, 400) + draws.normal(0, reading, 400)
    assert next_error(*(done(x, reading=reading) for x in off)) == pytest.approx(hand, abs=0.8)


def test_where_reading_is_all_that_is_seen_the_assumed_error_hardly_moves() -> None:
    off = np.random.default_rng(5).normal(0, 30, 6)
    assert next_error(*(done(x, reading=30.0) for x in off)) == pytest.approx(ASSUMED, rel=0.25)


def test_every_turn_has_a_rule_to_feed() -> None:
    assert {PROTOCOL.value(f"osteotomy_error_{step}").unit for step in FED.values()} == {"deg"}
