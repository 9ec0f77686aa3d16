"""Help: the keys of every screen and the marks of the stages."""

from __future__ import annotations

from textual.app import ComposeResult

from pathway.views.words.keys import keys_and_marks
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.prose import Prose


class HelpScreen(OwnScreen):
    """The keys and the marks."""

    DEFAULT_CSS = """
    HelpScreen Prose { height: 1fr; padding: 1 2; }
    """

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
        prose.say(keys_and_marks())

    def action_help(self) -> None:
        """Close the help again."""
        self.action_back()
