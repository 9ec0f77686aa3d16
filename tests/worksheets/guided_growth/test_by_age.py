"""No plate for what is normal at the child's age, nor for what one film cannot tell from it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.growth import Posterior
from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.worksheets import guided_growth
from pathway.worksheets.case import case_of
from pathway.worksheets.joint_angles import norms_ahead, place
from pathway.worksheets.sheet import Sheet
from tests.sample import HEALTHY, LEGS, at_age, child, visit
from tests.worksheets.cases import growth_of, protocol

WIDTH = {"width_mm": "50"}


def of_age(years: float, settings: dict[str, str]) -> Sheet:
    """Return the sheet of a boy of an age with a short left leg, measured on the day."""
    record, posterior = boy(years)
    case = case_of(Question(record, protocol(), at_age(years)), posterior=posterior)
    return guided_growth.worksheet(case, {**WIDTH, **settings})


def boy(years: float, **angles: float) -> tuple[Record, Posterior | None]:
    """Return a boy of an age with these angles of the short leg on film and no others."""
    healthy = {name: value for name, value in HEALTHY.items() if "femoral_angle" not in name}
    legs = {**LEGS, "affected.femur_length_mm": 300.0, "other.femur_length_mm": 330.0}
    record, on = child(visit(at_age(years), {**healthy, **legs, **angles})), at_age(years)
    return record, growth_of(record, on)


@pytest.mark.parametrize(
    ("years", "measured", "said"),
    [
        # 2 y 8 m, 86 deg: 2 deg from an adult's target, inside the band of the age.
        (2.67, "86", "inside the normal band"),
        # Varus of the first years (Sabharwal 2008: mean 95 deg at 1 to 2 years) is normal then, and not at 6.
        (1.5, "96", "inside the normal band"),
        # What is normal falls to 87.5 deg at 3 years: an infant's 86 deg is where it is going.
        (1.5, "86", "inside the normal band of the years to come"),
        (6.0, "86", "inside the normal band"),
        (12.0, "85", "inside the normal band"),
        # Braun 2023: one reading is right to 1.06 deg.
        (12.0, "84", "outside the normal band by less than the reading error of ±1.06 deg"),
        (12.0, "91", "outside the normal band by less than the reading error of ±1.06 deg"),
    ],
)
def test_no_plate_is_offered_and_the_next_film_named(years: float, measured: str, said: str) -> None:
    with pytest.raises(Refused) as told:
        of_age(years, {"measured_deg": measured})
    fault = told.value.problems[0]
    assert fault.key == "measured_deg"
    assert said in fault.found
    months = 12 if "inside" in said else 6
    assert f"no plate; take the film again in {months} months" in fault.remedy


@pytest.mark.parametrize(
    ("years", "measured"), [(1.5, "82"), (2.67, "80"), (6.0, "96"), (12.0, "83.5"), (12.0, "91.5")]
)
def test_an_angle_outside_the_band_gets_a_sheet_and_is_told_so(years: float, measured: str) -> None:
    made = of_age(years, {"measured_deg": measured})
    assert made.line("Measured against age").value == "outside the normal band"
    assert not any(item.stop and "by the child's age" in item.text for item in made.warnings)


def test_the_same_angle_is_normal_at_one_age_and_not_at_another() -> None:
    with pytest.raises(Refused, match="inside the normal band"):
        of_age(1.5, {"measured_deg": "95"})
    assert of_age(5.0, {"measured_deg": "95"}).line("Outside the band by").value == pytest.approx(4.4)


def test_an_angle_set_by_hand_is_worked_out_under_a_stop_with_what_to_do() -> None:
    made = of_age(6.0, {"measured_deg": "86", "angle_deg": "3"})
    stop = next(item for item in made.warnings if item.stop)
    assert stop.text.startswith("No plate by the child's age: 86 deg is inside the normal band")
    assert "take the film again in 12 months" in stop.text


def test_where_no_norm_is_known_the_sheet_says_so_and_stops() -> None:
    made = of_age(5.0, {"physis": "proximal_tibia", "measured_deg": "96"})
    stop = next(item for item in made.warnings if item.stop)
    assert "no normal band is known before 8 years" in stop.text
    assert made.line("Measured against age").value == "not judged: no normal band is known before 8 years"
    with pytest.raises(KeyError):
        made.line("Outside the band by")


def test_without_a_norm_the_reading_error_still_holds() -> None:
    # 88.9 is 0.9 deg from the target of 88, within ±1.29 deg (Braun 2023).
    with pytest.raises(Refused, match="more than the reading error"):
        of_age(5.0, {"physis": "proximal_tibia", "measured_deg": "88.9"})


def test_no_knee_is_steered_to_what_is_normal_only_for_an_infant() -> None:
    made = of_age(1.6, {"measured_deg": "80"})
    assert made.input("goal_deg").value == 88
    assert made.line("Outside the band by").value == pytest.approx(4)
    assert any("still falls at this age" in item.text for item in made.warnings)
    assert not any("still falls" in item.text for item in of_age(6.0, {"measured_deg": "80"}).warnings)


def test_earlier_than_the_protocol_plans_a_plate_is_told() -> None:
    rule = next(rule for rule in protocol().age_windows if rule.id == "guided_growth.from_walking")
    assert rule.at_least_months == 18
    assert any(item.rule == rule.id for item in of_age(1.3, {"measured_deg": "80"}).warnings)
    assert not any(item.rule == rule.id for item in of_age(1.6, {"measured_deg": "80"}).warnings)


def test_without_any_measured_angle_age_and_side_are_not_judged_and_said() -> None:
    made = of_age(6.0, {"angle_deg": "8"})
    assert made.section("Judged by age").words == ("Not judged: no angle was measured on a film.",)
    assert any("--set measured_deg" in item.text for item in made.warnings)
    assert made.drawings == ()


def test_an_angle_that_is_not_measured_less_target_is_told() -> None:
    made = of_age(6.0, {"measured_deg": "80", "angle_deg": "20"})
    assert any("measured and target are 8.0 deg apart" in item.text for item in made.warnings)
    same = of_age(6.0, {"measured_deg": "80", "angle_deg": "8"})
    assert not any("apart" in item.text for item in same.warnings)


def test_a_film_that_will_be_old_at_the_operation_is_told() -> None:
    made = of_age(6.0, {"measured_deg": "80", "start_on": str(at_age(8))})
    assert any("24 months old when the plate is inserted" in item.text for item in made.warnings)
    assert not any("months old" in item.text for item in of_age(6.0, {"measured_deg": "80"}).warnings)


def test_the_plate_whose_angle_was_measured_is_the_one_guided() -> None:
    record, posterior = boy(9.0, medial_proximal_tibial_angle_deg=97.0)
    case = case_of(Question(record, protocol(), at_age(9)), posterior=posterior)
    made = guided_growth.worksheet(case, WIDTH)
    assert made.input("physis").value == "proximal_tibia"
    assert made.input("physis").note == "the only plate whose angle was measured"


@settings(max_examples=60, deadline=None)
@given(years=st.sampled_from((1.2, 2.0, 2.67, 4.0, 6.5, 9.0, 13.0)), tenths=st.integers(650, 1150))
def test_a_plate_is_offered_only_outside_the_band_and_beyond_the_reading_error(years: float, tenths: int) -> None:
    measured = tenths / 10
    ahead = norms_ahead(protocol(), "lateral_distal_femoral_angle_deg", years, "boy")
    try:
        made = of_age(years, {"measured_deg": str(measured), "yearly_mm": "12"})
    except Refused as refused:
        assert refused.problems[0].key in ("measured_deg", "angle_deg")
        return
    assert all(place(protocol(), norm, measured) == "outside" for norm in ahead)
    assert made.input("angle_deg").value == pytest.approx(abs(measured - float(made.input("goal_deg").value)))  # type: ignore[arg-type]
