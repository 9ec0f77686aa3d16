"""Operations, months and differences of a course are those of lives lived by its policy, in the mean and in spread."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from pathway.courses.policy.counts import Spread, _events
from pathway.courses.policy.ends import ends_of
from pathway.courses.policy.induction import Solved, solve
from pathway.courses.policy.outcome import Outcome, outcome
from pathway.courses.policy.programme import Floats
from tests.courses.policy.children import example_programme
from tests.courses.policy.lives import Lives, live
from tests.courses.policy.programmes import Size, random_programme
from tests.offenders import for_each

LIVES = 4000
EXAMPLES = ("willow-03", "birch-04")


@lru_cache(maxsize=1)
def lived(name: str) -> tuple[Solved, Outcome, Lives]:
    child = example_programme(name)
    assert child is not None
    solved = solve(child.programme)
    return solved, outcome(solved), live(solved, LIVES, seed=5)


def agrees(drawn: Floats, expected: float) -> None:
    """Within 2.5 standard errors of the mean."""
    drawn = np.asarray(drawn, float)
    error = drawn.std(ddof=1) / len(drawn) ** 0.5
    assert abs(drawn.mean() - expected) <= 2.5 * error + 1e-9, (drawn.mean(), expected, error)


def spreads_as(drawn: Floats, of: Spread, slack: float) -> None:
    """Hold each end to the drawn quantile, a little to each side: the ends of whole numbers jump."""
    low, high = (np.quantile(drawn, at, method="inverted_cdf") for at in ((0.035, 0.065), (0.935, 0.965)))
    assert low[0] - slack <= of.p05 <= low[1] + slack, (low, of)
    assert high[0] - slack <= of.p95 <= high[1] + slack, (high, of)


@pytest.mark.parametrize("name", EXAMPLES)
class TestChildren:
    def test_the_means_are_those_of_lives(self, name: str) -> None:
        _, ends, lives = lived(name)
        agrees(lives.planned + lives.events, ends.counts.operations.mean)
        agrees(lives.events, ends.counts.unplanned.mean)
        agrees(lives.device_months, ends.counts.device_months.mean)
        for drawn, expected in zip(lives.months_over_mm, ends.months_over_mm, strict=True):
            agrees(drawn, expected)

    def test_the_ends_are_those_of_lives(self, name: str) -> None:
        _, ends, lives = lived(name)
        spreads_as(lives.planned + lives.events, ends.counts.operations, 0)
        spreads_as(lives.events, ends.counts.unplanned, 0)
        spreads_as(lives.device_months, ends.counts.device_months, 0.7)

    def test_the_largest_mean_difference_is_that_of_lives(self, name: str) -> None:
        solved, ends, lives = lived(name)
        assert ends.difference_mm == pytest.approx(lives.difference_mm.mean(axis=1), abs=1.0)
        assert ends_of(solved, ends).peak_mm == ends.difference_mm.max()

    def test_every_mean_lies_in_its_range(self, name: str) -> None:
        _, ends, _ = lived(name)
        for one in (ends.counts.operations, ends.counts.unplanned, ends.counts.device_months):
            assert one.p05 <= one.mean <= one.p95


@for_each(range(60))
def test_counts_add_up_to_the_expected_numbers(seed: int) -> None:
    """In programmes of whole planned operations, as those of children are; the random ones are made so."""
    size = Size(steps=2 + seed % 5, classes=1 + seed % 3, joints=1 + seed % 4, sets=seed % 3, most=3, gains=9)
    ends = outcome(solve(random_programme(seed, size)))
    assert ends.counts.unplanned.mean == pytest.approx(ends.unplanned, abs=1e-9)
    assert ends.counts.device_months.mean == pytest.approx(ends.device_months, abs=1e-9)
    done = sum(float(table.sum()) for table in ends.lengthened_at)
    assert done == pytest.approx(ends.lengthened.sum())


def test_events_about_a_mean_that_varies_have_its_mean_and_both_variances() -> None:
    """Negative binomial: mean m, variance m + v (any textbook); Poisson where nothing varies."""
    mean, variance = np.array([0.0, 0.4, 1.5, 4.0]), np.array([0.0, 0.3, 0.0, 2.0])
    chances = _events(mean, variance)
    numbers = np.arange(chances.shape[1])
    assert chances.sum(axis=1) == pytest.approx(1, abs=1e-6)
    assert chances @ numbers == pytest.approx(mean, abs=1e-5)
    assert chances @ numbers**2 - mean**2 == pytest.approx(mean + variance, abs=1e-3)
    assert chances[2, :2] == pytest.approx([np.exp(-1.5), 1.5 * np.exp(-1.5)], rel=1e-6)
