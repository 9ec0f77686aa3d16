"""Screens of pages of text: one that opens at its start and scrolls, or a list with the page of what is chosen."""

from __future__ import annotations

from typing import ClassVar

from textual.events import Resize

from tui.screens.base import ChildScreen, OwnScreen
from tui.widgets.choices import Choices
from tui.widgets.prose import Prose

WIDE = 100


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


class ListAndPage(OwnScreen):
    """A list on one side, the page (`#page`) of what is chosen on the other; below it where there is no width."""

    DEFAULT_CSS = """
    ListAndPage #body { layout: vertical; height: 1fr; }
    ListAndPage Choices { padding: 1 1 0 1; }
    ListAndPage #page { height: 3fr; padding: 1 2; }
    ListAndPage.wide #body { layout: horizontal; }
    ListAndPage.wide Choices { width: 2fr; height: 100%; }
    ListAndPage.wide #page { height: 100%; }
    """

    def on_resize(self, event: Resize) -> None:
        """Put the page beside the list where there is width for it."""
        self.set_class(event.size.width >= WIDE, "wide")
        choices = self.query_one(Choices)
        self.call_after_refresh(lambda: choices.choose(choices.place))

    def show_page(self) -> None:
        """Show the page of what is chosen; each screen does it its own way."""

    def action_choice(self, by: int) -> None:
        """Choose what stands before or after."""
        self.choose(self.query_one(Choices).place + by)

    def action_page(self, by: int) -> None:
        """Scroll the page."""
        prose = self.query_one("#page", Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)

    def on_choices_picked(self, event: Choices.Picked) -> None:
        """Choose what was clicked."""
        self.choose(event.place)

    def choose(self, place: int) -> None:
        """Choose a place of the list, held to its ends, and show its page."""
        self.query_one(Choices).choose(place)
        self.show_page()
