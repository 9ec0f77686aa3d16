"""Wrapping of printed text: a number never loses its unit, and a count never its noun, at the end of a line."""

from __future__ import annotations

import re
import textwrap

HELD = re.compile(r"(?<=\d) (?=(?:mm|cm|deg|%|m|y|years?|months?|days?|of|operations?|films?)\b|%)")
PLAIN = re.compile(r"[!-~]+(?: [!-~]+)*")
"""Words with one space between each."""
HARD = "\u00a0"


def wrap(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    """Return text in lines of at most `width` columns; `first` and `rest` are what lines start with.

    A text without words gives one line with what it would have started with.
    """
    if len(first) + len(text) <= width and PLAIN.fullmatch(text):
        return [first + text]  # lists have ten thousand lines, and most of them fit
    later = first if rest is None else rest
    held = HELD.sub(HARD, text)
    lines = textwrap.wrap(held, width, initial_indent=first, subsequent_indent=later)
    return [line.replace(HARD, " ") for line in lines] or [first.rstrip()]
