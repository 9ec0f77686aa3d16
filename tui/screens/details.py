"""Details: all that the plan says of one stage."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.views.words import paragraphs
from tui import keys
from tui.screens.base import ChildScreen
from tui.widgets import frame
from tui.widgets.prose import Prose


class DetailsScreen(ChildScreen):
    """What the stage is, why, what must hold, limits, stop rules, sources."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.DETAILS]
    DEFAULT_CSS = """
    DetailsScreen Prose { height: 1fr; padding: 1 2; }
    """

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title("Details")
        yield frame.Caution()
        yield Prose(id="text")
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the stage."""
        self.query_one(Prose).focus()
        self.show_stage()

    def show_stage(self) -> None:
        """Tell the selected stage from the top."""
        plan, stage = self.plan, self.selected
        if plan is not None and stage is not None:
            self.query_one(Prose).say(paragraphs.details(plan, stage))
            self.query_one(frame.Title).update(f"{self.child}: details, {stage.label}")

    def action_scroll(self, by: int) -> None:
        """Scroll by a line."""
        self.query_one(Prose).scroll_relative(y=by, animate=False)

    def action_page(self, by: int) -> None:
        """Scroll by a page."""
        prose = self.query_one(Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)
