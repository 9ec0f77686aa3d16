"""The parts of a form in one line, as many as there are, one of them open; each can be clicked."""

from __future__ import annotations

from collections.abc import Sequence

from rich.segment import Segment
from textual.events import Click
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from tui.widgets.paint import paint_of

GAP = 1


class Parts(Widget):
    """Names of parts; the open one stands out by its mark, its ground and bold type."""

    DEFAULT_CSS = """
    Parts { height: 1; width: 100%; background: $panel; }
    """

    class Picked(Message):
        """A part was clicked: its place."""

        def __init__(self, place: int) -> None:
            self.place = place
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.names: tuple[str, ...] = ()
        self.place = 0

    def on_mount(self) -> None:
        """Follow the theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _: self.refresh())

    def offer(self, names: Sequence[str], place: int) -> None:
        """Show names with one of them open."""
        if (tuple(names), place) != (self.names, self.place):
            self.names, self.place = tuple(names), place
            self.refresh()

    def _words(self) -> list[str]:
        return [f"{'▸' if at == self.place else ' '} {name} " for at, name in enumerate(self.names)]

    def render_line(self, y: int) -> Strip:
        """Return the line."""
        paint = paint_of(self.app)
        blank = paint.style("text", "panel")
        segments = [Segment(" " * GAP, blank)]
        for at, words in enumerate(self._words()):
            style = paint.style("chosen_text", "chosen", bold=True) if at == self.place else blank
            segments += [Segment(words, style), Segment(" " * GAP, blank)]
        strip = Strip(segments)
        return strip.extend_cell_length(self.size.width, blank).crop(0, self.size.width)

    def on_click(self, event: Click) -> None:
        """Say which part was clicked."""
        column = GAP
        for at, words in enumerate(self._words()):
            if column <= event.x < column + len(words):
                event.stop()
                self.post_message(self.Picked(at))
                return
            column += len(words) + GAP
