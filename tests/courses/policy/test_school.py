"""School years that a device touches."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.courses.policy.school import school_years_touched

FROM, TO = 6.0, 18.0


def touched(age: float, months: float) -> float:
    return float(school_years_touched(np.array(age), np.array(months), FROM, TO))


@pytest.mark.parametrize(
    ("age", "months", "years"),
    [
        (4.0, 7.0, 0.0),  # off again before school
        (5.0, 12.0, 0.0),  # off on the first day of school
        (5.75, 6.0, 1.0),  # goes on before school and into it
        (8.0, 7.0, 1.0),
        (8.0, 18.0, 1.5),
        (17.75, 8.0, 1.0),  # three months of school are left
        (18.0, 8.0, 0.0),
    ],
)
def test_years_are_counted_while_at_school(age: float, months: float, years: float) -> None:
    assert touched(age, months) == pytest.approx(years)


@given(st.floats(0, 20), st.floats(1, 30), st.floats(0, 12))
def test_more_months_never_touch_fewer_years(age: float, months: float, more: float) -> None:
    assert touched(age, months + more) >= touched(age, months) - 1e-9
    assert 0 <= touched(age, months) <= max(1.0, months / 12) + 1e-9


def test_ages_and_months_make_a_table() -> None:
    ages, months = np.array([4.0, 6.0, 10.0])[:, None], np.array([6.0, 24.0])[None]
    assert school_years_touched(ages, months, FROM, TO) == pytest.approx(np.array([[0, 0], [1, 2], [1, 2]]))
