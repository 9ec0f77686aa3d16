"""The page for the table of a worksheet's inputs."""

from __future__ import annotations

from pathway.views.documents.document import Figure
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
