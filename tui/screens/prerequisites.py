"""Prerequisites: what must come before the selected stage, and what must hold."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.events import Resize

from pathway.plan.graph import graph_of
from pathway.views.pictures.picture import Picture, Role, Span
from pathway.views.words import paragraphs
from tui import keys
from tui.opened import ChildList
from tui.screens.base import ChildScreen
from tui.widgets import frame
from tui.widgets.picture_view import PictureView
from tui.widgets.prose import Prose


class PrerequisitesScreen(ChildScreen):
    """The graph of the stages with the chain of the selected one lit; its gates below."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.PREREQUISITES]
    HELP_HEAD = "Prerequisites"
    DEFAULT_CSS = """
    PrerequisitesScreen PictureView { height: auto; max-height: 65%; width: 100%; margin: 1 0 0 1; }
    PrerequisitesScreen Prose { height: 1fr; padding: 1 1 0 1; }
    """

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self._picture: Picture | None = None
        self._unlock = False

    def compose(self) -> ComposeResult:
        """Lay out title, caution, graph, gates, keys."""
        yield frame.Title("Prerequisites")
        yield frame.Caution()
        yield PictureView(id="graph")
        yield Prose(id="gates", panel=True, focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show the graph."""
        self.query_one(PictureView).focus()

    def fresh(self) -> None:
        """Tell the gates first."""
        self._unlock = False

    def on_resize(self, _event: Resize) -> None:
        """Lay the graph out for the width there is."""
        self.show_stage()
        self.call_after_refresh(self._bring_into_view)

    def _bring_into_view(self) -> None:
        if self.selected is not None:
            self.query_one(PictureView).bring_into_view(self.selected.id)

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Show the new plan."""
        if name == self.child and self.plan is not None:
            self.show_stage()

    def show_stage(self) -> None:
        """Light the chain of the selected stage and tell its gates."""
        plan, stage = self.plan, self.selected
        if plan is None or stage is None:
            return
        self._picture = self.home.pictures.prerequisites(plan, self.app.size.width)
        before = graph_of(plan).chain(stage.id)

        def lit(span: Span) -> bool:
            if span.role is Role.EDGE:
                return any(first in before and last in before for first, last in span.links)
            return span.target in before

        view = self.query_one(PictureView)
        view.styles.height = self._picture.height + (1 if self._picture.width > view.size.width else 0)
        view.show(self._picture, stage.id, lit)
        view.bring_into_view(stage.id)
        rules = self.home.rules
        unlock = (
            paragraphs.of_unlock(plan, stage, rules)
            if self._unlock and rules is not None
            else paragraphs.of_gates(stage)
        )
        self.query_one("#gates", Prose).say(unlock)
        self.query_one(frame.Title).update(f"{self.child}: prerequisites of {stage.label}")

    def action_unlock(self) -> None:
        """Tell what would unlock the stage instead of its gates, or its gates again."""
        self._unlock = not self._unlock
        self.show_stage()

    def action_gates(self, by: int) -> None:
        """Scroll the gates."""
        prose = self.query_one("#gates", Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 1), animate=False)

    def on_picture_view_picked(self, event: PictureView.Picked) -> None:
        """Select the stage that was clicked."""
        self.select(event.stage)
