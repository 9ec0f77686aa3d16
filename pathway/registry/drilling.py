"""The rehearsal of a restore: the newest backup restored aside, verified, and children of it planned. An edge."""

from __future__ import annotations

import datetime
import os
import secrets
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pathway.problems import Refused
from pathway.registry.address import PLAIN_HEADER, drafts_in
from pathway.registry.copies import restore
from pathway.registry.db import tree_rows
from pathway.registry.journal.chain import head_of
from pathway.registry.journal.entry import ChildLine
from pathway.registry.journal.fold import earlier_operations
from pathway.registry.opened import SIGNED_FROM
from pathway.registry.planning import Task
from pathway.registry.problem import RegistryProblem, problem
from pathway.registry.store import Registry, open_registry

Planner = Callable[[Task], tuple[str, dict[str, Any] | str]]


@dataclass(frozen=True, slots=True)
class Drilled:
    """What a drill found: which backup, its children and entries, who was planned, and all that is wrong.

    `unwritten` says why the registry could not write it down, "" where it did.
    """

    file: Path
    children: int
    entries: int
    planned: tuple[str, ...]
    wrong: tuple[str, ...]
    unwritten: str = ""

    @property
    def result(self) -> str:
        """Return the result in one sentence."""
        if self.wrong:
            return f"{self.file}: {len(self.wrong)} things are wrong; this backup is not to be relied on."
        count = f"{self.children} children, {self.entries} entries"
        return f"{self.file}: {count} restored and verified, {len(self.planned)} of the children planned anew."


def newest_backup(place: Path, *, encrypted: bool) -> Path:
    """Return the newest backup in a folder, or the file that is named. Raises `RegistryProblem` where there is none.

    What was changed last counts as newest; with `encrypted`, any file may be a backup, else only databases.
    """
    do = "name a folder with backups, or a backup"
    if place.is_file():
        return place
    if not place.is_dir():
        raise problem(str(place), "nothing there", "a backup, or a folder with backups", do)
    try:
        files = [path for path in place.iterdir() if path.is_file() and not path.name.startswith(".")]
        found = [path for path in files if encrypted or _is_database(path)]
    except OSError as error:
        raise problem(str(place), f"a folder that cannot be read ({error.strerror})", "one with backups", do) from error
    if not found:
        raise problem(str(place), "no backup in the folder", "one", do)
    return max(found, key=lambda path: (path.stat().st_mtime_ns, path.name))


def drill(
    registry: Registry,
    file: Path,
    planner: Planner,
    *,
    sample: int,
    who: str,
    when: datetime.datetime,
) -> Drilled:
    """Restore a backup aside, verify it, hold it against the registry, and plan a sample of its children.

    Nothing of the copy is left afterwards; the registry writes down what came of it. What is wrong with the backup is
    told, not raised.
    """
    children = entries = 0
    planned: list[str] = []
    wrong: list[str] = []
    try:
        with _aside(registry) as draft, open_registry(str(file), registry.key, station=registry.station) as backup:
            wrong += _other_than(registry, backup)
            found = restore(backup, str(draft), registry.key, aside=True)
            children, entries = len(found.heads), found.entries
            wrong += [fault.sentence for fault in found.faults]
            with open_registry(str(draft), registry.key, station=registry.station) as copy:
                for child, failure in _planned(copy, planner, sample):
                    planned.append(child)
                    wrong += [f"{child}: could not be planned ({failure})."] if failure else []
    except Refused as error:
        wrong += [one.sentence for one in error.problems]
    done = Drilled(file, children, entries, tuple(planned), tuple(wrong))
    if registry.read_only:
        return replace(done, unwritten=registry.read_only)
    try:
        registry.act("drill", {"file": file.name, "sound": not wrong, "result": done.result}, who=who, when=when)
    except RegistryProblem as error:  # what was found is told, whether it can be written down or not
        return replace(done, unwritten=str(error))
    return done


def _planned(copy: Registry, planner: Planner, sample: int) -> Iterator[tuple[str, str]]:
    lines = [line for line in copy.children() if line.erased is None]
    for line in _spread(lines, sample):
        entries = copy.entries(line.child)
        record = copy.folded(line.child, entries).model_dump(mode="json")
        child, made = planner(Task(line.child, head_of(entries), record, earlier_operations(entries)))
        yield child, made if isinstance(made, str) else ""


def _spread(lines: list[ChildLine], sample: int) -> list[ChildLine]:
    """Return so many children, evenly over the list: the same ones for the same list."""
    if len(lines) <= sample:
        return lines
    return [lines[number * len(lines) // sample] for number in range(sample)]


def _other_than(registry: Registry, backup: Registry) -> list[str]:
    """Return in a sentence that the registry does not go on from where the backup ends, where that is so."""
    head = backup.signed_head()
    if head is None or registry.layout < SIGNED_FROM:
        return []
    with registry.reading() as connection:
        there = tree_rows.head_of_size(connection, head.size)
    if there is not None and there.root == head.root:
        return []
    return [f"{backup.place.name}: its head {head.short} is none that {registry.place.name} passed through."]


@contextmanager
def _aside(registry: Registry) -> Iterator[Path]:
    """Yield a name for a copy beside the registry, and remove what was made of it, and by drills that were killed."""
    own = registry.place.file
    folder = Path(tempfile.gettempdir()) if own is None or registry.read_only else own.absolute().parent
    for left in drafts_in(folder):
        if left.name.startswith(".drill."):
            left.unlink(missing_ok=True)
    draft = folder / f".drill.{os.getpid()}-{secrets.token_hex(6)}.new"
    try:
        yield draft
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            draft.with_name(draft.name + end).unlink(missing_ok=True)


def _is_database(file: Path) -> bool:
    with file.open("rb") as opened:
        return opened.read(len(PLAIN_HEADER)) == PLAIN_HEADER
