"""The manual: its pages by what a reader wants, and the page chosen, as the verb `manual` prints it."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container

from pathway.views import manual
from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.screens.page import ListAndPage
from tui.widgets import frame
from tui.widgets.choices import Choices
from tui.widgets.prose import Prose


class ManualScreen(ListAndPage):
    """Titles on one side, the page on the other; below it where there is no width."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.MANUAL]
    HELP_HEAD = "Help and manual"
    DEFAULT_CSS = """
    ManualScreen Choices { height: 1fr; }
    ManualScreen.wide #page { width: 5fr; }
    """

    def compose(self) -> ComposeResult:
        """Lay out title, caution, titles of the pages, the page, keys."""
        yield frame.Title("Manual")
        yield frame.Caution()
        with Container(id="body"):
            yield Choices(id="topics")
            yield Prose(id="page", panel=True)
        yield frame.keys()

    def on_mount(self) -> None:
        """Offer the pages, the first one chosen."""
        self.query_one("#page", Prose).focus()
        self.query_one(Choices).offer([Paragraph(manual.title(topic)) for topic in manual.topics()])
        self.show_page()

    def show_page(self) -> None:
        """Show the chosen page from its start."""
        topic = manual.topics()[self.query_one(Choices).place]
        self.query_one("#page", Prose).say(manual.page(topic, self.home.rules))
