"""Due: what one child needs by when, as the list of all children tells it."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.events import Resize

from pathway.questions.due import plan_summary
from pathway.views.words.children import needs_of
from pathway.views.words.due_paragraphs import due_paragraphs
from tui import keys
from tui.opened import ChildList
from tui.screens.page import PageScreen
from tui.widgets import frame
from tui.widgets.prose import Prose


class DueScreen(PageScreen):
    """What is overdue first, then what is needed in the months to come."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.PAGE]
    HELP_HEAD = "Due"
    DEFAULT_CSS = """
    DueScreen Prose { height: 1fr; padding: 1 2; }
    """

    def compose(self) -> ComposeResult:
        """Lay out title, caution, text, keys."""
        yield frame.Title("Due")
        yield frame.Caution()
        yield Prose(id="text")
        yield frame.keys()

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Say it of the new plan."""
        if name == self.child:
            self.show_stage()

    def on_resize(self, _event: Resize) -> None:
        """Show the keys that scroll where there is more than fits."""
        self.call_after_refresh(self.refresh_bindings)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: what fits is not scrolled."""
        if action in ("page", "scroll"):
            return self.is_mounted and self.query_one(Prose).max_scroll_y > 0
        return super().check_action(action, parameters)

    def show_stage(self) -> None:
        """Say what is needed, from its start."""
        session, rules, plan = self.home.child_list[self.child].session, self.home.rules, self.plan
        if session is not None and rules is not None and plan is not None:
            needed = needs_of(self.child, plan_summary(plan, session.record, rules), self.home.on)
            self.query_one(Prose).say(due_paragraphs(needed))
            self.query_one(frame.Title).update(f"{self.child}: what is needed by when, {self.home.on}")
            self.call_after_refresh(self.refresh_bindings)
