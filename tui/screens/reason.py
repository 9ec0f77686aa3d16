"""A decision needs a reason: what is decided, who decides, why. Saving it is one edit with one sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.questions.decisions import Who
from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.prose import Prose
from tui.widgets.who_and_why import WhoAndWhy

EMPTY = "A decision needs a reason: type why, in a few words. Escape leaves everything as it was."
WHY = "Why? (this is kept with the plan)"
EXAMPLE = "for example: fewest operations matter most to us"

__all__ = ["ReasonScreen", "Who"]


class ReasonScreen(OwnScreen):
    """Asks for the reason of a decision."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.REASON]
    HELP_HEAD = "A decision"
    DEFAULT_CSS = """
    ReasonScreen Prose { height: 1fr; padding: 1 2; }
    ReasonScreen Notice { margin: 1 1 0 1; }
    """

    def __init__(self, head: str, what: tuple[str, ...], decide: Callable[[str, Who], None]) -> None:
        super().__init__()
        self.head, self.what, self._decide = head, what, decide

    def compose(self) -> ComposeResult:
        """Lay out title, caution, who, why, what is decided, keys."""
        yield frame.Title(self.head)
        yield frame.Caution()
        yield WhoAndWhy("decides", WHY, EXAMPLE, self.home.decider)
        yield frame.Notice(id="notice")
        yield Prose(id="what", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show what is decided."""
        self.query_one(Prose).say([Paragraph(self.what[0], heading=True), *(Paragraph(text) for text in self.what[1:])])

    def action_who(self) -> None:
        """Change who decides."""
        self.query_one(WhoAndWhy).turn()

    def action_save(self) -> None:
        """Save the decision, where there is a reason."""
        asked = self.query_one(WhoAndWhy)
        if not asked.reason:
            self.query_one(frame.Notice).say(EMPTY)
            return
        self.home.decider = asked.who
        self.home.go_back()
        self._decide(asked.reason, asked.who)
