"""A screen as it is kept: its text once, then for each theme which cell has which colours.

A picture of the same takes fifty times the room, and its differences cannot be read. A style is a letter with its
colours; a row is written as runs of cells, `12a3b` for twelve cells of style a and three of style b.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from rich.style import Style
from textual.app import App

LETTERS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"


def painted(app: App[None]) -> str:
    """Return the colours of every cell of the screen: the styles with a letter each, then the rows."""
    letters: dict[str, str] = {}
    rows = []
    for row in app.screen._compositor.render_strips():
        cells = [words for segment in row for words in [_words(segment.style)] * len(segment.text)]
        runs = [(style, len(list(run))) for style, run in groupby(cells)]
        rows.append("".join(f"{count}{letters.setdefault(style, _next(letters))}" for style, count in runs))
    return "\n".join((*(f"{letter} {style}" for style, letter in letters.items()), "", *_folded(rows))) + "\n"


def _next(letters: dict[str, str]) -> str:
    return LETTERS[len(letters)]


def _folded(rows: list[str]) -> Iterator[str]:
    """Yield the rows, those that come again and again once with their number."""
    for row, same in groupby(rows):
        count = len(list(same))
        yield row if count == 1 else f"{row} x{count}"


def _words(style: Style | None) -> str:
    if style is None:
        return "none"
    fore = style.color.get_truecolor().hex if style.color else "default"
    back = style.bgcolor.get_truecolor().hex if style.bgcolor else "default"
    marks = [name for name in ("bold", "dim", "italic", "underline", "reverse") if getattr(style, name)]
    return " ".join((fore, "on", back, *marks))
