"""What is wanted in the field that is typed in, or what is wrong with it; where it is cut, that is said."""

from __future__ import annotations

import textwrap

from rich.segment import Segment
from textual.geometry import Size
from textual.strip import Strip
from textual.widget import Widget

from tui.widgets.paint import apart, paint_of

MORE = " … (F1: all)"


class Hint(Widget):
    """A sentence in as many rows as it needs and is given."""

    DEFAULT_CSS = """
    Hint { height: auto; min-height: 1; padding: 0 1; background: $panel; }
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.words = ""
        self._wrong = False

    def on_mount(self) -> None:
        """Follow the theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _: self.refresh())

    def say(self, words: str, *, wrong: bool) -> None:
        """Show a sentence: of what is wanted, or of what is wrong."""
        if (words, wrong) != (self.words, self._wrong):
            rows = len(self._rows(self.size.width))
            self.words, self._wrong = words, wrong
            self.refresh(layout=len(self._rows(self.size.width)) != rows)

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the rows that all of it needs."""
        return len(self._rows(width))

    def _rows(self, width: int) -> list[str]:
        return textwrap.wrap(self.words, max(16, width)) or [""]

    @property
    def shown(self) -> list[str]:
        """Return the rows that there is room for; what is left out is at hand by a key."""
        rows, width, room = self._rows(self.size.width), max(16, self.size.width), max(1, self.size.height)
        if len(rows) <= room:
            return rows
        last = textwrap.shorten(" ".join(rows[room - 1 :]), width, placeholder=MORE)
        return [*rows[: room - 1], last]

    def render_line(self, y: int) -> Strip:
        """Return one row."""
        paint, rows = paint_of(self.app), self.shown
        style = paint.style("stage_blocked" if self._wrong else "muted", "panel", bold=self._wrong)
        text = rows[y] if y < len(rows) else ""
        return Strip([*apart(text, style), Segment(" " * max(0, self.size.width - len(text)), style)])
