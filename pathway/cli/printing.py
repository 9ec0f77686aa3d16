"""How verbs print: the width, with pictures or in words alone, headings; and whether screens can open at all."""

from __future__ import annotations

import os
import shutil
import sys
from typing import TYPE_CHECKING

import click

from pathway.plain_text import json_visible, visible

if TYPE_CHECKING:
    from pathway.views.pictures.symbols import Symbols


def show(text: str, *, nl: bool = True) -> None:
    """Print words to standard output; what nobody sees, such as what steers a terminal, stands as its number."""
    click.echo(visible(text), nl=nl)


def show_json(text: str, *, nl: bool = True) -> None:
    """Print JSON to standard output, all of it visible and to be read back as it was."""
    click.echo(json_visible(text), nl=nl)


def show_with_headings(text: str, *, nl: bool = False) -> None:
    """Print words as `show` does, with their headings strong where a terminal shows that."""
    click.echo(with_headings(visible(text)), nl=nl)


def show_bytes(data: bytes) -> None:
    """Print a file's bytes as they are: made by writers that let nothing through that nobody sees."""
    click.echo(data, nl=False)


def width() -> int:
    """Return the columns to print in: those of the terminal, from 60 to 120."""
    return max(60, min(shutil.get_terminal_size((100, 24)).columns, 120))


def words_only(plain: bool) -> bool:
    """Return whether to print words alone: asked for, or nobody looks at pictures (piped, NO_COLOR, dumb terminal)."""
    return plain or not sys.stdout.isatty() or "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"


def symbols() -> Symbols:
    """Return with which symbols this terminal draws a picture; refuses an unknown word of the environment."""
    from pathway.views.pictures.symbols import chosen

    return chosen(os.environ, sys.stdout.encoding or "")


def can_open_screens() -> bool:
    """Return whether there is a terminal, or a browser, to show the screens in."""
    return "TEXTUAL_DRIVER" in os.environ or (sys.stdin.isatty() and sys.stdout.isatty())


def with_headings(text: str) -> str:
    """Return text with its headings strong where a terminal shows it; plain when piped or where that is not wished."""
    if words_only(False):
        return text
    lines = text.split("\n")
    heads = {0} | {n for n in range(1, len(lines) - 1) if lines[n - 1] == "" and lines[n + 1].startswith("  ")}
    strong = (
        click.style(line, bold=True) if n in heads and line[:1].isalpha() else line for n, line in enumerate(lines)
    )
    return "\n".join(strong)
