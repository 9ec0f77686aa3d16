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
from tui.typed_steps import Steps, Typed
from tui.widgets import frame
from tui.widgets.form import Form
from tui.widgets.prose import Prose

if TYPE_CHECKING:
    from tui.screens.jump import Place

WIDE = 100
CLEARED = "Cleared: {label}. Ctrl+Z brings it back."
NOTHING_IN = "Nothing is typed in {label}."
CLEARS_ALL = " F6 again clears all else that is typed ({many})."
ALL_CLEARED = "All cleared: {many}. Ctrl+Z brings everything back."


class FormScreen(ChildScreen):
    """A form on one side, what follows from it on the other; nothing typed is an edit until it is kept."""

    BINDINGS: ClassVar[list[BindingType]] = [keys.JUMP]
    DEFAULT_CSS = """
    FormScreen #body { layout: vertical; height: 1fr; }
    FormScreen.wide #body { layout: horizontal; }
    """
    RESULT: ClassVar[str] = ""
    """The selector of the text beside the form."""

    def __init__(self, child: str, stage: str | None = None) -> None:
        super().__init__(child, stage)
        self.steps = Steps()
        self._asked_to_clear: tuple[str, Steps] | None = None
        """The field that was cleared last and what was typed then: the same key clears all where nothing came since."""
        self._told = ""
        self._ground: tuple[object, object] = (None, None)

    @property
    def typed(self) -> Typed:
        """Return what is typed, by field."""
        return self.steps.typed

    def begin_with(self, typed: Typed) -> None:
        """Let texts stand in the fields from the start: there is nothing to undo yet."""
        self.steps = Steps(dict(typed))

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
        self.steps = self.steps.with_text(event.name, event.text)
        self._untell()
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
            return bool(self.steps.done)
        if action == "redo":
            return bool(self.steps.undone)
        if action == "jump":
            return self.is_mounted and bool(self.query_one(Form).fields)
        if action in ("clear", "clear_all", "keep"):
            return bool(self.typed)
        if action == "option":
            chosen = self.query_one(Form).chosen if self.is_mounted else None
            return chosen is not None and bool(chosen.options)
        return super().check_action(action, parameters)

    def action_undo(self) -> None:
        """Take the last step back and show the field that it was made in."""
        self._step(*self.steps.undo())

    def action_redo(self) -> None:
        """Do the step undone last again and show its field."""
        self._step(*self.steps.redo())

    def _step(self, steps: Steps, name: str) -> None:
        if steps is not self.steps:
            self.steps = steps
            self._untell()
            if name:
                self.show_field(name)
            self.typed_anew()
            if name:  # a field may only come with what is typed
                self.show_field(name)
            self.refresh_bindings()

    def show_field(self, name: str) -> None:
        """Choose a field, where it is on the form."""
        form = self.query_one(Form)
        place = next((at for at, field in enumerate(form.fields) if field.name == name), None)
        if place is not None and place != form.place:
            form.choose(place)

    def action_clear(self) -> None:
        """Clear the field that is typed in; pressed again at once, all of them."""
        field = self.query_one(Form).chosen
        name = field.name if field is not None else ""
        if field is None or self._asked_to_clear == (name, self.steps):
            self.action_clear_all()
            return
        left = len(self.typed) - (name in self.typed)
        words = NOTHING_IN.format(label=field.label) if name not in self.typed else CLEARED.format(label=field.label)
        if name in self.typed:
            self.steps = self.steps.without(name)
            self.typed_anew()
        self._asked_to_clear = (name, self.steps)
        self.tell(f"{words}{CLEARS_ALL.format(many=left)}" if left else words)
        self.refresh_bindings()

    def action_clear_all(self) -> None:
        """Clear every field; it comes back as one step."""
        many = len(self.typed)
        if many:
            self.steps = self.steps.cleared()
            self.typed_anew()
            self.tell(ALL_CLEARED.format(many=f"{many} fields" if many > 1 else "1 field"))
            self.refresh_bindings()

    def tell(self, words: str) -> None:
        """Say what a key did, above the form, until the next one does something."""
        self._told = words
        self.query_one("#notice", frame.Notice).say(words, calm=True)

    def _untell(self) -> None:
        notice = self.query_one("#notice", frame.Notice)
        if self._told and notice.words == self._told:
            notice.say("")
        self._told, self._asked_to_clear = "", None

    def action_field(self, by: int) -> None:
        """Choose the field before or after."""
        self._untell()
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
