"""A leg difference in words instead of signs."""

from __future__ import annotations

import pytest

from pathway.plan.growth import Quantiles
from pathway.views.words.sides import between_words, side_words, spread_words


@pytest.mark.parametrize(
    ("mm", "words"), [(80.0, "8.0 cm shorter"), (-4.0, "0.4 cm longer"), (0.3, "equal"), (-0.3, "equal")]
)
def test_the_treated_leg_is_shorter_longer_or_equal(mm, words) -> None:
    assert side_words(mm) == words


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (69.0, 92.0, "6.9 to 9.2"),
        (-12.0, 23.0, "1.2 longer to 2.3 shorter"),
        (-30.0, -10.0, "1.0 to 3.0 longer"),
        (0.0, 8.0, "0.0 to 0.8 shorter"),
    ],
)
def test_a_range_across_equal_legs_names_both_sides(low, high, words) -> None:
    assert between_words(low, high) == words


def test_no_sign_is_left() -> None:
    spread = Quantiles(p05=-23.0, p25=-12.0, p50=-4.0, p75=3.0, p95=11.0)
    assert spread_words(spread) == "0.4 cm longer (2.3 longer to 1.1 shorter)"
