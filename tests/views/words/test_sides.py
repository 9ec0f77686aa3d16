"""Longer and shorter in words: no sign is left to be read the wrong way round."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.plan.growth import Quantiles
from pathway.views.words.sides import (
    between_words,
    in_brackets,
    residual_words,
    side_range,
    side_words,
    spread_in_words,
)


@pytest.mark.parametrize(
    ("mm", "words"), [(5, "0.5 cm shorter"), (-10, "1.0 cm longer"), (0, "equal"), (0.4, "equal"), (-0.4, "equal")]
)
def test_a_difference_above_zero_is_a_shorter_leg(mm, words) -> None:
    assert side_words(mm) == words


@pytest.mark.parametrize(
    ("low", "high", "words", "between"),
    [
        (-10, 75, "1.0 longer to 7.5 shorter", "between 1.0 cm longer and 7.5 cm shorter"),
        (14, 146, "1.4 to 14.6 shorter", "between 1.4 and 14.6 cm shorter"),
        (-30, -2, "0.2 to 3.0 longer", "between 0.2 and 3.0 cm longer"),
        (0, 20, "equal to 2.0 shorter", "between equal and 2.0 cm shorter"),
    ],
)
def test_a_range_says_the_side_once_where_both_ends_lie_on_it(low, high, words, between) -> None:
    assert side_range(low, high) == words
    assert between_words(low, high) == between


def test_what_a_course_leaves_is_told_in_words() -> None:
    assert residual_words(4) == "leaves the treated leg 0.4 cm shorter"
    assert residual_words(-4) == "leaves the treated leg 0.4 cm longer"
    assert residual_words(0.2) == "leaves the legs equal"


@given(st.floats(-200, 200), st.floats(0, 200))
def test_no_range_has_a_sign(low, wide) -> None:
    for words in (side_range(low, low + wide), between_words(low, low + wide)):
        assert "-" not in words
        assert "+" not in words


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (69, 92, "6.9 to 9.2"),
        (-12, 23, "1.2 longer to 2.3 shorter"),
        (-30, -10, "1.0 to 3.0 longer"),
        (0, 8, "equal to 0.8 shorter"),
    ],
)
def test_a_range_behind_its_middle_names_the_side_only_where_it_is_not_the_middle_s(low, high, words) -> None:
    assert in_brackets(low, high) == words


def test_no_sign_is_left_in_brackets() -> None:
    spread = Quantiles(p05=-23, p25=-12, p50=-4, p75=3, p95=11)
    assert spread_in_words(spread) == "0.4 cm longer (2.3 longer to 1.1 shorter)"
