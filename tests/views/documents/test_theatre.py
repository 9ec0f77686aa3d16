"""The page for the table: every number from the model, every step with its check and stop; a refused plan has none."""

from __future__ import annotations

import datetime
import io
import re
from dataclasses import replace
from typing import Any

import pikepdf
import pytest

from pathway.upper_femur.fits import REASONS, least_bridge_mm
from pathway.upper_femur.model import ranges_of, result, solved
from pathway.views.documents.document import Callout, Document, Figure, Readings, Table
from pathway.views.documents.files import html, markdown, pdf
from pathway.views.documents.theatre import NO_STEPS, SAW, Head, theatre
from tests.upper_femur.test_model import ERRORS, EXAMPLES, REACH, given

CAUTION = "Planning aid, not a medical device; a licensed surgeon decides."
HEAD = Head("elm-01", datetime.date(2026, 3, 1), (CAUTION, "Invented child: no real patient."))
IMPLANTS = (90.0, 100.0, 110.0, 120.0, 130.0, 140.0)
MINUS = {
    "wire_side_deg": "back",
    "slot_deg": "front",
    "rotation_deg": "out",
    "plate_shift_mm": "in",
    "extension_deg": "front",
}
"""The word with which a number is the negative one: where a sign is a way, no sign stands."""
ALLOWED = [example for example in EXAMPLES if not example["refused"]]
REFUSED = [example for example in EXAMPLES if example["refused"]]


def name_of(example: dict[str, Any]) -> str:
    return example["name"].split()[0]


def page(example: dict[str, Any], implants: tuple[float, ...] = IMPLANTS) -> Document:
    bone, plan = given(example["inputs"])
    found = solved(bone, plan)
    ranges = {} if found.settings is None else ranges_of(bone, plan, found.settings, ERRORS, REACH)
    return theatre(bone, plan, found, ranges, HEAD, implants)


def tables(of: Document) -> dict[str, Table]:
    return {block.name: block for block in of.blocks if isinstance(block, Table)}


def readings(of: Document) -> dict[str, tuple[str, str]]:
    return {
        label: (value, small)
        for block in of.blocks
        if isinstance(block, Readings)
        for label, value, small in block.readings
    }


@pytest.mark.parametrize("example", EXAMPLES, ids=name_of)
def test_side_child_day_and_caution_stand_on_every_page(example) -> None:
    made = page(example)
    assert made.title.startswith(f"{example['inputs']['side'].upper()} FEMUR")
    for part in ("elm-01", "2026-03-01", CAUTION):
        assert part in made.footer
    assert any(isinstance(block, Callout) and CAUTION in block.lines for block in made.blocks)


