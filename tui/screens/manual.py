"""The manual: its pages by what a reader wants, and the page chosen, as the verb `manual` prints it."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Container
from textual.events import Resize

from pathway.views import manual
from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.choices import Choices
from tui.widgets.prose import Prose

WIDE = 100


class ManualScreen(OwnScreen):
    """Titles on one side, the page on the other; below it where there is no width."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.MANUAL]
    HELP_HEAD = "Help and manual"
    DEFAULT_CSS = """
    ManualScreen #body { layout: vertical; height: 1fr; }
    ManualScreen Choices { height: 1fr; padding: 1 1 0 1; }
    ManualScreen #page { height: 3fr; padding: 1 2; }
    ManualScreen.wide #body { layout: horizontal; }
    ManualScreen.wide Choices { width: 2fr; height: 100%; }
    ManualScreen.wide #page { width: 5fr; height: 100%; }
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

    def on_resize(self, event: Resize) -> None:
        """Put the page beside the titles where there is width for it."""
        self.set_class(event.size.width >= WIDE, "wide")
        choices = self.query_one(Choices)
        self.call_after_refresh(lambda: choices.choose(choices.place))

    def show_page(self) -> None:
        """Show the chosen page from its start."""
        topic = manual.topics()[self.query_one(Choices).place]
        self.query_one("#page", Prose).say(manual.page(topic, self.home.rules))

    def action_topic(self, by: int) -> None:
        """Choose the page before or after."""
        choices = self.query_one(Choices)
        choices.choose(choices.place + by)
        self.show_page()

    def action_page(self, by: int) -> None:
        """Scroll the page."""
        prose = self.query_one("#page", Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)

    def on_choices_picked(self, event: Choices.Picked) -> None:
        """Choose the page that was clicked."""
        self.query_one(Choices).choose(event.place)
        self.show_page()
