"""A form: a list of fields, one line to type in, what may be chosen, and what is wanted or what is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.events import Key
from textual.message import Message
from textual.widgets import Input, Static

from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from tui.followup.form_field import Field
from tui.followup.options import after, fitting, last_part
from tui.widgets.choices import Choices
from tui.widgets.hint import Hint
from tui.widgets.offered import Offered

STEPS = {"up": -1, "down": 1}
FEW = 6
"""So many choices are seen at a glance; of more it is said how many there are, as not all may be in view."""


class Line(Input, inherit_bindings=False):
    """One line to type in; leaves the keys that would scroll it, which it cannot, to the screen and its key line."""

    BINDINGS: ClassVar[list[BindingType]] = list(Input.BINDINGS)

    async def on_key(self, event: Key) -> None:
        """Go to another field in the order of the keys: typed fast, a letter must not overtake the arrow before it."""
        if event.key in STEPS:
            event.stop()
            await self.screen.run_action(f"field({STEPS[event.key]})")


class Form(Vertical):
    """Fields above, the one chosen is typed in below; every change is told at once."""

    DEFAULT_CSS = """
    Form { background: $panel; }
    Form Choices { height: 1fr; background: $panel; padding: 0 1; }
    Form #asked { height: auto; max-height: 3; padding: 0 1; background: $panel; color: $role-accent; }
    Form Input { border: none; height: 1; margin: 0 1; padding: 0 1; background: $background; }
    Form Input:focus { border: none; }
    Form Input > .input--selection { background: $role-chosen; color: $role-chosen-text; }
    Form #said { max-height: 4; }
    Form.listing Choices { min-height: 4; }
    Form.listing #said { max-height: 2; }
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
        self._taken: dict[str, str] = {}
        """What was taken from the choices of a field, not typed."""
        self._told = ("", "")
        """The field and the text that the line stood at when it was told last."""

    def compose(self) -> ComposeResult:
        """Lay out the list, the question, the line to type in, the sentence."""
        yield Choices(id="fields", panel=True)
        yield Static("", id="asked", markup=False)
        yield Line(id="typed", select_on_focus=False)
        yield Offered(id="offered")
        yield Hint(id="said")

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
        self._tell()
        names = [field.name for field in fields]
        self.fields, self.place = (), names.index(name) if name in names else 0
        self.offer(fields)

    def choose(self, place: int) -> None:
        """Choose the field to type in; places beyond the ends are held."""
        self._tell()
        self.place = max(0, min(len(self.fields) - 1, place))
        self.query_one(Choices).choose(self.place, self.chosen.ahead if self.chosen else 0)
        self._ask()

    def next_option(self) -> None:
        """Put the next choice of the field into the line, as if it had been typed."""
        field = self.chosen
        if field is None:
            return
        text = self.query_one(Input).value
        # With nothing typed what is offered stands: the choice after it is the first that changes anything.
        option = after(last_part(text)[1] if field.several else text or field.offered, field.options)
        if option is not None:
            self._take(option.words)

    def _take(self, words: str) -> None:
        """Put a choice into the line: in place of what stands there, or after the last comma where several may."""
        typed, field = self.query_one(Input), self.chosen
        before = last_part(typed.value)[0] if field is not None and field.several else ""
        typed.value = before + words
        typed.cursor_position = len(typed.value)
        if field is not None:
            self._taken[field.name] = typed.value
        self._replaceable()

    def _replaceable(self) -> None:
        """Mark what stands in the line where nobody typed it, so that the first key typed takes its place."""
        field, typed = self.chosen, self.query_one(Input)
        if field is None or field.several or not typed.value:
            return
        if typed.value == self._taken.get(field.name) or not field.by_hand:
            typed.select_all()

    def complain(self, sentence: str) -> None:
        """Say what is wrong with what was typed; nothing says what is wanted."""
        field = self.chosen
        self.query_one(Hint).say(sentence or (field.wanted if field else ""), wrong=bool(sentence))
        self._list()

    def _list(self) -> None:
        """List what the field chooses from: what the text typed may still become, with what is taken marked."""
        field, text = self.chosen, self.query_one(Input).value
        options = field.options if field else ()
        self.set_class(bool(options), "listing")
        self.screen.set_class(bool(options), "listing")
        if field is None or not options:
            self.query_one(Offered).offer(())
            return
        taken = field.means or text.strip() or field.offered
        listed = fitting(last_part(text)[1] if field.several else text, options)
        marked = {words.strip() for words in taken.split(",")} if field.several else {taken}
        self.query_one(Offered).offer([option.words for option in listed], marked)

    def _ask(self) -> None:
        field = self.chosen
        typed = self.query_one(Input)
        with self.prevent(Input.Changed):
            typed.value = field.value if field else ""
        self._told = (field.name if field else "", typed.value)
        typed.cursor_position = len(typed.value)
        self._replaceable()
        typed.placeholder = field.offered if field else ""
        unit = f" ({field.unit})" if field and field.unit else ""
        many = len(field.options) if field else 0
        choices = f" ({many} choices)" if many > FEW else ""
        self.query_one("#asked", Static).update(f"{field.label}{unit}{choices}:" if field else "Nothing to set here")
        self.complain(field.wrong if field else "")
        self.screen.refresh_bindings()  # a field with choices has a key that others have not

    def on_input_changed(self, event: Input.Changed) -> None:
        """Tell what was typed."""
        event.stop()
        if event.value == self.query_one(Input).value:  # else the line has gone on: to another text or another field
            self._tell()

    def _tell(self) -> None:
        """Tell the text of the line where it is another than was told last: of the field that it was typed into."""
        field, text = self.chosen, self.query_one(Input).value
        if field is not None and (field.name, text) != self._told:
            self._told = (field.name, text)
            # Whoever comes back before the screen has taken it finds what was typed.
            typed = replace(field, value=text, by_hand=True)
            self.fields = tuple(typed if one is field else one for one in self.fields)
            self.post_message(self.Changed(field.name, text))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Go on to the next field."""
        event.stop()
        self.choose(self.place + 1)

    def on_offered_picked(self, event: Offered.Picked) -> None:
        """Take the choice that was clicked."""
        event.stop()
        self._take(event.words)
        self.query_one(Input).focus()

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
