"""The page for the table in a terminal: the same numbers, steps and reasons, in lines that fit."""

from __future__ import annotations

import pytest

from pathway.upper_femur.fits import REASONS
from pathway.views.documents.document import Callout, Document, Readings, Table
from pathway.views.documents.terminal import document_lines, document_text
from pathway.views.documents.theatre import NO_STEPS
from tests.views.documents.test_theatre import ALLOWED, REFUSED, page
from tests.worksheets.osteotomy.sheets import sheet

WIDTHS = (60, 75, 115, 195)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("example", [ALLOWED[0], ALLOWED[3], REFUSED[0]], ids=lambda one: one["name"].split()[0])
def test_no_line_is_wider_than_the_terminal(example, width) -> None:
    for line in document_text(page(example), width).split("\n"):
        assert len(line) <= width, line


@pytest.mark.parametrize("width", WIDTHS)
def test_every_number_stands_behind_its_label(width) -> None:
    made = page(ALLOWED[0])
    lines = document_text(made, width).split("\n")
    for block in made.blocks:
        for label, value, _ in block.readings if isinstance(block, Readings) else ():
            start = label[:20].rstrip()
            assert any(start in line and value in line.split(start)[1] for line in lines), label


@pytest.mark.parametrize("width", WIDTHS)
def test_every_step_keeps_its_number_check_and_stop(width) -> None:
    made = page(ALLOWED[0])
    said = flat(document_text(made, width))
    steps = next(block for block in made.blocks if isinstance(block, Table) and block.name == "Steps in order")
    for row in steps.rows:
        for cell in row[1:]:
            # In columns the lines of a cell lie between those of its neighbours: its words are all there.
            assert all(word in said for word in cell.split())
    assert "Stop if" in said


@pytest.mark.parametrize("width", [75, 115])
def test_the_digits_stand_under_each_other(width) -> None:
    made = page(ALLOWED[1])
    lines = document_text(made, width).split("\n")
    ends = {
        line.index(value) + value.index(" ")
        for block in made.blocks
        if isinstance(block, Readings)
        for label, value, _ in block.readings
        for line in lines
        if line.startswith(label[:20]) and value in line
    }
    assert len(ends) == 1


def test_in_a_narrow_terminal_a_step_is_told_part_by_part() -> None:
    said = flat(document_text(page(ALLOWED[0]), 75))
    assert "1 Release, then examine motion Number: Adduction free" in said
    assert "Stop if: Less than" in said


def test_changes_at_the_table_stand_in_columns() -> None:
    lines = document_text(page(ALLOWED[0]), 75).split("\n")
    assert any(line.startswith("As planned") and line.count(" deg") >= 2 for line in lines)


@pytest.mark.parametrize("example", REFUSED, ids=lambda one: one["name"].split()[0])
def test_a_refused_plan_says_why_and_has_no_numbers_to_use(example) -> None:
    made = page(example)
    said = flat(document_text(made, 100))
    assert NO_STEPS in said
    assert all(REASONS[one] in said for one in example["refused"])
    assert not any(isinstance(block, Readings | Table) for block in made.blocks)
    assert "Stop if" not in said


def cautions(made: Document) -> tuple[str, ...]:
    return next(block.lines for block in made.blocks if isinstance(block, Callout) and not block.title)


def test_title_and_cautions_lead_on_their_own_and_follow_the_numbers_where_the_frame_says_them() -> None:
    made = page(ALLOWED[0])
    alone, framed = (
        [line.text for line in document_lines(made, 100, framed=framed) if line.text] for framed in (False, True)
    )
    assert alone[0] == made.title
    assert framed[0].startswith("Neck-shaft angle after")
    for line in cautions(made):
        assert line in flat(" ".join(alone))
        assert line in flat(" ".join(framed))


def test_sketches_are_drawn_or_told_in_words() -> None:
    views = sheet(neck_width_mm=17).drawings
    drawn, told = (document_text(page(ALLOWED[0]), 100, views, plain=plain) for plain in (False, True))
    for view in views:
        assert view.title in drawn
        assert flat(view.alternative) in flat(told)
    assert any(0x2800 < ord(letter) < 0x2900 for letter in drawn)
    assert not any(0x2800 < ord(letter) < 0x2900 for letter in told)
