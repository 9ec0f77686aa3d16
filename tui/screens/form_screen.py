"""What every screen with a form shares: what was typed, taking it back, the fields, and the result beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, ClassVar

from textual.binding import BindingType
from textual.events import Resize
from textual.widgets import Input

from pathway.problems import Refused
from pathway.views.rules.pages import page_on_screen
from pathway.views.words.paragraphs import Paragraph
from tui import keys
from tui.followup.form_field import Field
from tui.screens.base import ChildScreen
from tui.widgets.form import Form
from tui.widgets.prose import Prose

if TYPE_CHECKING:
    from tui.screens.jump import Place

WIDE = 100


class FormScreen(ChildScreen):
    """A form on one side, what follows from it on the other; nothing typed is an edit until it is kept."""

    BINDINGS: ClassVar[list[BindingType]] = [keys.JUMP]
    RESULT: ClassVar[str] = ""
    """The selector of the text beside the form."""

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self.typed: dict[str, str] = {}
        self._before: list[dict[str, str]] = []
        self._ground: tuple[object, object] = (None, None)

    def news(self) -> bool:
        """Return whether record or plan of the child are others than when this was asked last."""
        session = self.home.child_list[self.child].session
        known, self._ground = self._ground, (None, None) if session is None else (session.record, session.plan)
        return any(one is not other for one, other in zip(known, self._ground, strict=True))

    def typed_anew(self, *, typing: bool = False) -> None:
        """Work out what follows from what is typed now; while `typing` the line typed in is left alone."""

    def on_resize(self, event: Resize) -> None:
        """Put the form beside the result where there is width for it."""
        self.set_class(event.size.width >= WIDE, "wide")

    def on_form_changed(self, event: Form.Changed) -> None:
        """Take what was typed; an empty line is as if nothing had been typed in that field."""
        self._before.append(dict(self.typed))
        if event.text.strip():
            self.typed[event.name] = event.text.strip()
        else:
            self.typed.pop(event.name, None)
        self.typed_anew(typing=True)
        self.refresh_bindings()

    def help_about(self) -> Iterator[Paragraph]:
        """Yield what the field that is typed in is: what is wanted, its choices in full, the rule behind it."""
        field = self.query_one(Form).chosen
        if field is not None:
            yield from _about(field)
            yield from self._rule_page(self.rule_of(field))
            yield Paragraph("")

    def rule_of(self, field: Field) -> str:
        """Return the id of the rule, finding or source that a field rests on, "" where it rests on none."""
        return ""

    def _rule_page(self, rule: str) -> Iterator[Paragraph]:
        rules = self.home.rules
        if not rule or rules is None:
            return
        try:
            page = page_on_screen(rules, rule, self.home.named or None)
        except Refused:  # an input may rest on something that has no page of its own
            return
        yield Paragraph("")
        for row, line in enumerate(page):
            depth = (len(line) - len(line.lstrip())) // 2
            yield Paragraph(line.strip(), depth + 1, heading=row == 0)

    def places(self) -> Sequence[Place]:
        """Return every field that one can go to."""
        from tui.screens.jump import Place

        return [Place("", one.name, one.label, one.value or one.offered) for one in self.query_one(Form).fields]

    def go_to(self, place: Place) -> None:
        """Go to a field; what is typed in others stays."""
        form = self.query_one(Form)
        names = [field.name for field in form.fields]
        if place.name in names:
            form.choose(names.index(place.name))
        form.query_one(Input).focus()
        self.refresh_bindings()

    def action_jump(self) -> None:
        """Ask which field to go to."""
        from tui.screens.jump import JumpScreen

        self.home.push_screen(JumpScreen(f"{self.child}: go to a field", self.places(), self.go_to))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: undo takes back what was typed here."""
        if action == "undo":
            return bool(self._before)
        if action == "jump":
            return self.is_mounted and bool(self.query_one(Form).fields)
        if action in ("clear", "keep"):
            return bool(self.typed)
        if action == "option":
            chosen = self.query_one(Form).chosen if self.is_mounted else None
            return chosen is not None and bool(chosen.options)
        return False if action == "redo" else super().check_action(action, parameters)

    def action_undo(self) -> None:
        """Take the last change of a field back."""
        if self._before:
            self.typed = self._before.pop()
            self.typed_anew()
            self.refresh_bindings()

    def action_clear(self) -> None:
        """Take everything back that was typed."""
        self._before.append(dict(self.typed))
        self.typed = {}
        self.typed_anew()
        self.refresh_bindings()

    def action_field(self, by: int) -> None:
        """Choose the field before or after."""
        form = self.query_one(Form)
        form.choose(form.place + by)
        self.refresh_bindings()

    def action_option(self) -> None:
        """Take the next choice of the field."""
        self.query_one(Form).next_option()

    def action_page(self, by: int) -> None:
        """Scroll the result."""
        prose = self.query_one(self.RESULT, Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)


def _about(field: Field) -> Iterator[Paragraph]:
    yield Paragraph(f"{field.label}{f', in {field.unit}' if field.unit else ''}", heading=True)
    if field.wrong:
        yield Paragraph(f"To correct: {field.wrong}.", 1)
    if field.wanted:
        yield Paragraph(f"What to type: {field.wanted}", 1)
    if field.options:
        yield Paragraph(f"Choices: {', '.join(option.words for option in field.options)}", 1)
    value = field.means or field.value or field.offered
    origin = f" [{field.origin}]" if field.origin else ""
    yield Paragraph(f"Now: {f'{value} {field.unit}'.rstrip() if value else 'nothing'}{origin}", 1)
