"""A form: a list of fields, one line to type in, and the sentence that says what is wanted or what is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.message import Message
from textual.widgets import Input, Static

from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from tui.followup.form_field import Field
from tui.followup.options import after
from tui.widgets.choices import Choices


class Line(Input, inherit_bindings=False):
    """One line to type in; leaves the keys that would scroll it, which it cannot, to the screen and its key line."""

    BINDINGS: ClassVar[list[BindingType]] = list(Input.BINDINGS)


class Form(Vertical):
    """Fields above, the one chosen is typed in below; every change is told at once."""

    DEFAULT_CSS = """
    Form { background: $panel; }
    Form Choices { height: 1fr; background: $panel; padding: 0 1; }
    Form #asked { height: auto; max-height: 3; padding: 0 1; background: $panel; color: $role-accent; }
    Form Input { border: none; height: 1; margin: 0 1; padding: 0 1; background: $background; }
    Form Input:focus { border: none; }
    Form #said { height: auto; min-height: 1; max-height: 4; padding: 0 1; background: $panel; color: $role-muted; }
    Form #said.wrong { color: $role-stage-blocked; text-style: bold; }
    """

    class Changed(Message):
        """What was typed into a field."""

        def __init__(self, name: str, text: str) -> None:
            self.name = name
            self.text = text
            super().__init__()

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.fields: tuple[Field, ...] = ()
        self.place = 0

    def compose(self) -> ComposeResult:
        """Lay out the list, the question, the line to type in, the sentence."""
        yield Choices(id="fields", panel=True)
        yield Static("", id="asked", markup=False)
        yield Line(id="typed", select_on_focus=False)
        yield Static("", id="said", markup=False)

    def on_mount(self) -> None:
        """Let the cursor stand still: a blinking one moves in every picture."""
        self.query_one(Input).cursor_blink = False

    @property
    def chosen(self) -> Field | None:
        """Return the field that is typed in."""
        return self.fields[self.place] if 0 <= self.place < len(self.fields) else None

    def offer(self, fields: Sequence[Field], *, typing: bool = False) -> None:
        """Show fields, the one typed in stays chosen; while `typing` what stands in the line is left alone."""
        names = [field.name for field in fields]
        if self.chosen is not None and self.chosen.name in names:
            self.place = names.index(self.chosen.name)
        self.fields = tuple(fields)
        self.place = max(0, min(self.place, len(self.fields) - 1))
        ahead = self.chosen.ahead if self.chosen else 0
        self.query_one(Choices).offer([_line(field) for field in self.fields], self.place, ahead)
        if not typing:
            self._ask()

    def open(self, fields: Sequence[Field], name: str = "") -> None:
        """Show other fields, with the one of that name chosen, else the first."""
        names = [field.name for field in fields]
        self.fields, self.place = (), names.index(name) if name in names else 0
        self.offer(fields)

    def choose(self, place: int) -> None:
        """Choose the field to type in; places beyond the ends are held."""
        self.place = max(0, min(len(self.fields) - 1, place))
        self.query_one(Choices).choose(self.place, self.chosen.ahead if self.chosen else 0)
        self._ask()

    def next_option(self) -> None:
        """Put the next choice of the field into the line, as if it had been typed."""
        field, typed = self.chosen, self.query_one(Input)
        option = after(typed.value, field.options) if field else None
        if option is not None:
            typed.value = option.words
            typed.cursor_position = len(typed.value)

    def complain(self, sentence: str) -> None:
        """Say what is wrong with what was typed; nothing says what is wanted."""
        field = self.chosen
        said = self.query_one("#said", Static)
        said.set_class(bool(sentence), "wrong")
        said.update(sentence or (field.wanted if field else ""))

    def _ask(self) -> None:
        field = self.chosen
        typed = self.query_one(Input)
        with self.prevent(Input.Changed):
            typed.value = field.value if field else ""
        typed.cursor_position = len(typed.value)
        typed.placeholder = field.offered if field else ""
        unit = f" ({field.unit})" if field and field.unit else ""
        self.query_one("#asked", Static).update(f"{field.label}{unit}:" if field else "Nothing to set here")
        self.complain(field.wrong if field else "")

    def on_input_changed(self, event: Input.Changed) -> None:
        """Tell what was typed."""
        event.stop()
        if self.chosen is not None:
            self.post_message(self.Changed(self.chosen.name, event.value))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Go on to the next field."""
        event.stop()
        self.choose(self.place + 1)

    def on_choices_picked(self, event: Choices.Picked) -> None:
        """Choose the field that was clicked."""
        event.stop()
        self.choose(event.place)
        self.query_one(Input).focus()


def _line(field: Field) -> Paragraph:
    value = field.means or field.value or field.offered
    value = f"{value} {field.unit}".strip() if value else "–" if field.origin else "not set"
    hand = " ✎" if field.by_hand else ""
    origin = f"  [{field.origin}]" if field.origin else ""
    if field.wrong:
        return Paragraph(f"{field.label}: {value} ✕", role=Role.STAGE_BLOCKED)
    return Paragraph(f"{field.label}: {value}{hand}{origin}", role=Role.LABEL if field.by_hand else Role.TEXT)
