"""A worksheet on a screen speaks of its inputs by their labels, of sources by number, and of no command line."""

from __future__ import annotations

import pytest

from pathway.problems import Problem
from pathway.views.words.sheet_on_screen import fault_words, faults_by_input, labels_of, on_screen, plain
from pathway.views.words.worksheet import result_lines
from tests.worksheets.osteotomy.sheets import sheet

LABELS = {"neck_width_mm": "width of the neck", "hip_centre": "centre of the hip", "side": "side"}


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("measure it (--set neck_width_mm=…)", "measure it"),
        ("measure it, or give it with --set neck_width_mm=…", "measure it, or type it at “width of the neck”"),
        ("mark it: --set hip_centre=x,y, or leave it", "mark it: “centre of the hip”, or leave it"),
        ("set neck_width_mm to a smaller value", "set “width of the neck” to a smaller value"),
        ("the side of the bone", "the side of the bone"),
    ],
)
def test_what_the_command_line_asks_for_is_said_as_a_form_asks_for_it(told, said) -> None:
    assert plain(told, LABELS) == said


def test_a_fault_belongs_to_its_input_and_one_of_no_input_to_none() -> None:
    faults = (
        Problem("worksheet", "neck_width_mm", None, "'x'", "a number", "correct it"),
        Problem("worksheet", "inputs", None, "no finite number", "inputs that fit", "check neck_width_mm"),
    )
    assert faults_by_input(faults, LABELS) == {
        "neck_width_mm": "found 'x', expected a number; correct it",
        "": "found no finite number, expected inputs that fit; check “width of the neck”",
    }
    assert fault_words(faults[0], LABELS) == faults_by_input(faults, LABELS)["neck_width_mm"]


def test_no_name_of_an_input_or_source_is_left_in_what_a_sheet_says() -> None:
    made = sheet(without=("femoral_shaft_width_mm",), apparent_neck_shaft_angle_deg=100)
    lines = " ".join(result_lines(on_screen(made), 2000, drawn=False))
    assert "--set" not in lines
    names = [*labels_of(made.inputs), *(source.id for source in made.sources)]
    assert [name for name in names if "_" in name and name in lines] == []


def test_sources_are_cited_by_the_number_under_which_they_are_listed() -> None:
    made = sheet(apparent_neck_shaft_angle_deg=100)
    told = on_screen(made)
    assert [source.id for source in told.sources] == [str(place + 1) for place in range(len(made.sources))]
    before = {source.id: source.citation for source in made.sources}
    after = {source.id: source.citation for source in told.sources}
    cited = [(a.sources, b.sources) for a, b in _lines(made, told) if a.sources]
    assert cited
    for one, other in cited:
        assert [before[id] for id in one] == [after[id] for id in other]


def _lines(one, other):
    pairs = zip(one.sections, other.sections, strict=True)
    return [pair for a, b in pairs for pair in zip(a.lines, b.lines, strict=True)]
