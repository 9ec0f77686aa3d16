"""Rows as csv that any reader takes, and that our own takes for the same values."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.tables.tidy.csv_out import csv_text
from pathway.tables.values import Quantity, quantity_of


def test_what_is_not_known_is_empty_and_words_are_quoted_where_they_must_be() -> None:
    row = ("a-1", None, 12.5, 3, True, datetime.date(2024, 3, 5), "one, two")
    assert csv_text("abcdefg", [row]) == 'a,b,c,d,e,f,g\na-1,,12.5,3,true,2024-03-05,"one, two"\n'


@pytest.mark.parametrize(("value", "text"), [(250.0, "250"), (0.1 + 0.2, "0.3"), (12.125, "12.1250"), (1e-3, "0.0010")])
def test_a_number_is_written_so_that_no_reader_takes_it_for_thousands(value: float, text: str) -> None:
    assert csv_text("a", [(value,)]) == f"a\n{text}\n"


@given(st.floats(min_value=-9999, max_value=9999).map(lambda value: round(value, 6)))
def test_every_number_reads_back_whatever_the_other_rows_are(value: float) -> None:
    written = csv_text("a", [(value,)]).splitlines()[1]
    if "e" in written:
        return
    read = quantity_of(written, None)
    assert isinstance(read, Quantity), written
    assert float(read.number) == pytest.approx(value, abs=1e-9)
