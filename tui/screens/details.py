"""Details: all that the plan says of one stage."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.views.words import paragraphs
from tui import keys
from tui.screens.page import PageScreen
from tui.widgets import frame
from tui.widgets.prose import Prose


class DetailsScreen(PageScreen):
    """What the stage is, why, what must hold, limits, stop rules, sources."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.DETAILS]
    HELP_HEAD = "Details"
    DEFAULT_CSS = """
    DetailsScreen Prose { height: 1fr; padding: 1 2; }
    """

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title("Details")
        yield frame.Caution()
        yield Prose(id="text")
        yield frame.keys()

    def show_stage(self) -> None:
        """Tell the selected stage from the top."""
        plan, stage = self.plan, self.selected
        if plan is not None and stage is not None:
            self.query_one(Prose).say(paragraphs.details(plan, stage))
            self.query_one(frame.Title).update(f"{self.child}: details, {stage.label}")
