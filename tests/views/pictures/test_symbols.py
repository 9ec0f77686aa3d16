"""Symbols: chosen by a word of the environment, or by what the terminal can show; every picture in each of them."""

from __future__ import annotations

import pytest

from pathway.problems import Refused
from pathway.views.pictures.symbols import VARIABLE, Symbols, chosen, detected, drawn_in, in_symbols
from pathway.views.pictures.timeline import growth_chart, timeline, timeline_ages
from tests.offenders import for_each
from tests.plans import files, plan

CONSOLE = "•◘►○x♦═║│─┈■░▒▓█▄▀▼▶◂▸±≈·"
"""What the fonts of plain consoles have beside ASCII."""


@pytest.mark.parametrize(
    ("encoding", "terminal", "found"),
    [
        ("utf-8", "xterm-256color", Symbols.BRAILLE),
        ("UTF8", "tmux-256color", Symbols.BRAILLE),
        ("utf-8", "linux", Symbols.BLOCKS),
        ("utf-8", "dumb", Symbols.ASCII),
        ("ascii", "xterm", Symbols.ASCII),
        ("ANSI_X3.4-1968", "xterm", Symbols.ASCII),
        ("latin-1", "linux", Symbols.ASCII),
        ("", "xterm", Symbols.ASCII),
    ],
)
def test_a_terminal_gets_what_it_can_show(encoding, terminal, found) -> None:
    assert detected(encoding, {"TERM": terminal}) is found
    assert chosen({"TERM": terminal}, encoding) is found


@pytest.mark.parametrize("word", ["braille", "blocks", "ascii", " ASCII "])
def test_a_word_of_the_environment_comes_first(word) -> None:
    assert chosen({VARIABLE: word, "TERM": "linux"}, "utf-8") == word.strip().lower()


def test_an_unknown_word_is_refused_with_those_there_are() -> None:
    with pytest.raises(Refused, match=f"{VARIABLE}.*`dots`.*braille, blocks, ascii"):
        chosen({VARIABLE: "dots"}, "utf-8")


@for_each(files())
def test_in_ascii_a_timeline_is_ascii_alone_and_as_wide_as_before(child) -> None:
    of = plan(child)
    for symbols in Symbols:
        picture = timeline(of, 120, 14, *timeline_ages(of), shaded=True, symbols=symbols)
        text = drawn_in(picture, symbols).text
        foreign = {glyph for glyph in text if not glyph.isascii()}
        allowed = {Symbols.ASCII: set(), Symbols.BLOCKS: set(CONSOLE)}.get(symbols, foreign)
        assert foreign <= allowed, (symbols, foreign - allowed)
        assert len(text.split("\n")) == picture.height


@pytest.mark.parametrize("symbols", [Symbols.BLOCKS, Symbols.ASCII])
def test_without_braille_the_line_still_falls_where_a_bone_is_lengthened(symbols) -> None:
    of = plan("rowan-02")
    dots, cells = growth_chart(of, 120, 24), growth_chart(of, 120, 24, symbols)
    assert dots is not None
    assert cells is not None
    upright = {"█"} if symbols is Symbols.BLOCKS else {"*"}
    assert any(0x2800 <= ord(glyph) < 0x2900 for glyph in dots.text)
    assert not any(0x2800 <= ord(glyph) < 0x2900 for glyph in cells.text)
    columns: dict[int, int] = {}
    for line in cells.text.split("\n"):
        for column, glyph in enumerate(line):
            columns[column] = columns.get(column, 0) + (glyph in upright)
    assert sum(count >= 3 for count in columns.values()) >= 3  # three lengthenings


def test_every_mark_of_status_can_still_be_told_from_the_others() -> None:
    for symbols in Symbols:
        marks = [in_symbols(mark, symbols) for mark in "●◐▶○✕◇┃░"]
        assert len(set(marks)) == len(marks)