@pytest.mark.parametrize("example", ALLOWED, ids=name_of)
class TestAllowed:
    def test_the_large_numbers_are_those_of_the_worked_example(self, example) -> None:
        shown, of = readings(page(example)), example["numbers"]
        for label, name in (
            ("Neck-shaft angle after", "neck_shaft_after_deg"),
            ("Wire to shaft, front view", "wire_front_deg"),
            ("Wire, side view", "wire_side_deg"),
            ("Implant", "implant_deg"),
            ("Slot about the blade", "slot_deg"),
            ("Cut below the corner", "cut_below_corner_mm"),
            ("Rotation between the wires", "rotation_deg"),
            ("Shift of the shaft", "plate_shift_mm"),
            ("Adduction free after release", "adduction_needed_deg"),
            ("Version after", "version_after_deg"),
        ):
            value, unit, *way = shown[label][0].split(" ")
            sign = -1 if MINUS.get(name, "-") in way else 1
            assert sign * float(value) == pytest.approx(of[name], abs=0.1), label
            assert name.endswith(unit)
        # Never longer than the longest that keeps the margin.
        blade = float(shown["Blade, corner to tip"][0].split(" ")[0])
        assert of["blade_mm"] - 0.15 <= blade <= of["blade_mm"] + 0.001

    def test_each_large_number_that_varies_has_its_range(self, example) -> None:
        small, ranges = readings(page(example)), example["ranges"]
        for label, name in (
            ("Neck-shaft angle after", "neck_shaft_after_deg"),
            ("Wire to shaft, front view", "wire_front_deg"),
            ("Adduction free after release", "adduction_needed_deg"),
        ):
            low, high = map(float, re.findall(r"(-?[\d.]+) to (-?[\d.]+)$", small[label][1])[0])
            assert (low, high) == pytest.approx(tuple(ranges[name]), abs=2.0)

    def test_a_number_whose_sign_is_a_way_has_the_word_and_no_sign(self, example) -> None:
        shown, ranges = readings(page(example)), example["ranges"]
        for label, name, plus, minus in (
            ("Wire, side view", "wire_side_deg", "to the front", "to the back"),
            ("Rotation between the wires", "rotation_deg", "inward", "outward"),
            ("Slot about the blade", "slot_deg", "backward", "forward"),
        ):
            value, small = shown[label]
            assert "-" not in value + small
            if name not in ranges:
                continue
            low, high = ranges[name]
            if low < -2 and high > 2:
                assert re.search(rf"[\d.]+ {minus} to [\d.]+ {plus}$", small), small

    def test_the_frame_of_the_flexion_stands_beside_the_numbers(self, example) -> None:
        told = markdown(page(example))
        plane = "square to the shaft in the plane of neck and shaft" in told
        assert plane == (example["inputs"].get("flexion_frame") == "neck_plane")

    def test_every_step_has_number_check_and_stop(self, example) -> None:
        steps = tables(page(example))["Steps in order"]
        assert [row[0] for row in steps.rows] == [str(number) for number in range(1, 12)]
        assert all(cell for row in steps.rows for cell in row)
        for row in steps.rows:
            assert re.search(r"\d", row[2]), row

    def test_a_change_shows_what_the_model_makes_of_the_same_wire_and_slot(self, example) -> None:
        bone, plan = given(example["inputs"])
        settings = solved(bone, plan).settings
        assert settings is not None
        rows = {row[0]: row for row in tables(page(example))["Changes at the table"].rows}
        for angle in IMPLANTS:
            if angle == plan.implant_deg:
                assert f"Implant {angle:g} deg" not in rows
                continue
            row = rows[f"Implant {angle:g} deg"]
            there = result(bone, replace(plan, implant_deg=angle), replace(settings, implant_deg=angle))
            value = there.numbers["neck_shaft_after_deg"]
            assert value is not None
            assert float(row[1].split(" ")[0]) == pytest.approx(value, abs=0.06)
            assert row[6].startswith("no") or not there.refused

    def test_a_margin_that_may_pass_its_limit_is_named_above_the_steps(self, example) -> None:
        made, ranges = page(example), example["ranges"]
        _, plan = given(example["inputs"])
        told = " ".join(line for block in made.blocks if isinstance(block, Callout) for line in block.lines)
        for name, words, least in (
            ("blade_margin_physis_mm", "Tip to growth plate", plan.blade_margin_mm),
            ("blade_margin_cortex_mm", "Edge of the blade to cortex", plan.cortex_margin_mm),
        ):
            low = ranges[name][0]
            if abs(low - least) > 1.0:  # The examples' ranges are held to 1 mm.
                assert (words in told) == (low < least), name

    def test_no_word_stands_that_a_side_may_be_read_into(self, example) -> None:
        told = markdown(page(example))
        assert "flexion left" not in told.lower()
        assert ",|" not in told.replace(" ", "")

    def test_a_change_that_needs_more_adduction_says_so(self, example) -> None:
        bone, plan = given(example["inputs"])
        found = solved(bone, plan)
        assert found.settings is not None
        rows = {row[0]: row for row in tables(page(example))["Changes at the table"].rows}
        for angle in IMPLANTS:
            if angle == plan.implant_deg or rows[f"Implant {angle:g} deg"][6].startswith("no"):
                continue
            there = result(bone, replace(plan, implant_deg=angle), replace(found.settings, implant_deg=angle))
            needed, free = there.numbers["adduction_needed_deg"], found.numbers["adduction_needed_deg"]
            assert needed is not None
            assert free is not None
            assert ("adduction" in rows[f"Implant {angle:g} deg"][6]) == (needed >= free + 0.05)

    def test_one_page_to_read_and_the_bone_behind_it(self, example) -> None:
        made = page(example)
        assert sum(isinstance(block, Figure) for block in made.blocks) == 3
        with pikepdf.open(io.BytesIO(pdf(made))) as file:
            assert len(file.pages) in (2, 3)


