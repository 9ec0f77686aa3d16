"""Paragraphs with marks and depth, wrapped at whole words to the width there is; scrolls."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from rich.segment import Segment
from textual.events import Resize
from textual.geometry import Size
from textual.scroll_view import ScrollView
from textual.strip import Strip

from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import MARK_ROLES, Paragraph
from tui.widgets.paint import apart, paint_of


class Prose(ScrollView, inherit_bindings=False):
    """Text that was said by `pathway.views.words.paragraphs`."""

    DEFAULT_CSS = """
    Prose { background: $background; overflow-x: hidden; overflow-y: auto; padding: 0 1; scrollbar-size-vertical: 1; }
    Prose.panel { background: $panel; }
    """

    def __init__(self, *, id: str | None = None, panel: bool = False, focus: bool = True) -> None:
        super().__init__(id=id, classes="panel" if panel else None)
        self.can_focus = focus
        self._ground = "panel" if panel else "ground"
        self._said: tuple[Paragraph, ...] = ()
        self.lines: list[tuple[int, Paragraph, str]] = []

    @property
    def said(self) -> tuple[Paragraph, ...]:
        """Return what is shown."""
        return self._said

    def on_mount(self) -> None:
        """Follow the theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _: self.refresh())

    def say(self, said: Iterable[Paragraph], *, top: bool = True) -> None:
        """Show paragraphs, from their top on."""
        self._said = tuple(said)
        self._wrap()
        if top and self.scroll_offset.y:
            self.scroll_home(animate=False)

    def on_resize(self, _event: Resize) -> None:
        """Wrap anew."""
        self._wrap()

    def _wrap(self) -> None:
        region = self.scrollable_content_region
        # The bar at the side comes and goes with the text itself: wrap as if it were not there, then again beside it.
        width = max(16, region.width + (self.scrollbar_size_vertical if self.show_vertical_scrollbar else 0))
        self.lines = self._lines(width)
        if region.height and len(self.lines) > region.height:
            width = max(16, width - self.styles.scrollbar_size_vertical)
            self.lines = self._lines(width)
        # A size that stays the same while all fits: a change would lay the whole screen out again.
        self.virtual_size = Size(width, max(len(self.lines), self.size.height))
        self.refresh()

    def _lines(self, width: int) -> list[tuple[int, Paragraph, str]]:
        inner = width - len(self.prefix(-1, False))
        return [(place, say, line) for place, say in enumerate(self._said) for line in _wrapped(say, inner)]

    def prefix(self, owner: int, first: bool) -> str:
        """Return what stands before each line of a paragraph; nothing here."""
        return ""

    def render_line(self, y: int) -> Strip:
        """Return one line of text."""
        paint = paint_of(self.app)
        row = y + self.scroll_offset.y
        width = self.size.width
        if row >= len(self.lines):
            return Strip.blank(width, paint.style("text", self._ground))
        owner, say, line = self.lines[row]
        line = self.prefix(owner, row == 0 or self.lines[row - 1][0] != owner) + line
        role = "accent" if say.heading and say.role == "text" else str(say.role)
        style = paint.style(role, self._ground, bold=say.heading)
        start = 2 * say.depth + max(1, len(say.mark)) + 1
        start += len(self.prefix(owner, False))
        if say.mark and line[len(self.prefix(owner, False)) : start - 1] == f"{'  ' * say.depth}{say.mark}":
            word = "accent" if len(say.mark) > 1 else Role.TEXT
            mark = paint.style(MARK_ROLES.get(say.mark, word), self._ground, bold=True)
            segments = [*apart(line[:start], mark), *apart(line[start:], style)]
        else:
            segments = apart(line, style)
        segments.append(Segment(" " * max(0, width - len(line)), style))
        return Strip(segments).crop(0, width)


def _wrapped(say: Paragraph, width: int) -> list[str]:
    if say.fixed:
        return [say.text]
    width = min(width, say.widest) if say.widest else width
    indent = "  " * say.depth
    mark = f"{say.mark} " if say.mark else ""
    first = indent + mark
    return textwrap.wrap(say.text, width, initial_indent=first, subsequent_indent=" " * len(first)) or [""]
