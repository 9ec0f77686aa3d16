"""Clinics of invented children whose truth is known: what is told of them holds that truth, and finds what is wrong.

Each clinic is made of numbers: children of its own, some visits of each with errors that a child carries along, and
the truth is read off the numbers that made it, never off what is tested.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable

import numpy as np
import pytest
from numpy.random import Generator

from pathway.protocol.load import load_protocol
from pathway.results import figures
from pathway.results.child import Z50, Z90, Ending, Pair
from pathway.results.clinic import chance, predicted
from pathway.results.figures import Mean, Share, terms_of

TERMS = terms_of(load_protocol())
CLINICS = 400
DAY = datetime.date(2026, 11, 25)
STATED_SD_MM, READING_SD_MM = 8.0, 4.0
"""Spread of the growth that is still to come, which all visits of a child share in part, and of reading a film."""


def held(found: Mean | Share, truth: float) -> bool:
    """Return whether the interval of a figure holds a truth."""
    assert found.low is not None
    assert found.high is not None
    return found.low <= truth <= found.high


def of_100(told: Callable[[Generator], bool], seed: int) -> float:
    """Return in how many of 100 simulated clinics something is so."""
    return 100 * float(np.mean([told(np.random.default_rng([seed, number])) for number in range(CLINICS)]))


def off_mm(rng: Generator, children: int, *, shift: float = 0.0, spread: float = STATED_SD_MM) -> list[np.ndarray]:
    """Return for each child how far its visits are off what was predicted: one to six visits, drifting together."""
    made = []
    for visits in rng.integers(1, 7, children):
        own = spread * rng.standard_normal()
        ahead = np.linspace(0.3, 1.0, visits)
        made.append(shift + own * ahead + READING_SD_MM * rng.standard_normal(visits))
    return made


def visits_of(off: np.ndarray, spread: float) -> list[Pair]:
    """Return the visits of a child as pairs, each with the band that an honest plan states for it."""
    made = []
    for value, ahead in zip(off, np.linspace(0.3, 1.0, len(off)), strict=True):
        sd = float(np.hypot(spread * ahead, READING_SD_MM))
        made.append(
            Pair(
                revision=1,
                stated_on=DAY,
                seen_on=DAY,
                age_years=8.0,
                basis="growth",
                predicted_mm=40.0,
                low_mm=40.0 - Z90 * sd,
                high_mm=40.0 + Z90 * sd,
                seen_mm=40.0 + float(value),
                within_50=bool(abs(value) <= Z50 * sd),
                within_90=bool(abs(value) <= Z90 * sd),
                long_off_mm=None,
                short_off_mm=None,
            )
        )
    return made


@pytest.mark.parametrize("children", [10, 25, 60])
def test_the_interval_of_a_bias_holds_the_bias_that_was_put_in(children: int) -> None:
    def holds(rng: Generator) -> bool:
        of = [visits_of(off, STATED_SD_MM) for off in off_mm(rng, children, shift=3.0)]
        return held(predicted("all", "all", of, TERMS).off_mm, 3.0)

    assert of_100(holds, 1) >= 87


@pytest.mark.parametrize(("within", "truth"), [("within_50", 50.0), ("within_90", 90.0)])
@pytest.mark.parametrize("children", [10, 25, 60])
def test_the_interval_of_the_share_in_a_band_holds_the_share_of_an_honest_plan(
    children: int, within: str, truth: float
) -> None:
    def holds(rng: Generator) -> bool:
        of = [visits_of(off, STATED_SD_MM) for off in off_mm(rng, children)]
        return held(getattr(predicted("all", "all", of, TERMS), within), truth)

    assert of_100(holds, 2) >= 87


def test_bands_that_are_too_narrow_are_seen_in_the_share_that_they_hold() -> None:
    def seen(rng: Generator) -> bool:
        of = [visits_of(off, STATED_SD_MM / 3) for off in off_mm(rng, 60)]
        return predicted("all", "all", of, TERMS).within_90.high < 90

    assert of_100(seen, 3) >= 80


def sides(rng: Generator, children: int, left_reads_mm: float) -> Mean:
    """Return what is told of the sides where films of left legs read so many mm too long, and short legs lie by chance.

    A difference is the long leg less the short one: a left leg read too long makes it larger where the right is short.
    """
    right_short = rng.random(children) < 0.5
    errors = [float(np.mean(off)) for off in off_mm(rng, children)]
    seen = [off + (left_reads_mm if right else -left_reads_mm) for off, right in zip(errors, right_short, strict=True)]
    right, left = ([v for v, r in zip(seen, right_short, strict=True) if bool(r) is which] for which in (True, False))
    return figures.half_apart(right, left, TERMS)


def test_films_of_one_side_that_read_five_millimetres_too_long_are_found_with_forty_children() -> None:
    def right_way(rng: Generator) -> bool:
        found = sides(rng, 40, 5.0)
        return bool(found.found and (found.mean or 0) > 0)

    assert of_100(right_way, 4) >= 80


def test_of_honest_clinics_hardly_any_is_told_that_one_side_reads_wrong_or_that_all_do() -> None:
    def told(rng: Generator) -> bool:
        errors = [float(np.mean(off)) for off in off_mm(rng, 40)]
        return bool(sides(rng, 40, 0.0).found or figures.mean(errors, TERMS).found)

    assert of_100(told, 5) <= 5


def test_the_interval_of_the_sides_holds_what_was_put_in() -> None:
    assert of_100(lambda rng: held(sides(rng, 40, 2.5), 2.5), 6) >= 87


def test_a_shift_of_all_differences_is_not_told_as_one_of_a_side() -> None:
    def told(rng: Generator) -> bool:
        right, left = ([float(np.mean(off)) for off in off_mm(rng, count, shift=12.0)] for count in (32, 8))
        return bool(figures.half_apart(right, left, TERMS).found)

    assert of_100(told, 7) <= 5


def arrests(rng: Generator, children: int, effect: float) -> Mean:
    """Return what is told of arrests that do so much of what was stated; the growth of each child is uncertain."""
    stated = rng.uniform(15.0, 40.0, children)
    growth = STATED_SD_MM * rng.standard_normal(children) * stated / 30.0
    seen = effect * stated + growth + READING_SD_MM * rng.standard_normal(children)
    return figures.ratio(list(stated), list(seen), TERMS)


def test_arrests_that_work_at_three_quarters_are_told_with_twenty_five() -> None:
    def told(rng: Generator) -> bool:
        found = arrests(rng, 25, 0.75)
        return bool(found.found and (found.mean or 1) < 1)

    assert of_100(told, 8) >= 70


def test_arrests_that_work_as_stated_are_hardly_ever_told_otherwise() -> None:
    assert of_100(lambda rng: bool(arrests(rng, 25, 1.0).found), 9) <= 5


@pytest.mark.parametrize("children", [10, 25])
def test_the_interval_of_the_effect_holds_the_effect_that_was_put_in(children: int) -> None:
    assert of_100(lambda rng: held(arrests(rng, children, 0.8), 0.8), 10) >= 87


@pytest.mark.parametrize("rate", [0.03, 0.2, 0.5])
def test_the_interval_of_a_rate_of_events_holds_the_rate_however_alike_the_operations_of_a_child_are(
    rate: float,
) -> None:
    def holds(rng: Generator) -> bool:
        operations = rng.integers(1, 4, 30)
        # Beta with few degrees: one child has nearly always the same, each with the same rate on the whole.
        own = rng.beta(rate * 0.5, (1 - rate) * 0.5, 30)
        return held(figures.share(list(rng.binomial(operations, own)), list(operations), TERMS), 100 * rate)

    assert of_100(holds, 11) >= 87


@pytest.mark.parametrize("children", [10, 40])
def test_the_interval_of_what_came_of_a_stated_chance_holds_the_chance_that_was_true(children: int) -> None:
    def ends(rng: Generator) -> list[Ending]:
        chances = rng.uniform(0.5, 0.95, children)
        came = rng.random(children) < chances
        seen = [5.0 if good else 30.0 for good in came]
        return [Ending(20, float(c), mm, growing=False) for c, mm in zip(chances, seen, strict=True)]

    # The chances lie evenly between: on the whole so many of 100 end within.
    assert of_100(lambda rng: held(chance(20, ends(rng), TERMS).came, 72.5), 12) >= 87
    assert of_100(lambda rng: bool(chance(20, ends(rng), TERMS).found), 13) <= 5


def test_chances_that_were_stated_far_too_high_are_told() -> None:
    def told(rng: Generator) -> bool:
        came = rng.random(40) < 0.6
        return bool(chance(20, [Ending(20, 0.9, 5.0 if c else 30.0, growing=False) for c in came], TERMS).found)

    assert of_100(told, 14) >= 80


def test_the_interval_of_a_median_of_days_holds_it_though_some_still_wait() -> None:
    true_median = 20.0

    def holds(rng: Generator) -> bool:
        days = rng.exponential(true_median / np.log(2), 30)
        seen = [float(d) if d < 60 else float("inf") for d in days]
        found = figures.median(seen, TERMS)
        assert found.low is not None
        return found.low <= true_median <= (found.high if found.high is not None else float("inf"))

    assert of_100(holds, 15) >= 87


def test_the_interval_of_a_gain_holds_how_far_the_lengthenings_fell_short() -> None:
    def holds(rng: Generator) -> bool:
        short = rng.exponential(4.0, 30)  # most come close, some fall far short
        return held(figures.mean(list(-short), TERMS), -4.0)

    assert of_100(holds, 16) >= 87
