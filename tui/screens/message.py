"""All that is told of the last edit of a child, on a page of its own: the timeline has room for its beginning."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.screens.page import Scrolls
from tui.widgets import frame
from tui.widgets.prose import Prose


class MessageScreen(Scrolls):
    """The sentences, one paragraph each."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.PAGE]
    HELP_HEAD = "Timeline"
    DEFAULT_CSS = """
    MessageScreen Prose { height: 1fr; padding: 1 2; }
    """

    def __init__(self, child: str, told: tuple[str, ...]) -> None:
        super().__init__()
        self._child, self._told = child, told

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title(f"{self._child}: the last edit")
        yield frame.Caution()
        yield Prose(id="text")
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the sentences."""
        prose = self.query_one(Prose)
        prose.focus()
        prose.say(Paragraph(sentence) for sentence in self._told)
