"""Leaving with changes that are not saved: what they are, and the choice."""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType

from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph
from tui import keys, saving_words
from tui.beginning import NEWCOMER
from tui.opened import ChildList
from tui.screens.base import OwnScreen
from tui.widgets import frame
from tui.widgets.prose import Prose

IN_FOLLOW_UP = "typed in the follow-up and not kept: open it again"


class LeaveScreen(OwnScreen):
    """Asks whether to save before leaving."""

    BINDINGS: ClassVar[list[BindingType]] = [*keys.LEAVE]
    DEFAULT_CSS = """
    LeaveScreen Prose { height: 1fr; padding: 1 2; }
    """

    def compose(self) -> ComposeResult:
        """Lay out title, caution, what is not saved, keys."""
        yield frame.Title("Leave: not everything is saved")
        yield frame.Caution()
        yield frame.Notice(id="notice")
        yield Prose(id="text")
        yield frame.keys()

    def on_mount(self) -> None:
        """Say what is not saved."""
        self.query_one(Prose).focus()
        self.query_one(Prose).say(self._words())

    def children_changed(self, child_list: ChildList, name: str | None) -> None:
        """Say why a child could not be saved."""
        self.query_one(Prose).say(self._words())
        told = child_list[name].told if name is not None else ()
        if told:
            self.query_one(frame.Notice).say("\n".join(told))

    def _words(self) -> Iterator[Paragraph]:
        for entry in self.home.unsaved:
            yield Paragraph(entry.name, heading=True)
            for words in saving_words.reason_of(entry).split("; "):
                yield Paragraph(words, 1)
        for name in self.home.unkept:
            yield Paragraph(name, heading=True)
            where = "typed and not saved: F7 on the list opens it again" if name == NEWCOMER else IN_FOLLOW_UP
            yield Paragraph(f"{where}, F5 keeps it; or leave without it", 1)
        yield Paragraph("")
        saves = "Ctrl+S saves what is kept and leaves. " if self.home.unsaved else ""
        yield Paragraph(f"{saves}Ctrl+Q leaves without it. Escape goes back.", role=Role.LEGEND)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Return whether an action can be done now."""
        return bool(self.home.unsaved) if action == "save" else super().check_action(action, parameters)

    def action_back(self) -> None:
        """Return to the screen before, and stay there when saving is done."""
        self.home.stay()
        super().action_back()

    def action_save(self) -> None:
        """Save everything and leave."""
        self.home.save_and_leave()
