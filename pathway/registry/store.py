"""The registry itself: reading children and entries, and adding entries without overwriting anything. An edge."""

from __future__ import annotations

import datetime
import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError

from pathway.record import Record
from pathway.registry import stored_plans
from pathway.registry.address import place_of
from pathway.registry.db import rows, tables
from pathway.registry.db.engine import open_engine
from pathway.registry.db.failures import translating_db_errors
from pathway.registry.journal.chain import head_of, linked, moment
from pathway.registry.journal.entry import ChildLine, Entry, Head, NewEntry, Saved, StaleHead, StoredPlan
from pathway.registry.journal.fold import Unfoldable, record_of
from pathway.registry.journal.payloads import PAYLOAD_VERSION, UnreadablePayload, check_new
from pathway.registry.opened import OpenRegistry
from pathway.registry.problem import problem
from pathway.registry.workstation import Workstation


def open_registry(
    address: str | None = None, key: str | None = None, *, create: bool = False, station: Workstation | None = None
) -> Registry:
    """Return the registry at an address (see `place_of`), to be used in a `with` block.

    None is the file in the user's data folder. `key` opens an encrypted file. Where there is no registry yet, an
    empty one is made if `create`. `station` is who signs, the user's own workstation where none is named. Raises
    `RegistryProblem` with a sentence for whatever is in the way.
    """
    place = place_of(address)
    with translating_db_errors(place.name):
        return Registry(place, open_engine(place, key, create=create), key, station)


