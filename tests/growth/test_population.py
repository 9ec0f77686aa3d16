"""Adult size from any visits: the joint model of how children depart from the curve."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pathway.growth import Adult, Visits, adult_size, growth_curve, population, stature_curve
from pathway.growth.population import Measure, Population
from pathway.protocol.load import load_protocol
from pathway.record import Sex

SEXES: tuple[Sex, ...] = ("girl", "boy")
MEASURES: tuple[Measure, ...] = ("stature", "leg")


def seen(measure: Measure, sex: Sex, *visits: tuple[float, float]) -> Visits:
    protocol = load_protocol()
    curve = stature_curve(protocol, sex) if measure == "stature" else growth_curve(protocol, sex)
    ages, mm = np.array(visits, float).reshape(-1, 2).T
    return Visits(population(protocol, measure, sex), curve, ages, mm)


def of(measure: Measure, sex: Sex) -> Population:
    return population(load_protocol(), measure, sex)


@given(st.floats(2, 16), st.floats(0.8, 1.2), st.sampled_from(SEXES), st.sampled_from(MEASURES))
@settings(max_examples=40, deadline=None)
def test_without_pull_one_visit_gives_its_length_times_the_multiplier(
    age: float, tall: float, sex: Sex, measure: Measure
) -> None:
    visits = seen(measure, sex, (age, 700 * tall))
    expected = 700 * tall * float(visits.curve.multiplier(age))
    assert adult_size(visits, pull=0).centre_mm == pytest.approx(expected, abs=0.5)


@given(st.floats(2, 16), st.floats(0.7, 1.3), st.sampled_from(SEXES))
@settings(max_examples=30, deadline=None)
def test_more_pull_brings_the_centre_nearer_to_the_population(age: float, tall: float, sex: Sex) -> None:
    mean = float(np.exp(of("leg", sex).size_log))
    size = mean * tall * float(growth_curve(load_protocol(), sex).fraction(age))
    off = [abs(np.log(adult_size(seen("leg", sex, (age, size)), pull=p).centre_mm / mean)) for p in (0.0, 1.0)]
    assert off[1] <= off[0] + 0.05


def test_the_conditioning_is_that_of_the_joint_normal_distribution() -> None:
    # The same answer from the whole covariance matrix, with the general formula.
    children, visits = of("stature", "girl"), seen("stature", "girl", (4.0, 1010), (7.0, 1215), (9.5, 1350))
    mean, loadings = children.at(visits.ages_years)
    joint = np.vstack((children.size_loadings, children.size_loadings - loadings))
    cov = joint @ joint.T
    cov[1:, 1:] += children.wander_sd**2 * np.eye(3)
    off = np.log(visits.mm / visits.curve.fraction(visits.ages_years)) - children.size_log + mean
    gain = cov[0, 1:] @ np.linalg.inv(cov[1:, 1:])
    found = adult_size(visits)
    assert found.mean_log == pytest.approx(children.size_log + gain @ off, abs=1e-5)
    assert found.sd_log == pytest.approx(np.sqrt(cov[0, 0] - gain @ cov[1:, 0]), rel=1e-4)


@given(st.lists(st.floats(2, 14), min_size=1, max_size=6, unique=True), st.floats(2, 14), st.sampled_from(SEXES))
@settings(max_examples=40, deadline=None)
def test_a_further_visit_never_widens_the_band(ages: list[float], further: float, sex: Sex) -> None:
    curve = stature_curve(load_protocol(), sex)
    visits = [(age, 1700 * float(curve.fraction(age))) for age in (*ages, further)]
    before, after = adult_size(seen("stature", sex, *visits[:-1])), adult_size(seen("stature", sex, *visits))
    assert after.sd_log <= before.sd_log + 1e-9


def test_stature_beside_leg_length_narrows_the_band() -> None:
    stature = stature_curve(load_protocol(), "boy")
    leg = seen("leg", "boy", (13.0, 780))
    tall = seen("stature", "boy", *((age, 1780 * float(stature.fraction(age))) for age in range(6, 14)))
    assert adult_size(leg, beside=tall).sd_log < 0.95 * adult_size(leg).sd_log


def test_quantiles_are_those_of_a_log_normal() -> None:
    adult = Adult(7.0, 0.03)
    for q in (0.05, 0.5, 0.9):
        assert adult.quantile_mm(q) == pytest.approx(stats.lognorm.ppf(q, 0.03, scale=np.exp(7.0)))


@pytest.mark.parametrize("measure", MEASURES)
@pytest.mark.parametrize("sex", SEXES)
def test_the_tables_agree_with_themselves(measure: Measure, sex: Sex) -> None:
    table = load_protocol().table(f"population_{measure}_{sex}s")
    children = of(measure, sex)
    assert children.spread(table.column("age_years")) == pytest.approx(table.column("sd"), abs=5e-5)
    assert children.spread([20.0]) == 0
    assert "even-numbered children were left" in table.provenance


def test_the_spread_is_widest_in_the_growth_spurt_and_boys_have_it_later() -> None:
    ages = np.arange(8, 18, 0.5)
    girls, boys = (ages[of("stature", sex).spread(ages).argmax()] for sex in SEXES)
    assert 10 <= girls <= 12.5
    assert girls + 1 <= boys <= 15


def test_no_visit_and_no_length_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one visit"):
        adult_size(seen("stature", "girl"))
    with pytest.raises(ValueError, match="above 0 mm"):
        adult_size(seen("stature", "girl", (8.0, -1200)))
