"""A decision needs a reason: what is decided, who decides, why. Saving it is one edit with one sentence."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Literal

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.widgets import Input, Static

from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.prose import Prose

Who = Literal["family", "team"]
EMPTY = "A decision needs a reason: type why, in a few words. Escape leaves everything as it was."


class ReasonScreen(OwnScreen):
    """Asks for the reason of a decision."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.REASON]
    DEFAULT_CSS = """
    ReasonScreen Prose { height: 1fr; padding: 1 2; }
    ReasonScreen .ask { height: auto; padding: 1 2 0 2; color: $role-accent; }
    ReasonScreen Input { border: none; height: 1; margin: 0 2; padding: 0 1; background: $panel; }
    ReasonScreen Input:focus { border: none; }
    ReasonScreen Notice { margin: 1 1 0 1; }
    """

    def __init__(self, head: str, what: tuple[str, ...], decide: Callable[[str, Who], None]) -> None:
        super().__init__()
        self.head, self.what, self._decide = head, what, decide
        self.who: Who = "family"

    def compose(self) -> ComposeResult:
        """Lay out title, caution, what is decided, who, why, keys."""
        yield frame.Title(self.head)
        yield frame.Caution()
        yield Static("", classes="ask", id="who", markup=False)
        yield Static("Why? (this is kept with the plan)", classes="ask", markup=False)
        yield Input(id="reason", placeholder="for example: fewest operations matter most to us")
        yield frame.Notice(id="notice")
        yield Prose(id="what", focus=False)
        yield frame.keys()

    def on_mount(self) -> None:
        """Show what is decided; typing goes to the reason."""
        self.query_one(Prose).say([Paragraph(self.what[0], heading=True), *(Paragraph(text) for text in self.what[1:])])
        typed = self.query_one(Input)
        typed.cursor_blink = False
        typed.focus()
        self._say_who()

    def _say_who(self) -> None:
        self.query_one("#who", Static).update(f"Who decides: the {self.who} (F3 changes)")

    def action_who(self) -> None:
        """Change who decides."""
        self.who = "team" if self.who == "family" else "family"
        self._say_who()

    def action_save(self) -> None:
        """Save the decision, where there is a reason."""
        reason = self.query_one(Input).value.strip()
        if not reason:
            self.query_one(frame.Notice).say(EMPTY)
            return
        self.home.go_back()
        self._decide(reason, self.who)
