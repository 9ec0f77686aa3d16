"""The part of the app that keeps what is not saved for the next visit, and takes up what the one before left."""

from __future__ import annotations

import datetime
from contextlib import suppress
from dataclasses import replace

from pathway.children.storage import Storage
from pathway.children.surroundings import Surroundings
from pathway.protocol.model import Protocol
from tui.beginning import BeginningApp
from tui.left_work import LeftEdits, LeftWork, as_text, of_text, with_edits, work_of
from tui.opened import ChildList, Entry

KEPT_EVERY_SECONDS = 0.3
TOLD_SECONDS = 20


class ComingBackApp(BeginningApp):
    """An app whose unsaved work outlives a page that is closed."""

    def __init__(
        self,
        child_list: ChildList,
        on: datetime.date,
        rules: Protocol | None,
        storage: Storage | None,
        around: Surroundings | None = None,
    ) -> None:
        super().__init__(child_list, on, rules, storage, around)
        self.came_back = ""
        """What of an earlier visit is here again, in a sentence."""
        self._waiting: dict[str, LeftEdits] = {}
        """Edits of an earlier visit of children that are not read yet."""
        self._text_kept = ""
        self._on_purpose = False

    def take_up(self) -> None:
        """Take up what an earlier visit left, and keep from now on what is not saved."""
        if self.around.left is None:
            return
        self._text_kept = self.around.left.read()
        left = of_text(self._text_kept)
        if left:
            self.drafts.update({name: dict(typed) for name, typed in left.drafts.items()})
            self.newcomer = dict(left.newcomer)
            self._waiting = dict(left.edits)
            self.came_back = left.sentence
            for name in self._waiting:
                self._open(name)
            self.notify(self.came_back, title="Not lost", timeout=TOLD_SECONDS, markup=False)
        self.set_interval(KEPT_EVERY_SECONDS, self.keep_unsaved)

    def _open(self, name: str) -> None:
        """Have a child read whose edits are to be done again."""
        names = {entry.name for entry in self.child_list.entries}
        if name in names:
            self.child_list = self.child_list.opening(name)
        else:
            entries = (*self.child_list.entries, Entry(name, "", opened=True))
            self.child_list = ChildList(tuple(sorted(entries, key=lambda entry: entry.name)))

    def do_again(self, name: str) -> None:
        """Do the edits of an earlier visit again, once the child has been read."""
        if name in self._waiting and self.child_list[name].session is not None:
            left = self._waiting.pop(name)
            with suppress(KeyError):
                self.child_list = with_edits(self.child_list, name, left)

    @property
    def left_work(self) -> LeftWork:
        """Return everything that is not saved, also what is still to be done again."""
        work = work_of(self.child_list.entries, self.drafts, self.newcomer)
        return replace(work, edits={**self._waiting, **work.edits})

    def keep_unsaved(self) -> None:
        """Keep what is not saved, where that changed; what was left on purpose is not kept."""
        left = self.around.left
        if left is None:
            return
        text = "" if self._on_purpose else as_text(self.left_work)
        if not text:
            self.came_back = ""
        if text != self._text_kept:
            with suppress(OSError):  # tried again in a moment
                left.keep(text)
                self._text_kept = text

    def exit(self, *args: object, **options: object) -> None:
        """Leave because somebody said so, in contrast to a page that was closed: nothing is kept then."""
        self._on_purpose = True
        super().exit(*args, **options)  # type: ignore[arg-type]

    def on_unmount(self) -> None:
        """Keep what changed last."""
        self.keep_unsaved()
