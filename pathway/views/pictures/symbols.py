"""With which symbols a picture is drawn: Braille dots, the blocks of a plain console, or ASCII alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from enum import StrEnum

from pathway.problems import refused
from pathway.views.pictures.picture import Picture

VARIABLE = "LIMB_PATHWAY_SYMBOLS"
CONSOLES = ("linux", "xterm-mono", "cons25", "vt220")
"""Terminals by their name whose fonts have blocks and no Braille."""
DUMB = ("dumb", "vt52", "vt100", "unknown")


class Symbols(StrEnum):
    """What a terminal can show."""

    BRAILLE = "braille"
    BLOCKS = "blocks"
    ASCII = "ascii"


_BLOCKS = str.maketrans(
    {"●": "•", "◐": "◘", "▶": "►", "✕": "x", "◇": "♦", "━": "═", "┃": "║", "┊": "│", "┈": "─", "†": "*"}
)
_ASCII = str.maketrans(
    {
        **{"●": "*", "◐": "%", "▶": ">", "○": "o", "✕": "x", "◇": "?", "◆": "+", "▼": "v", "■": "#", "≈": "~"},
        **{"━": "=", "─": "-", "┈": "-", "┃": "]", "┊": ":", "│": "|", "░": ".", "▒": ":", "▓": "%", "█": "@"},
        **{"◂": "<", "▸": ">", "↑": "^", "↓": "v", "←": "<", "→": ">", "·": ".", "±": "~", "…": "~", "•": "+"},
        **{"†": "+", "├": "|", "┤": "|", "✎": "*"},
    }
)
_TABLES = {Symbols.BLOCKS: _BLOCKS, Symbols.ASCII: _ASCII}


def detected(encoding: str, environment: Mapping[str, str]) -> Symbols:
    """Return the symbols that a terminal can show: ASCII where it does not write UTF-8, blocks on a plain console."""
    terminal = environment.get("TERM", "")
    if not encoding.lower().replace("-", "").replace("_", "").startswith("utf") or terminal in DUMB:
        return Symbols.ASCII
    return Symbols.BLOCKS if terminal in CONSOLES else Symbols.BRAILLE


def chosen(environment: Mapping[str, str], encoding: str) -> Symbols:
    """Return the symbols asked for in the environment, else what the terminal can show; refuses an unknown word."""
    asked = environment.get(VARIABLE, "").strip().lower()
    if not asked:
        return detected(encoding, environment)
    if asked not in tuple(Symbols):
        raise refused(VARIABLE, f"`{asked}`", ", ".join(Symbols), "set one of these, or leave it out")
    return Symbols(asked)


def in_symbols(text: str, symbols: Symbols) -> str:
    """Return text with every mark as the terminal can show it; as many cells as before."""
    table = _TABLES.get(symbols)
    return text if table is None else text.translate(table)


def drawn_in(picture: Picture, symbols: Symbols) -> Picture:
    """Return a picture in the symbols given."""
    if symbols not in _TABLES:
        return picture
    spans = tuple(replace(span, text=in_symbols(span.text, symbols)) for span in picture.spans)
    return replace(picture, spans=spans)
