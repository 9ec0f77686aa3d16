"""A screen that is one page of text: it opens at its start and scrolls by a line or by a page."""

from __future__ import annotations

from typing import ClassVar

from tui.screens.base import ChildScreen, OwnScreen
from tui.widgets.prose import Prose


class Scrolls(OwnScreen):
    """A screen with one text that scrolls."""

    OVERLAP: ClassVar[int] = 2
    """How many lines of a page stand on the next one too."""

    def action_scroll(self, by: int) -> None:
        """Scroll by a line."""
        self.query_one(Prose).scroll_relative(y=by, animate=False)

    def action_page(self, by: int) -> None:
        """Scroll by a page."""
        prose = self.query_one(Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - self.OVERLAP), animate=False)

    def action_end(self, by: int) -> None:
        """Scroll to the start or to the end."""
        prose = self.query_one(Prose)
        if by < 0:
            prose.scroll_home(animate=False)
        else:
            prose.scroll_end(animate=False)


class PageScreen(Scrolls, ChildScreen):
    """One page of text of a child, which `show_stage` says."""

    def on_mount(self) -> None:
        """Show the page; the keys go to it."""
        self.query_one(Prose).focus()
        self.show_stage()
