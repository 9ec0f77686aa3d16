"""Going to a field of a long form: letters of its name find it, Enter goes there. Nothing typed before is touched."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.widgets import Input

from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.choices import Choices

NONE = "No field is called so. Escape goes back to where you were."


@dataclass(frozen=True, slots=True)
class Place:
    """A field to go to: the part of the form that it is in ("" where there is one), its name, its label, its value."""

    part: str
    name: str
    label: str
    value: str = ""

    @property
    def words(self) -> str:
        """Return the field as it is listed."""
        part = f"{self.part}: " if self.part else ""
        return f"{part}{self.label}{f' = {self.value}' if self.value else ''}"


class JumpScreen(OwnScreen):
    """The fields of a form, found by letters."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.JUMPING]
    HELP_HEAD = "Go to a field"
    DEFAULT_CSS = """
    JumpScreen Input { border: none; height: 1; margin: 1 2 0 2; padding: 0 1; background: $panel; }
    JumpScreen Input:focus { border: none; }
    JumpScreen Choices { height: 1fr; padding: 1 1; }
    """

    def __init__(self, head: str, places: Sequence[Place], go: Callable[[Place], None]) -> None:
        super().__init__()
        self.head, self.places, self._go = head, tuple(places), go
        self.found: tuple[Place, ...] = self.places

    def compose(self) -> ComposeResult:
        """Lay out title, caution, the line to type in, the fields, keys."""
        yield frame.Title(self.head)
        yield frame.Caution()
        yield Input(id="letters", placeholder="letters of the field, such as fem len")
        yield frame.Notice(id="notice")
        yield Choices(id="places")
        yield frame.keys()

    def on_mount(self) -> None:
        """Show every field."""
        typed = self.query_one(Input)
        typed.cursor_blink = False
        typed.focus()
        self._offer()

    def on_input_changed(self, event: Input.Changed) -> None:
        """Show the fields that hold every part typed."""
        parts = event.value.lower().split()
        self.found = tuple(place for place in self.places if all(part in place.words.lower() for part in parts))
        self._offer()

    def _offer(self) -> None:
        self.query_one(Choices).offer([Paragraph(place.words) for place in self.found])
        self.query_one(frame.Notice).say("" if self.found else NONE)

    def action_choice(self, by: int) -> None:
        """Choose the field before or after."""
        choices = self.query_one(Choices)
        choices.choose(choices.place + by)

    def on_choices_picked(self, event: Choices.Picked) -> None:
        """Go to the field that was clicked."""
        self.query_one(Choices).choose(event.place)
        self.action_go()

    def action_go(self) -> None:
        """Go back to the form, to the field chosen."""
        at = self.query_one(Choices).place
        if 0 <= at < len(self.found):
            self.home.go_back()
            self._go(self.found[at])
