"""What every screen with a form shares: what was typed, taking it back, the fields, and the result beside it."""

from __future__ import annotations

from typing import ClassVar

from textual.events import Resize

from tui.screens.base import ChildScreen
from tui.widgets.form import Form
from tui.widgets.prose import Prose

WIDE = 100


class FormScreen(ChildScreen):
    """A form on one side, what follows from it on the other; nothing typed is an edit until it is kept."""

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

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now: undo takes back what was typed here."""
        if action == "undo":
            return bool(self._before)
        if action in ("clear", "keep"):
            return bool(self.typed)
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

    def action_page(self, by: int) -> None:
        """Scroll the result."""
        prose = self.query_one(self.RESULT, Prose)
        prose.scroll_relative(y=by * max(1, prose.size.height - 2), animate=False)
