"""A list of paragraphs of which one is chosen; scrolls to it, says which was clicked."""

from __future__ import annotations

from collections.abc import Sequence

from rich.segment import Segment
from textual.events import Click, Resize
from textual.geometry import Size
from textual.message import Message
from textual.strip import Strip

from pathway.views.words.paragraphs import Paragraph
from tui.widgets.paint import apart, paint_of
from tui.widgets.prose import Prose

CHOSEN, OTHER = "▸ ", "· "


class Choices(Prose, inherit_bindings=False):
    """Paragraphs; the chosen one stands out by its mark, its ground and bold type."""

    class Picked(Message):
        """A paragraph was clicked: its place in the list."""

        def __init__(self, place: int, choices: Choices) -> None:
            self.place = place
            self.choices = choices
            super().__init__()

        @property
        def control(self) -> Choices:
            """Return the list that was clicked."""
            return self.choices

    def __init__(self, *, id: str | None = None, panel: bool = False) -> None:
        super().__init__(id=id, panel=panel, focus=False)
        self.place = 0
        self._ahead = 0

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the lines that all paragraphs need, for a list that is as high as they are."""
        return max(1, len(self.lines))

    def on_resize(self, _event: Resize) -> None:
        """Keep the chosen paragraph in view in the new place, once it is wrapped for it."""
        self.call_after_refresh(lambda: self.choose(self.place, self._ahead))

    def offer(self, said: Sequence[Paragraph], place: int = 0, ahead: int = 0) -> None:
        """Show paragraphs with one of them chosen; so many after it are brought into view with it."""
        lines = len(self.lines)
        self.say(said, top=False)
        if len(self.lines) != lines and self.styles.is_auto_height:
            self.refresh(layout=True)
        self.choose(place, ahead)

    def choose(self, place: int, ahead: int = 0) -> None:
        """Choose a paragraph and bring it into view, with so many after it; places beyond the ends are held."""
        self.place, self._ahead = max(0, min(len(self.said) - 1, place)), ahead
        rows = [row for row, (owner, _, _) in enumerate(self.lines) if self.place <= owner <= self.place + ahead]
        if rows:
            self.scroll_to(y=self._top_for(rows[0], rows[-1]), animate=False, force=True)
        self.refresh()

    def _top_for(self, first: int, last: int) -> int:
        """Return the row to begin at so that rows are seen: as near as may be, and never in the middle of an item."""
        height, top = max(1, self.size.height), self.scroll_offset.y
        top = min(max(top, last - height + 1), first)
        while top < first and self._inside(top):
            top += 1
        return top

    def _inside(self, row: int) -> bool:
        return 0 < row < len(self.lines) and self.lines[row][0] == self.lines[row - 1][0]

    def _wrap(self) -> None:
        """Leave so many rows free below the last item that the list can begin at an item where it ends."""
        super()._wrap()
        height = self.scrollable_content_region.height
        top = max(0, len(self.lines) - height)
        while self._inside(top):
            top += 1
        if height and top > len(self.lines) - height > 0:
            self.virtual_size = Size(self.virtual_size.width, top + height)

    def prefix(self, owner: int, first: bool) -> str:
        """Return what stands before a line: the mark of the chosen paragraph."""
        if not first:
            return " " * len(CHOSEN)
        return CHOSEN if owner == self.place else OTHER

    def render_line(self, y: int) -> Strip:
        """Return one line; those of the chosen paragraph stand out."""
        row = y + self.scroll_offset.y
        if row >= len(self.lines) or self.lines[row][0] != self.place:
            return super().render_line(y)
        style = paint_of(self.app).style("chosen_text", "chosen", bold=True)
        owner, _, line = self.lines[row]
        text = self.prefix(owner, row == 0 or self.lines[row - 1][0] != owner) + line
        width = self.size.width
        return Strip([*apart(text, style), Segment(" " * max(0, width - len(text)), style)]).crop(0, width)

    def on_click(self, event: Click) -> None:
        """Say which paragraph was clicked."""
        row = event.y + self.scroll_offset.y
        if 0 <= row < len(self.lines):
            event.stop()
            self.post_message(self.Picked(self.lines[row][0], self))
