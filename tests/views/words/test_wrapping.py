"""Printed text is wrapped as the standard library wraps it, but for what is held together."""

from __future__ import annotations

import textwrap

from hypothesis import example, given
from hypothesis import strategies as st

from pathway.views.words.wrapping import HARD, HELD, wrap

WORDS = ["a", "on", "2026-12-23", "re-examination", "12", "mm", "3", "of", "x--y", "-", "a-", "a-b", "y_a-bc"]
WORDS += ["don't-do", "(femur)", "rowan-02;", "averylongword", "another-very-long-word", "5", "%", "\u00e9", ""]


@given(
    st.lists(st.sampled_from(WORDS), max_size=30).map(" ".join),
    st.integers(12, 60),
    st.sampled_from(["", "  ", "child-01  "]),
    st.sampled_from([None, "", "          "]),
)
@example("a averylongword mm", 14, "child-01  ", "")
@example("about 90 of 100", 8, "", None)
def test_lines_are_those_of_the_standard_library(text: str, width: int, first: str, rest: str | None) -> None:
    later = first if rest is None else rest
    wanted = textwrap.wrap(HELD.sub(HARD, text), width, initial_indent=first, subsequent_indent=later)
    assert wrap(text, width, first, rest) == ([line.replace(HARD, " ") for line in wanted] or [first.rstrip()])
