"""The strip above the timeline, and the legend below it: each as tall as what it says."""

from __future__ import annotations

from textual.geometry import Size

from pathway.views.words.paragraphs import Paragraph
from tui.widgets.picture_view import PictureView
from tui.widgets.prose import Prose


class StripView(Prose, inherit_bindings=False):
    """What is next, why, what it waits for, and the last day."""

    DEFAULT_CSS = """
    StripView { height: auto; max-height: 12; width: 100%; }
    StripView.empty { display: none; }
    """

    def tell(self, said: tuple[Paragraph, ...]) -> None:
        """Show paragraphs; the place for them follows."""
        if said == self.said:
            return
        self.set_class(not said, "empty")
        self.say(said)
        self.refresh(layout=True)

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """Return the lines that the paragraphs need in a width."""
        return max(1, len(self._lines(max(16, width))))


class LegendView(PictureView, inherit_bindings=False):
    """What the marks mean, in as many rows as the width asks for."""

    DEFAULT_CSS = """
    LegendView { overflow: hidden hidden; width: 100%; height: 1; }
    """
    can_focus = False
