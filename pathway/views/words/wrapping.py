"""Wrapping of printed text: a number never loses its unit, and a count never its noun, at the end of a line."""

from __future__ import annotations

import re
import textwrap

HELD = re.compile(r"(?<=\d) (?=(?:mm|cm|deg|%|m|y|years?|months?|days?|of|operations?|films?)\b|%)")
PLAIN = re.compile(r"[!-~]+(?: [!-~]+)*")
"""Words with one space between each."""
BROKEN = re.compile(r"[^\W\d]-|--")
"""Where a word may be broken at the end of a line."""
HARD = "\u00a0"


def wrap(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    """Return text in lines of at most `width` columns; `first` and `rest` are what lines start with.

    A text without words gives one line with what it would have started with.
    """
    plain = PLAIN.fullmatch(text) is not None
    if plain and len(first) + len(text) <= width:
        return [first + text]
    later = first if rest is None else rest
    held = HELD.sub(HARD, text)
    lines = _between_words(held, width, first, later) if plain else None
    if lines is None:
        lines = textwrap.wrap(held, width, initial_indent=first, subsequent_indent=later)
    return [line.replace(HARD, " ") for line in lines] or [first.rstrip()]


def _between_words(text: str, width: int, first: str, rest: str) -> list[str] | None:
    """Return plain text in lines, None where a word could be broken: lists have ten thousand lines to wrap."""
    lines, start = [], first
    while (room := width - len(start)) < len(text):
        end = text.rfind(" ", 0, max(room + 1, 0))
        following = text[end + 1 :].split(" ", 1)[0]
        if end < 0 or len(following) > room or BROKEN.search(following):
            return None
        lines.append(start + text[:end])
        text, start = text[end + 1 :], rest
    return [*lines, start + text]
