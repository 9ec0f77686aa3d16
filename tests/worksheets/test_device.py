"""The worksheet of a lengthening by a nail: its healing, the knee, weight, and how it comes out."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from pathway.days import add_months, in_months
from pathway.problems import Refused
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.worksheets.case import case_of
from pathway.worksheets.lengthening import worksheet as lengthening
from pathway.worksheets.sheet import Sheet
from tests.sample import HEALTHY, LEGS, at_age, child, visit
from tests.worksheets.cases import by_hand, protocol, sheet

NAIL = "femoral_internal_nail"
BASE = {"amount_mm": "50", "operation_on": "2030-01-07"}
DAY = datetime.date(2030, 1, 7)


def hand(**settings: str) -> Sheet:
    return lengthening.worksheet(by_hand(), {**BASE, **settings})


def words(made: Sheet) -> str:
    return " ".join(text for section in made.sections for text in section.words)


def test_the_device_comes_from_the_stage_of_the_plan() -> None:
    made = sheet("lengthening", name="elder-15")
    assert made.input("device").value == NAIL
    assert made.input("device").origin == "plan"
    assert made.input("rod").value is False


def test_without_a_plan_it_is_the_usual_one() -> None:
    assert hand().input("device").value == "femoral_frame_then_rod"


@pytest.mark.parametrize(
    ("settings", "months_per_cm", "ends"),
    # 50 consecutive lengthenings with motorised nails, Acta Orthop 2019;90:81: femur 1.2 (0.6 to 2.5) months for each
    # cm, tibia 2.5 (1.6 to 4.0).
    [
        ({"device": NAIL}, 1.2, (0.6, 2.5)),
        ({"bone": "tibia", "device": "tibial_internal_nail", "tibia_mm": "300"}, 2.5, (1.6, 4.0)),
    ],
)
def test_new_bone_over_a_nail_is_solid_after_the_published_months(
    settings: dict[str, str], months_per_cm: float, ends: tuple[float, float]
) -> None:
    made = hand(**{"femur_mm": "300", **settings})
    line = made.line("New bone solid, the nail stays")
    assert isinstance(line.value, datetime.date)
    assert in_months((line.value - DAY).days) == pytest.approx(5 * months_per_cm, abs=0.4)
    assert line.spread is not None
    low, high = line.spread
    assert isinstance(high, datetime.date)
    assert in_months((high - DAY).days) == pytest.approx(5 * ends[1], abs=0.4)
    assert low <= line.value


def test_it_comes_out_twelve_to_twenty_four_months_after_it_went_in() -> None:
    made = hand(device=NAIL, femur_mm="300")
    assert made.line("Nail comes out").spread == (add_months(DAY, 12), add_months(DAY, 24))
    assert "Device comes off" not in {line.label for section in made.sections for line in section.lines}


def test_nothing_of_a_frame_is_said_of_a_nail() -> None:
    made = hand(device=NAIL, femur_mm="300")
    labels = " ".join(line.label for section in made.sections for line in section.lines)
    assert "in a frame" not in labels
    assert "Fracture after removal" not in labels
    assert "Protected until" not in labels
    assert "no rod follows" in words(made)
    assert made.line("Spans the knee").value == "no: brace and daily therapy must keep it"
    assert "Partial weight until three of four sides are bridged" in words(made)


def test_the_turns_are_those_of_a_frame() -> None:
    frame, nail = hand(femur_mm="300"), hand(femur_mm="300", device=NAIL)
    assert frame.section("Calendar of turns").tables == nail.section("Calendar of turns").tables
    assert frame.line("End of distraction").value == nail.line("End of distraction").value


def test_an_index_set_by_hand_stands() -> None:
    made = hand(device=NAIL, femur_mm="300", index_days_per_cm="60")
    assert made.input("index_days_per_cm").value == 60


def test_too_much_for_a_nail_and_too_young_are_warned_of() -> None:
    said = " ".join(warning.text for warning in hand(device=NAIL, femur_mm="300", amount_mm="85").warnings)
    assert "80 mm is the most" in said
    assert "the clinic enters them in its rules" in said


def test_a_device_of_the_other_bone_is_refused() -> None:
    with pytest.raises(Refused, match="device"):
        hand(device="tibial_internal_nail", femur_mm="300")


def test_every_device_of_a_bone_has_a_sheet() -> None:
    for device in protocol().devices:
        made = hand(bone=device.bone, device=device.id, femur_mm="300", tibia_mm="300")
        assert made.section(f"Device: {device.label}").words


def test_a_frame_over_a_nail_comes_off_when_the_length_is_reached() -> None:
    made = hand(device="femoral_frame_over_nail", femur_mm="300")
    assert made.line("Frame comes off, from").value == made.line("End of distraction").value
    solid = made.line("New bone solid, what is inside holds it").value
    assert isinstance(solid, datetime.date)
    assert solid > made.line("End of distraction").value  # type: ignore[operator]
    # 28 bones over a nail, J Orthop Traumatol 2019: femora solid at 6 months.
    assert made.line("New bone solid over a nail, published").value == 6
    assert made.input("protected_weeks").value == 0
    assert made.input("rod").value is False
    visits = [row[3] for row in made.section("Visits").tables[0].rows]
    assert "end of distraction: film; the frame may come off, what is inside holds the bone" in visits
    assert visits[-1] == "full weight, if the bone is solid"
    assert "Fracture after removal" not in {line.label for section in made.sections for line in section.lines}


def test_a_nail_is_not_taken_out_before_the_new_bone_is_solid() -> None:
    made = hand(bone="tibia", device="tibial_internal_nail", tibia_mm="300")
    solid, spread = made.line("New bone solid, the nail stays").value, made.line("Nail comes out").spread
    assert spread is not None
    assert spread[0] == solid
    assert made.line("Nail comes out").note == "not before the new bone is solid"


def test_what_the_childs_findings_say_against_a_device_stands_on_the_sheet() -> None:
    told = {warning.text: warning.stop for warning in hand(device=NAIL, femur_mm="300").warnings}
    against = next(text for text in told if "the pelvis must be spanned" in text)
    assert told[against] is True
    assert any("width of the femoral canal" in text and text.endswith("must be known first.") for text in told)


def test_a_body_weight_over_the_clinics_limit_is_outside_the_rules(tmp_path: Path) -> None:
    own = f'[[device]]\nid = "{NAIL}"\nmost_weight_kg = 50\nlicensed_from_years = 12\nprovenance = "practice"\n'
    (tmp_path / "ours.toml").write_text(own + 'sources = ["common_practice"]\n', encoding="utf-8")
    record = child(visit(at_age(14), {**HEALTHY, **LEGS, "weight_kg": 61.0}))
    case = case_of(Question(record, load_protocol(tmp_path), at_age(14)))
    chosen = {"device": NAIL, "femur_mm": "300", "amount_mm": "50", "operation_on": str(at_age(14.2))}
    told = {warning.text: warning.stop for warning in lengthening.worksheet(case, chosen).warnings}
    assert any("body weight" in text and stop for text, stop in told.items())
    assert not any("enters them in its rules" in text for text in told)


def test_less_than_a_nail_is_chosen_for_is_said() -> None:
    said = " ".join(warning.text for warning in hand(device=NAIL, femur_mm="300", amount_mm="15").warnings)
    assert "20 mm is the least it is chosen for" in said
