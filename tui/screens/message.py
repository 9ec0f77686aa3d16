"""All that is told of the last edit of a child, on a page of its own: the timeline has room for its beginning."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.opened import ChildList
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
        self.query_one(Prose).focus()
        self._say()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Say what has come of the edit since the page was opened: a plan may take a moment."""
        if name == self._child and (told := child_list[self._child].told):
            self._told = told
            self._say()

    def _say(self) -> None:
        self.query_one(Prose).say(Paragraph(sentence) for sentence in self._told)
