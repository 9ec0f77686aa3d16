"""Shows a picture: scrolls where it is larger than its place, says which stage was clicked."""

from __future__ import annotations

from textual.events import Click
from textual.geometry import Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from pathway.views.pictures.picture import Picture, Role
from pathway.views.pictures.symbols import Symbols, drawn_in
from tui.widgets.paint import Lit, paint_of


class PictureView(ScrollView, inherit_bindings=False):
    """A picture on the screen."""

    DEFAULT_CSS = """
    PictureView { background: $background; overflow: auto auto; scrollbar-size: 1 1; }
    """
    can_focus = True

    class Picked(Message):
        """A stage was clicked."""

        def __init__(self, stage: str) -> None:
            self.stage = stage
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.picture: Picture | None = None
        self._chosen: str | None = None
        self._lit: Lit | None = None
        self._strips: list[Strip] = []

    def on_mount(self) -> None:
        """Follow the theme."""
        self.app.theme_changed_signal.subscribe(self, lambda _: self.repaint())

    def show(self, picture: Picture | None, chosen: str | None = None, lit: Lit | None = None) -> None:
        """Show a picture with one stage chosen; `lit` cells are brought forward."""
        self.picture, self._chosen, self._lit = picture, chosen, lit
        if picture is not None:
            self.virtual_size = Size(picture.width, picture.height)
        self.repaint()

    def repaint(self) -> None:
        """Paint the picture anew in the colours of the theme."""
        self._strips = []
        if self.picture is not None:
            symbols = getattr(self.app, "symbols", Symbols.BRAILLE)
            self._strips = paint_of(self.app).strips(drawn_in(self.picture, symbols), self._chosen, self._lit)
        self.refresh()

    def bring_into_view(self, stage: str) -> None:
        """Scroll so that a stage can be seen, and no further than that needs from the upper left corner."""
        if self.picture is None:
            return
        spans = [span for span in self.picture.spans if span.target == stage]
        if spans:
            region = self.scrollable_content_region
            bottom, right = max(s.row for s in spans) + 1, max(s.column + len(s.text) for s in spans)
            across, down = max(0, right - region.width), max(0, bottom - region.height)
            self.scroll_to(across, down, animate=False, force=True)

    def render_line(self, y: int) -> Strip:
        """Return one row of the picture as it lies under the window."""
        x, scrolled = self.scroll_offset
        row = y + scrolled
        blank = paint_of(self.app).style(Role.BLANK)
        if row >= len(self._strips):
            return Strip.blank(self.size.width, blank)
        return self._strips[row].crop_extend(x, x + self.size.width, blank)

    def row_of(self, y: int) -> int:
        """Return which row of the picture lies in a row of the widget."""
        return y + self.scroll_offset.y

    def on_click(self, event: Click) -> None:
        """Say which stage was clicked."""
        if self.picture is not None:
            stage = self.picture.target_at(self.row_of(event.y), event.x + self.scroll_offset.x)
            if stage is not None:
                event.stop()
                self.post_message(self.Picked(stage))
