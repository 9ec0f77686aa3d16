"""Worksheets as printed text: whole words in the width that is there, nothing lost against the sheet."""

from __future__ import annotations

import datetime

import pytest

from pathway.views.words.worksheet import section_lines, value_words, worksheet_text
from pathway.worksheets.sheet import CHECK_THE_RADIOGRAPH, Column, Drawing, Kind, Section, Shape, Sheet, Table
from tests.worksheets.cases import KNOWN_WIDTH, sheet

MADE: tuple[Kind, ...] = ("osteotomy", "lengthening", "growth-arrest", "guided-growth", "lift", "axis")


def made(kind: Kind) -> Sheet:
    return sheet(kind, KNOWN_WIDTH if kind == "guided-growth" else {})


@pytest.mark.parametrize("kind", MADE)
@pytest.mark.parametrize("width", [80, 100, 120])
def test_no_line_is_wider_than_asked(kind: Kind, width: int) -> None:
    lines = worksheet_text(made(kind), width).splitlines()
    assert max(len(line) for line in lines) <= width
    assert not any(line != line.rstrip() for line in lines)


@pytest.mark.parametrize("kind", MADE)
def test_everything_of_the_sheet_is_printed(kind: Kind) -> None:
    of = made(kind)
    text = " ".join(worksheet_text(of, 120, plain=True).split())
    for item in of.inputs:
        assert f" {item.name} " in text
        if item.measured_on is not None:
            assert str(item.measured_on) in text
    for section in of.sections:
        assert section.title in text
        assert all(line.label in text for line in section.lines)
    for said in (*of.cautions, *(warning.text for warning in of.warnings), *(source.id for source in of.sources)):
        assert said in text
    assert CHECK_THE_RADIOGRAPH in text


@pytest.mark.parametrize("kind", MADE)
def test_plain_text_has_no_symbols(kind: Kind) -> None:
    assert not set(worksheet_text(made(kind), 80, plain=True)) & set("▶✕●○◇│─")
    assert set(worksheet_text(made(kind), 80)) & set("▶✕!")


def test_rows_of_a_table_stay_on_one_line_where_there_is_room() -> None:
    lines = worksheet_text(made("lengthening"), 80, plain=True).splitlines()
    assert any(line.split() == ["8", "2029-09-20", "4", "1.00", "1.00", "therapy"] for line in lines)
    for kind in MADE:
        rows = [row for section in made(kind).sections for table in section.tables for row in table.rows]
        dates = [str(row[0]) for row in rows if isinstance(row[0], datetime.date)]
        text = worksheet_text(made(kind), 80, plain=True)
        assert all(date in text for date in dates)


def test_long_words_of_a_cell_are_broken_under_their_column() -> None:
    table = Table(title="t", columns=(Column(title="what"), Column(title="mm")), rows=(("one " * 30, 5.0),))
    of = made("lift").model_copy(update={"sections": (Section(title="s", tables=(table,)),)})
    lines = worksheet_text(of, 60).splitlines()
    assert max(len(line) for line in lines) <= 60
    assert sum("one one" in line for line in lines) > 1


def test_a_drawing_is_told_in_words() -> None:
    drawing = Drawing(title="bone", shapes=(Shape(role="bone", points=((0.0, 0.0),)),), alternative="a straight bone")
    of = made("lift").model_copy(update={"drawings": (drawing,)})
    assert "bone: a straight bone" in worksheet_text(of, 80)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, "-"),
        (True, "yes"),
        (0.04, "0.0"),
        (-0.04, "0.0"),
        (-1.26, "-1.3"),
        (4, "4"),
        ((100.0, 110.5), "100, 110.5"),
    ],
)
def test_values_in_words(value: object, words: str) -> None:
    assert value_words(value, "", 1) == words


@pytest.mark.parametrize("width", [40, 60, 69, 80])
def test_no_column_of_a_table_is_cut_away_and_none_is_lost(width) -> None:
    of = made("osteotomy")
    (table,) = [one for part in of.sections for one in part.tables if one.title.endswith("by implant and wire")]
    lines = list(section_lines(Section(title="Wires", tables=(table,)), width, plain=False))
    assert max(map(len, lines)) <= width
    words = " ".join(lines).split()
    for column in table.columns[1:]:
        assert column.title in words
    for value in (cell for row in table.rows for cell in row[1:] if cell is not None):
        assert f"{value:.0f}" in words
