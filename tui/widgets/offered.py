"""The choices of a field in as many columns as fit; those taken are marked, and each can be clicked."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from rich.segment import Segment
from textual.events import Click, Resize
from textual.geometry import Region, Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from tui.widgets.paint import apart, paint_of

TAKEN, FREE = "✓ ", "  "
GAP = 2


class Offered(ScrollView, inherit_bindings=False):
    """Short texts, read down each column; scrolls to the first that is taken where not all can be seen."""

    DEFAULT_CSS = """
    Offered { background: $panel; height: auto; max-height: 6; padding: 0 1; overflow-x: hidden; overflow-y: auto;
              scrollbar-size-vertical: 1; }
    """
    can_focus = False

    class Picked(Message):
        """A choice was clicked: its words."""

        def __init__(self, words: str) -> None:
            self.words = words
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.words: tuple[str, ...] = ()
        self.taken: frozenset[str] = frozenset()

    def on_mount(self) -> None:
        """Follow the theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _: self.refresh())

    def offer(self, words: Sequence[str], taken: Collection[str] = ()) -> None:
        """Show choices, those taken marked; without choices nothing stands here."""
        before, self.words, self.taken = self.words, tuple(words), frozenset(taken)
        self.display = bool(self.words)
        if len(before) != len(self.words) or before != self.words:
            self.refresh(layout=True)
        self._fit()

    def on_resize(self, _event: Resize) -> None:
        """Lay the columns out anew."""
        self._fit()

    def _fit(self) -> None:
        width = self.scrollable_content_region.width
        self.virtual_size = Size(max(1, width), self._rows(width))
        at = next((place for place, words in enumerate(self.words) if words in self.taken), None)
        if at is not None:
            row = Region(0, at % self._rows(width), 1, 1)
            self.scroll_to_region(row, animate=False, force=True, x_axis=False)
        elif self.scroll_offset.y:
            self.scroll_home(animate=False)
        self.refresh()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the rows that all choices need in the columns that fit."""
        return self._rows(width)

    def _columns(self, width: int) -> list[tuple[str, ...]]:
        """Return the choices in as many columns as fit beside each other, each as wide as its own words."""
        rows = 1
        while True:
            columns = [self.words[at : at + rows] for at in range(0, len(self.words), rows)]
            if rows >= len(self.words) or sum(_wide(column) for column in columns) - GAP <= width:
                return columns
            rows += 1

    def _rows(self, width: int) -> int:
        return max(map(len, self._columns(width)), default=1)

    def render_line(self, y: int) -> Strip:
        """Return one row of choices."""
        paint = paint_of(self.app)
        width, row = self.size.width, y + self.scroll_offset.y
        plain, strong = paint.style("muted", "panel"), paint.style("accent", "panel", bold=True)
        segments: list[Segment] = []
        for column in self._columns(self.scrollable_content_region.width):
            words = column[row] if row < len(column) else ""
            is_taken = bool(words) and words in self.taken
            text = f"{TAKEN if is_taken else FREE}{words}"
            segments += apart(text.ljust(_wide(column)), strong if is_taken else plain)
        return Strip(segments).extend_cell_length(width, plain).crop(0, width)

    def on_click(self, event: Click) -> None:
        """Say which choice was clicked."""
        # The padding stands before the first column.
        at, row = event.x - self.styles.padding.left, event.y + self.scroll_offset.y
        for column in self._columns(self.scrollable_content_region.width):
            if 0 <= at < _wide(column) and 0 <= row < len(column):
                event.stop()
                self.post_message(self.Picked(column[row]))
                return
            at -= _wide(column)


def _wide(column: Sequence[str]) -> int:
    return max(map(len, column)) + len(FREE) + GAP