def test_a_blade_that_the_saw_would_meet_is_told_above_all_steps_and_does_not_fit() -> None:
    example = next(one for one in EXAMPLES if name_of(one) == "w05")
    made = page(example)
    bone, plan = given(example["inputs"])
    settings = solved(bone, plan).settings
    assert settings is not None
    assert least_bridge_mm(bone, plan, settings) < 0
    at = [isinstance(block, Callout) and block.title.startswith(SAW) for block in made.blocks].index(True)
    assert at < [isinstance(block, Table) for block in made.blocks].index(True)
    told = made.blocks[at]
    assert isinstance(told, Callout)
    written = re.findall(r"Cut ([\d.]+) mm below the corner or lower", told.title)[0]
    lower = float(written)
    # Who reads the number alone, or the step alone, is told so there too.
    numbers = [row for block in made.blocks if isinstance(block, Readings) for row in block.readings]
    steps = [row for block in made.blocks if isinstance(block, Table) for row in block.rows]
    said = next(row for row in numbers if row[0].startswith("Cut"))
    step = next(row for row in steps if row[1].startswith("Cut, square"))
    assert f"NOT there, the saw meets the blade: {written} mm or lower" in said[2]
    assert f"{written} mm or lower below the corner" in step[2]
    for cut, clear in ((lower, True), (lower - 0.2, False)):
        there = replace(settings, cut_below_corner_mm=cut)
        assert (least_bridge_mm(bone, replace(plan, cut_below_corner_mm=cut), there) >= 0) == clear
    rows = {row[0]: row for row in tables(made)["Changes at the table"].rows}
    assert rows["As planned"][6] == "no: the saw would meet the blade"


def test_flat_a_change_of_implant_changes_the_angle_by_the_difference() -> None:
    rows = {row[0]: row for row in tables(page(EXAMPLES[0]))["Changes at the table"].rows}
    assert rows["As planned"][1] == "130.0 deg"
    assert rows["Implant 120 deg"][1] == "140.0 deg"


@pytest.mark.parametrize("example", REFUSED, ids=name_of)
class TestRefused:
    def test_reasons_stand_on_top_and_no_step_is_printed(self, example) -> None:
        made = page(example)
        told = markdown(made)
        assert "REFUSED" in made.title
        assert isinstance(made.blocks[0], Callout)
        assert made.blocks[0].title == NO_STEPS
        for reason in example["refused"]:
            assert REASONS[reason] in told
        _, plan = given(example["inputs"])
        assert f"implant {plan.implant_deg:g} deg" in told
        assert f"cut {plan.cut_below_corner_mm:.1f} mm below the corner" in told
        for output in (told, html(made)):
            for word in ("Steps in order", "Drive the blade home", "data-part", "Changes at the table"):
                assert word not in output
        assert not tables(made)
        assert not readings(made)
        assert not any(isinstance(block, Figure) for block in made.blocks)

    def test_it_is_one_page(self, example) -> None:
        with pikepdf.open(io.BytesIO(pdf(page(example)))) as file:
            assert len(file.pages) == 1


def test_the_longest_blade_that_fits_is_told() -> None:
    told = markdown(page(next(one for one in EXAMPLES if name_of(one) == "w12")))
    longest = float(re.findall(r"Longest blade that fits along this wire: ([\d.]+) mm", told)[0])
    bone, plan = given(next(one for one in EXAMPLES if name_of(one) == "w12")["inputs"])
    assert solved(bone, replace(plan, blade_mm=longest)).refused == ()
    assert solved(bone, replace(plan, blade_mm=longest + 0.2)).refused == ("blade_crosses_physis_margin",)


def test_without_other_implants_none_is_said_to_have_been_tried() -> None:
    assert "No other implant was tried." in markdown(page(REFUSED[0], ()))


def test_on_paper_of_either_size_and_in_the_browser_the_bone_keeps_its_size() -> None:
    made = page(EXAMPLES[0])
    assert html(made).count("width:182mm") == 6
    for paper in ("a4", "letter"):
        with pikepdf.open(io.BytesIO(pdf(made, paper))) as file:
            assert _bar_mm(file) == pytest.approx(20.0, abs=0.1)


def _bar_mm(file: pikepdf.Pdf) -> float:
    """The length on paper of the first bar that the drawing holds for 20 mm, through every scale that is set."""
    here, kept, start = pikepdf.Matrix(), [], (0.0, 0.0)
    for operands, operator in pikepdf.parse_content_stream(file.pages[1]):
        match str(operator):
            case "q":
                kept.append(here)
            case "Q":
                here = kept.pop()
            case "cm":
                here = pikepdf.Matrix(*map(float, operands)) @ here
            case "m":
                start = float(operands[0]), float(operands[1])
            case "l":
                end = float(operands[0]), float(operands[1])
                if end == pytest.approx((start[0] + 20.0, start[1]), abs=1e-6):
                    (x0, _), (x1, _) = here.transform(start), here.transform(end)
                    return (x1 - x0) * 25.4 / 72
    raise AssertionError("no bar")
