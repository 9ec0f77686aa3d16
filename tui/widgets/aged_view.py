"""A picture on an age axis with the age cursor: painted once, the cursor laid over one column."""

from __future__ import annotations

from rich.segment import Segment
from textual.events import Click
from textual.geometry import Region
from textual.message import Message
from textual.reactive import reactive
from textual.strip import Strip

from pathway.views.pictures.chart import LOWER_BLOCKS
from pathway.views.pictures.picture import Axis, Picture, Role
from pathway.views.pictures.symbols import Symbols, in_symbols
from tui.widgets.paint import paint_of
from tui.widgets.picture_view import PictureView

UNDER_CURSOR = (Role.BLANK, Role.GOAL, Role.WINDOW, Role.TODAY)
CURSOR = "│"


class AgedView(PictureView, inherit_bindings=False):
    """A picture with an age axis; fills its place."""

    DEFAULT_CSS = """
    AgedView { overflow: hidden hidden; }
    """
    age: reactive[float] = reactive(0.0, repaint=False)

    class AgePicked(Message):
        """An age in years was clicked."""

        def __init__(self, age: float) -> None:
            self.age = age
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._taken: frozenset[tuple[int, int]] = frozenset()

    @property
    def axis(self) -> Axis | None:
        """Return the age axis as drawn, or None before there is a picture."""
        return None

    @property
    def symbols(self) -> Symbols:
        """Return the symbols that the terminal can show."""
        return getattr(self.app, "symbols", Symbols.BRAILLE)

    def show_aged(self, picture: Picture, chosen: str | None) -> None:
        """Show a picture; the cursor passes behind its words and marks."""
        self._taken = frozenset(
            (span.row, span.column + offset)
            for span in picture.spans
            for offset, glyph in enumerate(span.text)
            if glyph not in " ─" or span.role in (Role.LABEL, Role.TEXT, Role.LEGEND)
            if span.role not in UNDER_CURSOR or glyph in LOWER_BLOCKS[1:] or glyph.isalnum()
        )
        self.show(picture, chosen)

    def watch_age(self, old: float, new: float) -> None:
        """Repaint the two columns that the cursor leaves and enters."""
        axis = self.axis
        if axis is not None:
            self.refresh(*(Region(axis.column(age), 0, 1, self.size.height) for age in (old, new)))

    def render_line(self, y: int) -> Strip:
        """Return a row with the cursor laid over it."""
        row, axis = self.row_of(y), self.axis
        if not 0 <= row < len(self._strips) or axis is None:
            return Strip.blank(self.size.width, paint_of(self.app).style(Role.BLANK))
        strip, column = self._strips[row], axis.column(self.age)
        if (row, column) in self._taken or not axis.from_age <= self.age <= axis.to_age:
            return strip
        # A picture that is being laid out anew beside this one may be narrower than its axis for a moment.
        under = next(iter(strip.crop(column, column + 1)), None)
        if under is None:
            return strip
        paint = paint_of(self.app)
        style = (under.style or paint.style(Role.BLANK)) + paint.line("cursor")
        cursor = Strip([Segment(in_symbols(CURSOR, self.symbols), style)], 1)
        return Strip.join([strip.crop(0, column), cursor, strip.crop(column + 1)])

    def on_click(self, event: Click) -> None:
        """Say which age was clicked; the stage under the pointer is said by the picture itself."""
        axis = self.axis
        if axis is not None and axis.left <= event.x < axis.right:
            self.post_message(self.AgePicked(axis.age(event.x + 0.5)))