class Registry(OpenRegistry):
    """A journal of every child. All methods raise `RegistryProblem` where the database fails."""

    def children(self) -> tuple[ChildLine, ...]:
        """Return every child in the order of their ids, from one query without payloads."""
        entry = tables.entry
        ends = select(
            entry.c.child,
            func.max(entry.c.sequence).label("last"),
            func.min(entry.c.at).label("first_at"),
            func.max(entry.c.at).filter(entry.c.kind == "erasure").label("erased"),
        ).group_by(entry.c.child)
        each = ends.subquery()
        query = (
            select(each, entry.c.sha256, entry.c.at, entry.c.who)
            .join(entry, (entry.c.child == each.c.child) & (entry.c.sequence == each.c.last))
            .order_by(each.c.child)
        )
        with self.reading() as connection, self.telling_damage():
            return tuple(line_of(row, row["child"]) for row in connection.execute(query).mappings())

    def longest_name(self) -> int:
        """Return how long the longest name of a child is, 0 where there is none."""
        with self.reading() as connection:
            return int(connection.scalar(select(func.max(func.length(tables.entry.c.child)))) or 0)

    def entries(self, child: str) -> tuple[Entry, ...]:
        """Return the entries of a child in order, () where there is none."""
        with self.reading() as connection, self.telling_damage(child):
            return rows.entries_of(connection, child)

    def head(self, child: str) -> Head:
        """Return where the chain of a child ends; `NO_ENTRIES` where there is none."""
        with self.reading() as connection:
            return rows.head_in(connection, child)

    def record(self, child: str) -> Record:
        """Return what is known of a child now. Raises `RegistryProblem` for a child that is unknown or erased."""
        return self.record_and_head(child)[0]

    def record_and_head(self, child: str) -> tuple[Record, Head]:
        """Return what is known of a child with the head it was read at: what `append` wants as `seen`."""
        entries = self.entries(child)
        return self.folded(child, entries), head_of(entries)

    def folded(self, child: str, entries: Sequence[Entry]) -> Record:
        """Return the record that entries of a child make up. Raises `RegistryProblem` saying why there is none."""
        if not entries:
            do = "list them with `limb-pathway registry list`"
            raise problem(self.place.name, f"no child {child}", "the id of a child in the registry", do)
        erased = [entry for entry in entries if entry.kind == "erasure"]
        if erased:
            found = f"that {child} was erased on {erased[-1].when.date()}"
            raise problem(self.place.name, found, "a child whose record is kept", "choose another")
        try:
            return record_of(entries)
        except Unfoldable as error:
            raise problem(self.place.name, str(error), "a record", "run `registry verify`", key=child) from error

    def append(
        self, child: str, new: NewEntry | Sequence[NewEntry], *, seen: Head, when: datetime.datetime
    ) -> Saved | StaleHead:
        """Keep one entry, or several together, after `seen`, the head at which the caller read the child.

        Either all are kept, durably, or none: when somebody saved after `seen`, nothing is and their entries come
        back. `when` is the moment, with its time zone. Raises `RegistryProblem` for an entry that does not fit the
        record (first a case; a correction of something else; a second visit of a day; an erased child), and for a
        chain that no longer holds what the caller saw.
        """
        news = (new,) if isinstance(new, NewEntry) else tuple(new)
        self._check(child, news)
        try:
            with translating_db_errors_unless_taken(self.place.name), self.one_at_a_time(when) as connection:
                with self.telling_damage(child):
                    so_far = rows.entries_of(connection, child, plans=False)
                if head_of(so_far) == seen:
                    made = _made(child, seen, news, when)
                    self._check_fit(child, so_far, made)
                    if made:
                        rows.add(connection, made)
                        self.cover(connection, made, when)
                    return Saved(made, head_of(made) if made else seen)
        except IntegrityError:
            pass  # somebody else took the number between reading and adding
        return self._overtaken(child, self.entries(child), seen)

    def stored_plans(self, *, whole: bool = False) -> tuple[StoredPlan, ...]:
        """Return the plans kept for lists, by child; without the plans themselves unless `whole`.

        Left out is what was altered or cannot be read: `due_list.standings` tells of each child what is wrong.
        """
        with self.reading() as connection:
            return stored_plans.sound(connection, self.layout, whole=whole).plans

    def stored_plan(self, child: str) -> StoredPlan | None:
        """Return the plan kept for a child, whole where it was kept whole; None for one that was altered."""
        with self.reading() as connection:
            return stored_plans.of_child(connection, self.layout, child)

    def store_plans(self, plans: Sequence[StoredPlan], when: datetime.datetime | None = None) -> None:
        """Keep plans for lists with what they ask for by when, each in place of the one before; all or none.

        `when` matters only where this workstation has signed nothing here before; else the moment of the last entry.
        """
        if not plans:
            return
        with self.writing(when) as connection:
            self.register(connection, when)
            stored_plans.store(connection, self.station, plans)

    def drop_stored_plans(self) -> None:
        """Forget every plan kept for lists; the journal is untouched."""
        with self.writing() as connection:
            self.register(connection, None)
            stored_plans.drop(connection, self.station)

    @contextmanager
    def telling_damage(self, child: str = "") -> Iterator[None]:
        """Say in a sentence that a row holds what no entry can hold."""
        try:
            yield
        except (ValueError, TypeError, AttributeError, RecursionError) as error:
            found = f"an entry that was altered or is damaged ({error})"
            do = "name it with `registry verify`, and restore the last backup"
            raise problem(self.place.name, found, "entries as they were saved", do, key=child) from error

    def _check(self, child: str, news: Sequence[NewEntry]) -> None:
        for new in news:
            try:
                check_new(new)
            except UnreadablePayload as error:
                expected = "an entry that can be read back"
                raise problem(self.place.name, str(error), expected, "correct it", key=child) from error
            named = new.payload.get("record", {}).get("child", {}).get("id", child)
            if new.kind == "erasure" or named != child:
                found = "an erasure" if new.kind == "erasure" else f"the record of {named}"
                raise problem(self.place.name, found, f"an entry on {child}", "save it where it belongs", key=child)

    def _check_fit(self, child: str, so_far: Sequence[Entry], made: Sequence[Entry]) -> None:
        if any(entry.kind == "erasure" for entry in so_far):
            self.folded(child, so_far)
        try:
            record_of((*so_far, *made))
        except Unfoldable as error:
            expected, do = "an entry that fits what is kept", "correct it; nothing was saved"
            raise problem(self.place.name, str(error), expected, do, key=child) from error

    def _overtaken(self, child: str, now: tuple[Entry, ...], seen: Head) -> StaleHead:
        known = head_of(now[: seen.count])
        if head_of(now) == seen:
            found, expected = "that the next number of the registry is taken already", "it free; nothing was saved"
            raise problem(self.place.name, found, expected, "run `registry verify`: rows were put in", key=child)
        if known != seen:
            raise problem(
                self.place.name,
                f"{len(now)} entries that do not hold what was read before",
                f"the {seen.count} entries that were read, and perhaps more",
                "run `registry verify` against the heads of the last backup",
                key=child,
            )
        return StaleHead(now[seen.count :], head_of(now))


@contextmanager
def translating_db_errors_unless_taken(where: str) -> Iterator[None]:
    """Tell failures as `told` does, but let a number that somebody else took pass through."""
    with translating_db_errors(where):
        taken: IntegrityError | None = None
        try:
            yield
        except IntegrityError as error:
            taken = error
    if taken is not None:
        raise taken


def _made(child: str, head: Head, news: Sequence[NewEntry], when: datetime.datetime) -> tuple[Entry, ...]:
    made: list[Entry] = []
    for new in news:
        one = linked(
            head_of(tuple(made)) if made else head,
            child,
            new.kind,
            new.payload,
            who=new.who,
            when=when,
            schema_version=PAYLOAD_VERSION,
            supersedes=new.supersedes,
            salt=secrets.token_hex(32),
        )
        made.append(one)
    return tuple(made)


def line_of(row: Mapping[Any, Any], child: str) -> ChildLine:
    """Return how a child stands, of a row with the end of its chain and its first and last moments."""
    return ChildLine(
        child=child,
        head=Head(row["last"], row["sha256"]),
        first=moment(row["first_at"]),
        last=moment(row["at"]),
        last_by=row["who"],
        erased=None if row["erased"] is None else moment(row["erased"]),
    )
