"""What the tests read back from a drawing: texts on each other and parts that leave the sheet are found."""

from __future__ import annotations

import pytest

from pathway.views.drawings.drawing import Sheet
from tests.views.drawings.measured import outside, overlaps, paths


def test_texts_on_each_other_are_found_and_texts_beside_each_other_are_not() -> None:
    sheet = Sheet()
    sheet.words(10, 10, "one text")
    sheet.words(12, 11, "another")
    sheet.words(10, 16, "a line below")
    assert overlaps(sheet.drawing(60, 40, "t", "a")) == [("one text", "another")]


def test_what_leaves_the_sheet_is_found() -> None:
    sheet = Sheet()
    sheet.words(50, 10, "too long a text for what is left")
    sheet.disc(59, 20, 3, "#000000")
    sheet.bar(5, 5, 10, 4, "#000000")
    assert [box.what for box in outside(sheet.drawing(60, 40, "t", "a"))] == [
        "too long a text for what is left",
        "path",
    ]


def test_a_bar_and_a_disc_are_as_large_as_they_were_drawn() -> None:
    sheet = Sheet()
    sheet.bar(5, 6, 10, 4, "#000000")
    sheet.disc(30, 20, 3, "#000000")
    bar, disc = (path.box for path in paths(sheet.drawing(60, 40, "t", "a")))
    assert (bar.left, bar.top, bar.right, bar.low) == pytest.approx((5, 6, 15, 10))
    assert (disc.left, disc.top, disc.right, disc.low) == pytest.approx((27, 17, 33, 23))
