"""Reading an outlook: bands, single ages, chances."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.growth import Outlook, fit_growth, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.growth.children import at, bones, child


def ahead(**given: object) -> Outlook:
    fitted = fit_growth(Question(child(bones(6, (200, 281, 210, 221))), load_protocol(), at(6)))
    assert fitted is not None
    return outlook(fitted, **given)  # type: ignore[arg-type]


def test_the_legs_are_sums_and_the_discrepancy_their_difference() -> None:
    found = ahead()
    assert found.long_leg_mm == pytest.approx(found.long_femur_mm + found.long_tibia_mm)
    assert found.discrepancy_mm == pytest.approx(found.long_leg_mm - found.short_leg_mm)


def test_the_ages_run_from_the_day_to_the_end_of_growth() -> None:
    found = ahead()
    assert found.age_years[0] == pytest.approx(6)
    assert found.age_years[-1] == found.mature_age_years
    assert np.all(np.diff(found.age_years) > 0)


def test_bands_are_quantiles_and_ordered() -> None:
    found = ahead(ages=[8, 12])
    bands = found.bands([0.05, 0.5, 0.95])
    assert bands.shape == (3, 2)
    assert np.all(np.diff(bands, axis=0) > 0)
    assert bands[1] == pytest.approx(np.median(found.discrepancy_mm, axis=0))
    assert found.bands([0.5], "long_leg")[0] == pytest.approx(np.median(found.long_leg_mm, axis=0))


def test_between_two_ages_the_lengths_are_straight_and_outside_the_nearest() -> None:
    found = ahead(ages=[8, 12])
    assert found.at(9) == pytest.approx(0.75 * found.discrepancy_mm[:, 0] + 0.25 * found.discrepancy_mm[:, 1])
    assert found.at(8, "short_leg") == pytest.approx(found.short_leg_mm[:, 0])
    assert found.at(2) == pytest.approx(found.discrepancy_mm[:, 0])
    assert found.at(30) == pytest.approx(found.discrepancy_mm[:, 1])


def test_maturity_is_when_the_latest_future_has_stopped_growing() -> None:
    found = ahead(ages=[8, 30])
    assert found.at_maturity("long_leg") == pytest.approx(found.long_leg_mm[:, -1])
    assert np.all(ahead(ages=[17]).long_leg_mm[:, 0] <= found.at_maturity("long_leg") + 1e-9)


def test_a_chance_is_the_share_of_futures() -> None:
    found = ahead(ages=[8, 12])
    assert found.chance_above(0, 8) == 1
    assert found.chance_above(1000) == 0
    assert found.chance_above(float(np.median(found.at_maturity()))) == pytest.approx(0.5, abs=0.01)
    assert found.chance_above(float(np.median(found.at(8))), 8) == pytest.approx(0.5, abs=0.01)
