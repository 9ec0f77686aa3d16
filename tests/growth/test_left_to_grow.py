"""The age from which a bone has little left to grow, against the projection itself."""

from __future__ import annotations

import pytest

from pathway.growth import fit_growth, grown_from_years, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.examples import ON, example


@pytest.mark.parametrize("name", ["rowan-02", "alder-06", "oak-12"])
@pytest.mark.parametrize("bone", ["femur", "tibia"])
def test_from_that_age_on_so_little_is_left_and_a_month_before_it_more(name: str, bone: str) -> None:
    posterior = fit_growth(Question(example(name), load_protocol(), ON))
    assert posterior is not None
    age = grown_from_years(posterior, bone, 20.0)  # type: ignore[arg-type]
    at = outlook(posterior.central(), (), [age - 1 / 12, age, 25.0]).lengths(f"short_{bone}")[0]  # type: ignore[arg-type]
    assert at[2] - at[1] <= 20.0 + 1e-6
    assert at[2] - at[0] > 20.0 - 1e-6


def test_less_left_comes_later() -> None:
    posterior = fit_growth(Question(example("alder-06"), load_protocol(), ON))
    assert posterior is not None
    ages = [grown_from_years(posterior, "femur", mm) for mm in (60.0, 20.0, 5.0)]
    assert ages == sorted(ages)
    assert ages[0] < ages[-1]


def test_a_grown_bone_is_so_from_the_day_of_the_projection() -> None:
    posterior = fit_growth(Question(example("elder-15"), load_protocol(), ON))
    assert posterior is not None
    assert grown_from_years(posterior, "femur", 20.0) == posterior.age_years
