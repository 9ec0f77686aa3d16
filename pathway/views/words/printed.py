"""Paragraphs and statements as printed lines: what the panes say, for pipes and screen readers."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pathway.views.words.paragraphs import Paragraph
from pathway.views.words.plan import STATUS_MARKS
from pathway.views.words.statements import Statement
from pathway.views.words.wrapping import wrap

_SYMBOLS = tuple(f"{mark} " for mark in STATUS_MARKS.values())


def printed(said: Iterable[Paragraph], width: int, *, plain: bool = False) -> list[str]:
    """Return paragraphs as lines of at most `width` columns: headings at the margin, a blank line before each.

    `plain` drops the symbols before the names of stages: the words beside them say the same.
    """
    lines: list[str] = []
    for say in said:
        text = say.text
        if plain and text.startswith(_SYMBOLS):
            text = text[2:]
        if not text:
            continue
        if say.heading and say.depth == 0:
            lines += ["", *wrap(text, width, "", "  ")]
            continue
        indent = "  " * (say.depth + 1) + (f"{say.mark} " if say.mark else "")
        if say.fixed:
            lines.append(indent + text)
            continue
        lines += wrap(text, min(width, say.widest) if say.widest else width, indent, " " * len(indent))
    return lines


def statements_printed(found: Iterable[Statement], width: int) -> Iterator[str]:
    """Yield statements, each followed by the id of its rule and how well it is known."""
    for one in found:
        yield ""
        mark = f"{one.mark} " if one.mark else ""
        yield from wrap(one.text, width, mark, "  " if mark else "")
        known = f"; {one.known}" if one.known else ""
        yield from wrap(f"rule {one.rule}{known}{' [local]' if one.local else ''}", width, "    ", "      ")
