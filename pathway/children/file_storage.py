"""Case files as the screens see them: a storage that reads each and saves what was entered to it."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from pathway.children import case_files
from pathway.children.storage import Listed, SaveConflict, Saved, SaveFailed, id_taken, save_failed
from pathway.files.writing import PRIVATE, Target, put, write_out
from pathway.problems import Problem, Refused

if TYPE_CHECKING:
    from pathway.children.kept_plans import Accepter
    from pathway.children.served import Served
    from pathway.events import Event
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.protocol.question import EarlierOperation
    from pathway.record import Record
    from pathway.views.documents.summary import AcceptedPlan

CHANGED = "the file was changed by another program"


class FileStorage:
    """Children in case files; what stood in each file when it was read or saved last is what saving is held against.

    With `served` no file is read or written that really lies elsewhere.
    """

    def __init__(
        self, files: Mapping[str, Path], protocol: Protocol, on: datetime.date, served: Served | None = None
    ) -> None:
        self._files = dict(files)
        self._protocol = protocol
        self._on = on
        self._served = served
        self._known: dict[str, str] = {}

    @property
    def place(self) -> str:
        """Return the folder of the files, "case files" where they lie in several."""
        folders = {file.resolve().parent.name for file in self._files.values()}
        return folders.pop() if len(folders) == 1 else "case files"

    @property
    def plans(self) -> None:
        """Return nothing: a case file holds what was found, done and decided, and no plans."""
        return None

    def listed(self, protocol: Protocol, on: datetime.date) -> tuple[Listed, ...]:
        """Return the children by the names of their files; no plan of theirs is kept."""
        return tuple(Listed(name, None) for name in sorted(self._files))

    def read(self, child: str) -> Record:
        """Return what the file of a child says now; raises SaveFailed with every fault of it."""
        from pathway.casefile.read_and_check import read_and_check

        text = self._text(child)
        record = read_and_check(text, self._files[child].name, self._protocol, self._on)
        if isinstance(record, tuple):
            raise SaveFailed(*record)
        self._known[child] = text
        return record

    def earlier(self, child: str) -> tuple[EarlierOperation, ...]:
        """Return nothing: a file keeps no accepted plans."""
        return ()

    def save(
        self,
        child: str,
        events: Sequence[Event],
        plan: Plan,
        protocol: Protocol,
        reason: str,
        accepted_by: Accepter = "",
    ) -> Saved | SaveConflict:
        """Write what changed to the file; where it has to be written anew, the file before stays beside it."""
        file = self._allowed(child)
        gone = not file.exists() and file.parent.is_dir()
        text = self._known[child] if gone else self._text(child)
        if text != self._known[child]:
            return SaveConflict((CHANGED,), self.read(child))
        try:
            self._known[child], beside = save_events(file, text, events, protocol)
        except (OSError, ValueError) as error:
            words = error.strerror if isinstance(error, OSError) else error
            what = f"cannot be written ({words}); the file is unchanged. Check it and its folder"
            raise save_failed(str(file), what, "") from error
        return Saved(f"Saved in {file.name}{', which was missing and has been written again' if gone else beside}.")

    def accepted(self, child: str) -> AcceptedPlan | None:
        """Return nothing: a file keeps no accepted plans."""
        return None

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Return the case files."""
        return tuple(self._files.values())

    def add(self, record: Record) -> Saved:
        """Write a new child to a case file of its own, in the folder of the others; over nothing that is there."""
        from pathway.casefile import case_text

        child = record.child.id
        folders = {file.parent for file in self._files.values()}
        if len(folders) != 1:
            what = f"has no folder: the case files that are open lie in {len(folders)}"
            raise save_failed(child, what, "open one folder, then enter the child again")
        file = folders.pop() / f"{child}.toml"
        if child in self._files or any(child == self._id_of(name) for name in self._files):
            raise id_taken(child, self.place)
        try:
            file = self._really(file)
            write_out(Target(file), case_text(record).encode())
        except Refused as error:
            raise SaveFailed(*error.problems) from error
        self._files[child] = file
        return Saved(f"Saved in {file.name}, a new case file.")

    def _id_of(self, name: str) -> str:
        """Return the id that a case file gives its child, "" where it cannot be read."""
        from pathway.casefile.syntax import parse

        try:
            document = parse(self._text(name), name)
        except SaveFailed:
            return ""
        child = None if isinstance(document, Problem) else document.get("child")
        return str(child.get("id", "")) if isinstance(child, Mapping) else ""

    def _really(self, file: Path) -> Path:
        return file if self._served is None else self._served.real(file)

    def _allowed(self, child: str) -> Path:
        file = self._files[child]
        try:
            return self._really(file)
        except Refused as error:
            raise SaveFailed(*error.problems) from error

    def _text(self, child: str) -> str:
        file = self._allowed(child)
        try:
            return case_files.text_of(file, "check the file and its folder")
        except Refused as error:
            raise SaveFailed(*error.problems) from error


def save_events(
    file: Path, text: str, events: Sequence[Event], protocol: Protocol, as_written: str = ""
) -> tuple[str, str]:
    """Write events to a case file that reads `text`; return what it reads now, and where it lies as it was.

    What was entered is added at the end, in the words of `as_written` where they say the same. Where the file has to be
    written anew, the file before stays beside it, and the second text says so. Raises OSError and ValueError.
    """
    from pathway.casefile import amended

    new, stands = amended(text, events, file.name, protocol, as_written)
    beside = "" if stands or not file.exists() else f"; the earlier version is {_kept_beside(file).name}"
    _write(file, new)
    return new, beside


def _kept_beside(file: Path) -> Path:
    """Copy the file, byte by byte and as private as it is, under the first name beside it that is free; return that."""
    before, mode = file.read_bytes(), file.stat().st_mode & 0o777
    number = 1
    while True:
        beside = file.with_name(f"{file.stem}.before-{number}.txt")
        with suppress(FileExistsError):
            put(beside, before, mode, new=True)
            return beside
        number += 1


def _write(file: Path, text: str) -> None:
    """Replace a file in one step: whoever reads it sees the old text or the new one, never a part.

    Lines end as they did in the file.
    """
    there = file.exists()
    ends = "\r\n" if there and b"\r\n" in file.read_bytes() else "\n"
    mode = file.stat().st_mode & 0o777 if there else PRIVATE
    put(file.resolve(), text.replace("\n", ends).encode(), mode)
