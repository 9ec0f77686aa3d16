"""A picture is text with a meaning, cell by cell."""

from __future__ import annotations

import pytest

from pathway.views.pictures.picture import Axis, Canvas, Role, Span, stage_role
from tests.offenders import for_each


def test_neighbouring_cells_of_equal_meaning_are_one_span() -> None:
    canvas = Canvas(10, 2)
    canvas.put(0, 1, "ab", Role.LABEL, "hip_preparation_1")
    canvas.put(0, 3, "c", Role.AXIS)
    picture = canvas.picture("two words")
    assert picture.spans == (
        Span(0, 1, "ab", Role.LABEL, "hip_preparation_1"),
        Span(0, 3, "c", Role.AXIS),
    )
    assert picture.text == " abc\n"
    assert picture.alt == "two words"


def test_what_falls_outside_is_dropped() -> None:
    canvas = Canvas(4, 1)
    canvas.put(0, 2, "long", Role.LABEL)
    canvas.put(7, 0, "below", Role.LABEL)
    canvas.put(0, -2, "left", Role.LABEL)
    assert canvas.picture("").text == "ftlo"


def test_a_blank_between_two_words_is_not_written_over() -> None:
    canvas = Canvas(5, 1)
    canvas.put(0, 0, "a b", Role.LABEL)
    for column in range(5):
        canvas.put_if_blank(0, column, "·", Role.WINDOW)
    assert canvas.picture("").text == "a b··"


def test_a_cell_says_which_stage_it_stands_for() -> None:
    canvas = Canvas(8, 1)
    canvas.put(0, 2, "○━", Role.STAGE_LATER, "femoral_lengthening_1")
    picture = canvas.picture("")
    assert [picture.target_at(0, column) for column in (1, 2, 3, 4)] == [
        None,
        "femoral_lengthening_1",
        "femoral_lengthening_1",
        None,
    ]


@for_each(range(12, 79))
def test_age_and_column_belong_together(column) -> None:
    axis = Axis(2.0, 15.0, 12, 79)
    assert axis.column(axis.age(column + 0.5)) == column


@pytest.mark.parametrize("age", [-3.0, 0.0, 40.0])
def test_ages_off_the_axis_are_held_at_its_ends(age) -> None:
    axis = Axis(2.0, 15.0, 12, 79)
    assert axis.column(age) in (12, 78)


def test_a_status_that_plans_do_not_have_has_no_role() -> None:
    with pytest.raises(ValueError, match="stage_forgotten"):
        stage_role("forgotten")
