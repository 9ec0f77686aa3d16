"""Adult size from any visits: how children depart from the curve, and how far the curve itself is known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from pathway.growth import Adult, Recentring, Visits, adult_size, growth_curve, population, stature_curve
from pathway.growth.population import Measure, Population, recentring
from pathway.protocol.load import load_protocol
from pathway.record import Sex

SEXES: tuple[Sex, ...] = ("girl", "boy")
MEASURES: tuple[Measure, ...] = ("stature", "leg")
NOT_MOVED = Recentring(0.0, 0.0)


def seen(measure: Measure, sex: Sex, *visits: tuple[float, float]) -> Visits:
    protocol = load_protocol()
    curve = stature_curve(protocol, sex) if measure == "stature" else growth_curve(protocol, sex)
    ages, mm = np.array(visits, float).reshape(-1, 2).T
    return Visits(population(protocol, measure, sex), curve, ages, mm)


def of(measure: Measure, sex: Sex) -> Population:
    return population(load_protocol(), measure, sex)


def curve_of_the_rules() -> Recentring:
    return recentring(load_protocol())


@given(st.floats(2, 16), st.floats(0.8, 1.2), st.sampled_from(SEXES), st.sampled_from(MEASURES))
@settings(max_examples=40, deadline=None)
def test_on_the_curve_as_published_one_visit_gives_its_length_times_the_multiplier(
    age: float, tall: float, sex: Sex, measure: Measure
) -> None:
    visits = seen(measure, sex, (age, 700 * tall))
    expected = 700 * tall * float(visits.curve.multiplier(age))
    assert adult_size(visits, NOT_MOVED).centre_mm == pytest.approx(expected, rel=1e-9)


@given(st.floats(2, 16), st.sampled_from(SEXES), st.sampled_from(MEASURES))
@settings(max_examples=30, deadline=None)
def test_on_the_curve_moved_wholly_one_visit_gives_what_the_observed_children_had(
    age: float, sex: Sex, measure: Measure
) -> None:
    visits = seen(measure, sex, (age, 700.0))
    expected = 700 * float(visits.curve.multiplier(age)) * np.exp(visits.of.at([age])[0][0])
    assert adult_size(visits, Recentring(1.0, 0.0)).centre_mm == pytest.approx(expected, rel=1e-9)


@given(st.lists(st.floats(2, 15), min_size=1, max_size=6, unique=True), st.floats(0.5, 2), st.sampled_from(SEXES))
@settings(max_examples=30, deadline=None)
def test_a_child_of_any_size_is_foretold_in_proportion(ages: list[float], scale: float, sex: Sex) -> None:
    """No mean of any town draws the adult size to itself."""
    curve = stature_curve(load_protocol(), sex)
    heights = [(age, 1700 * float(curve.fraction(age)) * (1 + 0.01 * k)) for k, age in enumerate(sorted(ages))]
    one, other = (
        adult_size(seen("stature", sex, *((age, c * mm) for age, mm in heights)), curve_of_the_rules())
        for c in (1.0, scale)
    )
    assert other.centre_mm == pytest.approx(scale * one.centre_mm, rel=1e-9)
    assert other.sd_log == pytest.approx(one.sd_log, rel=1e-9)


def test_the_conditioning_is_that_of_least_squares_in_all_unknowns() -> None:
    # The same answer from the textbook's weighted least squares in adult size, recentring and departures at once,
    # each prior a row of its own and adult size without any.
    children, towards = of("stature", "girl"), Recentring(0.4, 0.6)
    visits = seen("stature", "girl", (4.0, 1010), (7.0, 1215), (9.5, 1350))
    mean, loadings = children.at(visits.ages_years)
    rows = np.column_stack((np.ones(3), -mean, -loadings)) / children.wander_sd
    priors = np.diag([0.0, 1 / towards.sd, *np.ones(children.factors)])[1:]
    values = np.log(visits.mm / visits.curve.fraction(visits.ages_years)) / children.wander_sd
    design = np.vstack((rows, priors))
    expected = np.linalg.lstsq(
        design, np.concatenate((values, [towards.mean / towards.sd], np.zeros(children.factors))), rcond=None
    )[0]
    found = adult_size(visits, towards)
    assert found.mean_log == pytest.approx(expected[0], abs=1e-9)
    assert found.sd_log == pytest.approx(np.sqrt(np.linalg.inv(design.T @ design)[0, 0]), rel=1e-6)


@pytest.mark.parametrize("sex", SEXES)
@pytest.mark.parametrize("part", [0.0, 1.0])
def test_the_visits_weigh_anew_how_far_the_curve_is_moved(sex: Sex, part: float) -> None:
    # A child who follows one of the two courses exactly ends nearer to its true size where the visits may decide.
    children, curve = of("stature", sex), stature_curve(load_protocol(), sex)
    ages = np.arange(2, 13.01, 0.5)
    heights = 1700 * curve.fraction(ages) * np.exp(-part * children.at(ages)[0])
    visits = Visits(children, curve, ages, heights)
    wrong = 1 - part
    fixed, weighed = (abs(adult_size(visits, Recentring(wrong, sd)).centre_mm - 1700) for sd in (0.0, 0.5))
    assert weighed < fixed


@given(st.lists(st.floats(2, 14), min_size=1, max_size=6, unique=True), st.floats(2, 14), st.sampled_from(SEXES))
@settings(max_examples=40, deadline=None)
def test_a_further_visit_never_widens_the_band(ages: list[float], further: float, sex: Sex) -> None:
    curve = stature_curve(load_protocol(), sex)
    visits = [(age, 1700 * float(curve.fraction(age))) for age in (*ages, further)]
    before, after = (adult_size(seen("stature", sex, *some), curve_of_the_rules()) for some in (visits[:-1], visits))
    assert after.sd_log <= before.sd_log + 1e-9


def test_not_knowing_the_curve_widens_the_band() -> None:
    visits = seen("stature", "boy", (11.5, 1450))
    sds = [adult_size(visits, Recentring(0.5, sd)).sd_log for sd in (0.0, 0.5, 2.0)]
    assert sds[0] < sds[1] < sds[2]


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
    assert "leaving children out, in seven folds" in table.provenance


def test_the_spread_is_widest_in_the_growth_spurt_and_boys_have_it_later() -> None:
    ages = np.arange(8, 18, 0.5)
    girls, boys = (ages[of("stature", sex).spread(ages).argmax()] for sex in SEXES)
    assert 10 <= girls <= 12.5
    assert girls + 1 <= boys <= 15


def test_no_visit_and_no_length_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one visit"):
        adult_size(seen("stature", "girl"), NOT_MOVED)
    with pytest.raises(ValueError, match="above 0 mm"):
        adult_size(seen("stature", "girl", (8.0, -1200)), NOT_MOVED)
