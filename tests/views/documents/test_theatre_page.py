"""The page for the table of a worksheet's inputs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import ClassVar

import pytest

from pathway.views.documents.document import Callout, Figure, Paragraph, Table
from pathway.views.documents.theatre import MEASURED, NO_BLADE, NOT_ALL_MEASURED, OUTSIDE, STOPPED
from pathway.views.documents.theatre_page import missing_sizes, page_of
from pathway.worksheets.osteotomy import given_of
from pathway.worksheets.sheet import CHECK_THE_RADIOGRAPH
from tests.views.documents.test_theatre import readings
from tests.worksheets.osteotomy.sheets import the_case


def given(**settings: object):
    return given_of(the_case(), {name: str(value) for name, value in settings.items()})


def test_what_is_still_to_be_measured_is_named_as_the_sheet_names_it() -> None:
    assert [name for name, _ in missing_sizes(given())] == ["neck_width_mm"]
    assert "width of the neck" in missing_sizes(given())[0][1]
    assert missing_sizes(given(neck_width_mm=17)) == ()


def test_the_page_has_the_numbers_of_the_sheet_and_whose_they_are() -> None:
    of = given(neck_width_mm=17, blade_margin_mm=3)
    made = page_of(of)
    for label, name in (("Wire to shaft, front view", "wire_front_deg"), ("Shift of the shaft", "plate_shift_mm")):
        assert float(readings(made)[label][0].split()[0]) == round(of.numbers.numbers[name], 1)
    for part in ("maple-01", "LEFT", "2026-11-25"):
        assert part in made.footer
    assert CHECK_THE_RADIOGRAPH in made.blocks[0].lines


def test_without_figures_nothing_is_drawn_and_all_else_is_the_same() -> None:
    of = given(neck_width_mm=17, blade_margin_mm=3)
    whole, bare = page_of(of), page_of(of, drawn=False)
    assert any(isinstance(block, Figure) for block in whole.blocks)
    assert bare.blocks == tuple(block for block in whole.blocks if not isinstance(block, Figure))


def callouts(**settings: object) -> dict[str, tuple[str, ...]]:
    made = page_of(given(neck_width_mm=17, **settings), drawn=False)
    return {block.title: block.lines for block in made.blocks if isinstance(block, Callout)}


def steps(**settings: object) -> bool:
    made = page_of(given(neck_width_mm=17, **settings), drawn=False)
    return any(isinstance(block, Table) and block.name == "Steps in order" for block in made.blocks)


class TestWhatTheSheetWarnsOf:
    """The page is never quieter than the sheet; a plan outside the protocol has no steps."""

    GOOD: ClassVar[dict[str, object]] = {"blade_margin_mm": 3}

    def test_a_plan_within_the_protocol_has_its_steps(self) -> None:
        assert steps(**self.GOOD)
        assert OUTSIDE not in callouts(**self.GOOD)

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"neck_wire_length_mm": 24}, "Every blade available is too long"),
            ({"hip_adduction_after_release_deg": 20}, "release more, or correct less"),
            ({"side": "right"}, "WRONG SIDE?"),
        ],
    )
    def test_outside_it_the_reason_stands_on_top_and_no_step_is_printed(
        self, change: dict[str, object], said: str
    ) -> None:
        made = page_of(given(neck_width_mm=17, **{**self.GOOD, **change}), drawn=False)
        first = made.blocks[0]
        assert isinstance(first, Callout)
        assert first.title == OUTSIDE
        assert any(said in line for line in first.lines)
        assert "NOT FOR USE AS IT STANDS" in made.title
        assert not steps(**{**self.GOOD, **change})

    def test_a_wire_as_found_is_told_beside_the_planned_one(self) -> None:
        notes = callouts(**self.GOOD, found_wire_front_deg=95, found_wire_side_deg=5)["TAKE CARE"]
        assert any(
            line.startswith("WIRE AS FOUND, not as planned: 95.0 deg in front, 5.0 deg forward") for line in notes
        )
        assert not any("WIRE AS FOUND" in line for line in callouts(**self.GOOD).get("TAKE CARE", ()))

    def test_what_nobody_measured_is_named(self) -> None:
        said = " ".join(callouts(**self.GOOD)["ASSUMED, NOT MEASURED"])
        assert "no flexion" in said
        assert "a blade without width and thickness" in said
        assert "--set" not in said
        assert "blade_width_mm" not in said
        known = callouts(**self.GOOD, blade_width_mm=8, blade_thickness_mm=2, proximal_femur_flexion_deg=0)
        assert "ASSUMED, NOT MEASURED" not in known


def tables(of) -> dict[str, Table]:
    return {block.name: block for block in page_of(of, drawn=False).blocks if isinstance(block, Table)}


def texts(of) -> str:
    return " ".join(block.text for block in page_of(of, drawn=False).blocks if isinstance(block, Paragraph))


def test_every_size_used_is_listed_with_who_gave_it() -> None:
    of = given(neck_width_mm=17, blade_margin_mm=3)
    listed = {row[0]: row[1:] for row in tables(of)["Sizes of the bone that the numbers rest on"].rows}
    assert listed["Neck length from shaft axis to centre of the head"] == ("34 mm", "measured on 2026-11-18")
    assert listed["Width of the neck in the plane of neck and shaft"] == ("17 mm", "set by hand")
    assert "Neck-shaft angle" in listed


def test_a_size_that_another_one_lends_is_said_to_be_lent() -> None:
    lent = given_of(the_case(without=("femoral_neck_length_mm",)), {"neck_width_mm": "17", "blade_margin_mm": "3"})
    listed = {row[0]: row[1:] for row in tables(lent)["Sizes of the bone that the numbers rest on"].rows}
    _, by = listed["Neck length from shaft axis to centre of the head"]
    assert by == "not measured: as the neck length along the guide wire"


def test_the_bone_is_called_measured_only_where_it_was() -> None:
    assert NOT_ALL_MEASURED in texts(given(neck_width_mm=17, blade_margin_mm=3))
    assert MEASURED not in texts(given(neck_width_mm=17, blade_margin_mm=3))


def test_where_every_blade_is_too_long_the_page_has_one_verdict_and_what_would_fit() -> None:
    of = given(neck_width_mm=17, blade_margin_mm=3, neck_wire_length_mm=24)
    rows = tables(of)["Changes at the table"].rows
    assert rows[0][-1] == NO_BLADE
    assert not [row for row in rows if row[-1].startswith("yes")]
    stop = next(line for line in callouts(blade_margin_mm=3, neck_wire_length_mm=24)[OUTSIDE])
    assert "What would fit: " in stop


def test_of_what_else_stops_a_plan_the_planned_row_says_so() -> None:
    of = given(neck_width_mm=17, blade_margin_mm=3, side="right")
    assert tables(of)["Changes at the table"].rows[0][-1] == STOPPED


def test_of_an_operation_that_the_record_has_as_done_the_page_says_so_first() -> None:
    case = the_case()
    done = replace(case, done_on=date(2030, 6, 1))
    made = page_of(given_of(done, {"neck_width_mm": "17", "blade_margin_mm": "3"}), drawn=False)
    first = made.blocks[0]
    assert isinstance(first, Callout)
    assert first.title == "ALREADY DONE on 2030-06-01, by the record"
    assert not any(title.startswith("ALREADY DONE") for title in callouts(blade_margin_mm=3))
