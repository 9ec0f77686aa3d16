"""Help: the field that is typed in, the keys of every screen, those of the screen below first, and the marks."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.views.words.keys import MANUAL, keys_and_marks
from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.screens.page import Scrolls
from tui.widgets import frame
from tui.widgets.prose import Prose


class HelpScreen(Scrolls):
    """The keys and the marks."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.HELP_PAGE]
    DEFAULT_CSS = """
    HelpScreen Prose { height: 1fr; padding: 1 2; }
    """

    def __init__(self, first: str = "", about: tuple[Paragraph, ...] = ()) -> None:
        super().__init__()
        self._first, self._about = first, about

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title("Help: keys and marks")
        yield frame.Caution()
        yield Prose(id="text")
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the words."""
        prose = self.query_one(Prose)
        prose.focus()
        prose.say((*self._about, MANUAL, *keys_and_marks(self._first)))

    def action_manual(self) -> None:
        """Open the pages of the manual."""
        self.home.open_manual()

    def action_help(self) -> None:
        """Close the help again."""
        self.action_back()
