"""What is normal for an angle of the knee at an age: printed numbers, straight lines between, reading errors."""

from __future__ import annotations

from itertools import pairwise
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.record import Sex
from pathway.worksheets.joint_angles import (
    TABLE,
    Angle,
    Read,
    known_from_years,
    norm_for,
    norms_ahead,
    place,
    reading_error,
)
from tests.worksheets.cases import protocol

FEMUR: Angle = "lateral_distal_femoral_angle_deg"
TIBIA: Angle = "medial_proximal_tibial_angle_deg"
AXIS: Angle = "tibiofemoral_valgus_deg"
ANGLES: tuple[Angle, ...] = get_args(Angle)
SEXES: tuple[Sex, ...] = get_args(Sex)


@pytest.mark.parametrize(
    ("angle", "sex", "years", "normal", "band", "basis"),
    [
        # Sabharwal et al. 2008, J Pediatr Orthop 28:740-746: mean 95 deg at 1 to 2 years.
        (FEMUR, "boy", 1.0, 95, (90, 100), ("printed", "judgement")),
        (FEMUR, "girl", 1.5, 95, (90, 100), ("printed", "judgement")),
        # Indian J Orthop 2022;56:639-645: between 87 and 88 deg after 5 years.
        (FEMUR, "girl", 5.0, 87.5, (84.4, 90.6), ("printed", "judgement")),
        (FEMUR, "boy", 8.0, 87.5, (85, 90), ("printed", "memory")),
        # The same: about 88 deg after 8 years.
        (TIBIA, "boy", 8.0, 88, (85, 90), ("printed", "memory")),
        # Adults as taught: 88 (85 to 90) and 87 (85 to 90).
        (FEMUR, "boy", 18.0, 88, (85, 90), ("memory", "memory")),
        (TIBIA, "girl", 18.0, 87, (85, 90), ("memory", "memory")),
        # Schlegl et al. 2015, Int Orthop 39:2073-2080: 8.0 (boys) and 4.9 (girls) at 3 years, then -1.5 and 0.1.
        (AXIS, "boy", 3.0, 8.0, (3, 13), ("printed", "judgement")),
        (AXIS, "girl", 3.0, 4.9, (-0.1, 9.9), ("printed", "judgement")),
        (AXIS, "boy", 16.0, -1.5, (-4.5, 1.5), ("judgement", "judgement")),
        (AXIS, "girl", 16.0, 0.1, (-2.9, 3.1), ("judgement", "judgement")),
        # Ours: half way between 2 and 3 years, half way between 8 and 16.
        (FEMUR, "boy", 2.5, 91.25, (87, 95.5), ("judgement", "judgement")),
        (TIBIA, "boy", 12.0, 87.5, (85, 90), ("judgement", "memory")),
    ],
)
def test_the_norm_at_an_age(
    angle: Angle, sex: Sex, years: float, normal: float, band: tuple[float, float], basis: tuple[str, str]
) -> None:
    found = norm_for(protocol(), angle, years, sex)
    assert found is not None
    assert found.normal_deg == pytest.approx(normal)
    assert (found.low_deg, found.high_deg) == pytest.approx(band)
    assert (found.normal_from, found.band_from) == basis


@pytest.mark.parametrize(("angle", "years"), [(FEMUR, 1), (TIBIA, 8), (AXIS, 3)])
@pytest.mark.parametrize("sex", SEXES)
def test_below_the_first_age_nothing_is_known(angle: Angle, years: float, sex: Sex) -> None:
    assert known_from_years(protocol(), angle, sex) == years
    assert norm_for(protocol(), angle, years - 0.01, sex) is None
    assert norm_for(protocol(), angle, years, sex) is not None


@pytest.mark.parametrize(
    ("what", "printed"),
    [
        # Braun et al. 2023, J Orthop Surg Res 18:69: 144 legs of 36 children, two observers.
        ("lateral_distal_femoral_angle_deg", 1.06),
        ("medial_proximal_tibial_angle_deg", 1.29),
        ("tibiofemoral_valgus_deg", 1.39),
        ("mechanical_axis_deviation_mm", 3.31),
    ],
)
def test_the_error_of_one_reading(what: Read, printed: float) -> None:
    assert reading_error(protocol(), what).value == printed
    finding = next((rule for rule in protocol().findings if rule.id == what), None)
    assert finding is None or finding.sd == pytest.approx(printed / 1.96, abs=0.02)


@pytest.mark.parametrize(
    ("measured", "where"),
    [(85, "inside"), (90, "inside"), (84.0, "within_error"), (91.06, "within_error"), (83.9, "outside")],
)
def test_where_an_angle_lies_at_ten_years(measured: float, where: str) -> None:
    norm = norm_for(protocol(), FEMUR, 10, "girl")
    assert norm is not None
    assert place(protocol(), norm, measured) == where


@given(angle=st.sampled_from(ANGLES), sex=st.sampled_from(SEXES), age=st.floats(0, 20), measured=st.floats(60, 120))
def test_the_normal_angle_lies_inside_its_band_and_the_band_inside_itself(
    angle: Angle, sex: Sex, age: float, measured: float
) -> None:
    norm = norm_for(protocol(), angle, age, sex)
    if norm is None:
        return
    assert norm.low_deg < norm.normal_deg < norm.high_deg
    assert place(protocol(), norm, norm.normal_deg) == "inside"
    assert (norm.off_deg(measured) == 0) == (norm.low_deg <= measured <= norm.high_deg)
    assert norm.off_deg(measured) * (measured - norm.normal_deg) >= 0


@given(angle=st.sampled_from(ANGLES), sex=st.sampled_from(SEXES), age=st.floats(8, 20))
def test_nothing_jumps_with_age(angle: Angle, sex: Sex, age: float) -> None:
    now, soon = (norm_for(protocol(), angle, years, sex) for years in (age, age + 0.01))
    assert now is not None and soon is not None
    for at in ("normal_deg", "low_deg", "high_deg"):
        assert getattr(now, at) == pytest.approx(getattr(soon, at), abs=0.05)


def test_the_rows_rise_with_age_and_have_known_sources() -> None:
    known = {source.id for source in protocol().sources}
    rows = protocol().table(TABLE).rows
    assert {row[-1] for row in rows} <= known
    for one, next_one in pairwise(rows):
        assert one[:2] != next_one[:2] or one[2] < next_one[2]  # type: ignore[operator]


def test_the_band_of_a_child_of_three_begins_where_the_plan_proposes_guided_growth() -> None:
    rule = next(rule for rule in protocol().indications if rule.id == "guided_growth.knee_valgus")
    norm = norm_for(protocol(), FEMUR, 3, "boy")
    assert norm is not None
    assert [leaf.below for leaf in rule.when.leaves()] == [norm.low_deg]


@given(angle=st.sampled_from(ANGLES), sex=st.sampled_from(SEXES), age=st.floats(0, 20), later=st.floats(0, 10))
def test_what_lies_ahead_holds_the_band_of_every_later_age(angle: Angle, sex: Sex, age: float, later: float) -> None:
    ahead, then = norms_ahead(protocol(), angle, age, sex), norm_for(protocol(), angle, age + later, sex)
    if not ahead:
        assert norm_for(protocol(), angle, age, sex) is None
        return
    assert then is not None
    assert min(norm.low_deg for norm in ahead) <= then.low_deg + 1e-9
    assert max(norm.high_deg for norm in ahead) >= then.high_deg - 1e-9
