"""Who decides and why: two lines, one of them to type in."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.widgets import Input, Static

from pathway.questions.decisions import Who

FIRST_WHO: Who = "team"
"""Who decides where nobody has decided in this session: never silently the family."""


class WhoAndWhy(Vertical):
    """Who decides, as who decided last, and the line for the reason; an `offered` reason counts where none is typed."""

    DEFAULT_CSS = """
    WhoAndWhy { height: auto; }
    WhoAndWhy .ask { height: auto; padding: 1 2 0 2; color: $role-accent; }
    WhoAndWhy #offered { height: auto; max-height: 3; padding: 0 3; color: $role-muted; display: none; }
    WhoAndWhy #offered.shown { display: block; }
    WhoAndWhy Input { border: none; height: 1; margin: 0 2; padding: 0 1; background: $panel; }
    WhoAndWhy Input:focus { border: none; }
    """

    def __init__(self, verb: str, why: str, example: str, last: Who | None) -> None:
        super().__init__()
        self._verb, self._why, self._example, self._last = verb, why, example, last
        self.who: Who = last or FIRST_WHO
        self.offered = ""

    def compose(self) -> ComposeResult:
        """Lay out who, why, the line, what counts where none is typed."""
        yield Static("", classes="ask", id="who", markup=False)
        yield Static(self._why, classes="ask", id="why", markup=False)
        yield Input(id="reason", placeholder=self._example)
        yield Static("", id="offered", markup=False)

    def on_mount(self) -> None:
        """Show who decides; typing goes to the reason."""
        typed = self.query_one(Input)
        typed.cursor_blink = False
        typed.focus()
        self._say_who()

    def turn(self) -> None:
        """Let the other one decide."""
        self.who = "team" if self.who == "family" else "family"
        self._say_who()

    def offer(self, why: str, reason: str) -> None:
        """Ask anew, with the reason that counts where none is typed."""
        self.offered = reason
        self.query_one("#why", Static).update(why)
        shown = self.query_one("#offered", Static)
        shown.update(f"If nothing is typed: {reason}")
        shown.set_class(bool(reason), "shown")

    @property
    def reason(self) -> str:
        """Return the reason that is typed, else the one offered."""
        return self.query_one(Input).value.strip() or self.offered

    def _say_who(self) -> None:
        other = "team" if self.who == "family" else "family"
        last = ", who decided last on these screens" if self.who == self._last else ""
        self.query_one("#who", Static).update(f"Who {self._verb}: the {self.who}{last} (F3: the {other})")
