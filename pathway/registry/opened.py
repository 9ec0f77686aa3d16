"""A registry that is open: one state of it is read, one step at a time is written and signed. An edge."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, func, select, text

from pathway.registry.address import Place
from pathway.registry.covering import cover, is_registered
from pathway.registry.db import tables, tree_rows
from pathway.registry.db.engine import OpenEngine, layout_in
from pathway.registry.db.failures import translating_db_errors
from pathway.registry.journal.acts import Act, ActKind, act
from pathway.registry.journal.chain import when_text
from pathway.registry.journal.entry import Entry
from pathway.registry.journal.signed import SignedHead, public_hex
from pathway.registry.journal.tree_audit import gone_back, registered
from pathway.registry.migrate import migrate
from pathway.registry.workstation import Seen, Workstation

SIGNED_FROM = 2
"""The layout from which on a registry has a tree and signed heads."""
ONE_AT_A_TIME = 4_021_967_012


class OpenRegistry:
    """A database that is open, with the workstation that signs. All methods raise `RegistryProblem` where it fails."""

    def __init__(
        self,
        place: Place,
        opened: OpenEngine,
        key: str | None = None,
        station: Workstation | None = None,
    ) -> None:
        self.place = place
        self.engine: Engine = opened.engine
        self.key = key
        self.station = station or Workstation()
        self.layout = opened.layout
        self.read_only = opened.read_only
        self._signed: tuple[SignedHead, str] | None = None

    @property
    def notes(self) -> tuple[str, ...]:
        """Return what a person should know before the registry is used: it cannot be written, or has gone back."""
        return tuple(note for note in (self.read_only, self.left_behind()) if note)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Yield a connection that sees one state of the whole registry."""
        with translating_db_errors(self.place.name), self.engine.connect() as connection:
            if self.place.server is not None:
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            connection = connection.execution_options(writes=False)
            if self.layout < tables.LAYOUT:
                self.layout = layout_in(connection)
            yield connection

    @contextmanager
    def writing(self, when: datetime.datetime | None = None) -> Iterator[Connection]:
        """Yield a connection whose changes are kept together at the end, or not at all; one at a time.

        A registry of an older layout is brought to this one first, together with them. `when` is the moment.
        """
        with translating_db_errors(self.place.name), self.one_at_a_time(when) as connection:
            yield connection

    @contextmanager
    def one_at_a_time(self, when: datetime.datetime | None = None) -> Iterator[Connection]:
        """Yield what `writing` yields, and let what the database raises through."""
        self._signed = None
        with self.engine.begin() as connection:
            if self.place.server is not None:
                connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": ONE_AT_A_TIME})
            found = layout_in(connection)
            if found < tables.LAYOUT:
                migrate(connection, self.station, _moment(connection, when))
            yield connection
        self.layout = tables.LAYOUT
        if self._signed is not None:
            self._see(*self._signed)

    def cover(
        self,
        connection: Connection,
        made: Sequence[Entry],
        when: datetime.datetime | None,
        acts: Sequence[Act] = (),
        who: str = "",
    ) -> SignedHead:
        """Put added entries and acts under a signed head; to be called in `writing`."""
        links = [(one.child, one.sequence, one.sha256) for one in made]
        named = who or next((one.who for one in made), next((one.who for one in acts), ""))
        head = cover(connection, self.station, links, acts, _moment(connection, when), named)
        self._signed = (head, tree_rows.origin(connection) or "")
        return head

    def act(self, kind: ActKind, body: Mapping[str, Any], *, who: str, when: datetime.datetime) -> SignedHead:
        """Keep something that was done to the registry itself."""
        with self.writing(when) as connection:
            return self.cover(connection, (), when, (act(kind, when_text(when), who, body),))

    def acts(self, *kinds: ActKind) -> tuple[Act, ...]:
        """Return what was done to the registry itself, of some kinds only where such are named, in order."""
        if self.layout < SIGNED_FROM:
            return ()
        with self.reading() as connection:
            return tuple(tree_rows.acts(connection, *kinds).values())

    def signed_head(self) -> SignedHead | None:
        """Return where the whole registry stands, as it was signed last; None where nothing was signed yet."""
        if self.layout < SIGNED_FROM:
            return None
        with self.reading() as connection:
            return tree_rows.last_head(connection)

    def register(self, connection: Connection, when: datetime.datetime | None) -> None:
        """Write the key of this workstation down where that is not done yet; to be called in `writing`."""
        if not is_registered(connection, public_hex(self.station.key)):
            self.cover(connection, (), when, who="")

    def _see(self, head: SignedHead, origin: str) -> None:
        """Keep the head signed last as the one seen last, unless the registry has left what was seen before.

        Who meets a registry for the first time trusts the workstations that save there already.
        """
        if not self.left_behind():
            self.station.see(Seen(self.place.name, origin, head.size, head.root))
        there: Iterable[str] = ()
        if self.station.confirmed(origin) is None:
            with self.reading() as connection:
                there = registered(tree_rows.acts(connection, "key"))
        self.station.confirm(origin, [*there, head.public_key])

    def left_behind(self) -> str:
        """Return in a sentence how the registry has gone back or forked since this machine saw it last, "" if not.

        It is a quick look at signed heads; `verify` computes the tree again.
        """
        seen = self.station.seen(self.place.name)
        if seen is None:
            return ""
        with self.reading() as connection:
            there = None if self.layout < SIGNED_FROM else tree_rows.head_of_size(connection, seen.size)
            last = None if self.layout < SIGNED_FROM else tree_rows.last_head(connection)
        if there is not None and there.root == seen.root:
            return ""
        size = 0 if last is None else last.size
        how = f"gone back to number {size}" if size < seen.size else "another history"
        return gone_back(self.place.name, how, seen.known).problems[0].sentence


def _moment(connection: Connection, when: datetime.datetime | None) -> str:
    """Return the moment as it is kept; where nobody says one, that of the last entry."""
    if when is not None:
        return when_text(when)
    latest = connection.scalar(select(func.max(tables.entry.c.at)))
    return str(latest or when_text(datetime.datetime(1970, 1, 1, tzinfo=datetime.UTC)))
