"""Every child of the registry for the clinic's own results, one after the other: what was accepted, what is known now.

Children are read as they come from one query, so that ten thousand need no more memory than one.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pathway.protocol.model import Protocol
from pathway.registry.db.rows import RawEntry, raw_of, rows_by_child
from pathway.registry.journal.fold import Unfoldable, record_of
from pathway.registry.journal.kept_parts import parts_of_revision
from pathway.registry.journal.payloads import UnreadablePayload
from pathway.registry.store import Registry
from pathway.results.child import Known, known_of
from pathway.results.predicted import Revision, revision_of_data


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A child that cannot be told of, and why."""

    child: str
    why: str


def each_known(registry: Registry, protocol: Protocol, on: datetime.date) -> Iterator[Known | LeftOut]:
    """Yield every child that was not erased, as it is known up to a day; one that cannot be read with the reason.

    Raises `RegistryProblem` where the database fails.
    """
    with registry.reading() as connection:
        for child, rows in rows_by_child(connection):
            if any(row.kind == "erasure" for row in rows):
                continue
            try:
                entries = tuple(map(raw_of, rows))
                record = record_of(one.entry for one in entries)
                yield known_of(record, tuple(_revisions(entries)), protocol, on)
            except (Unfoldable, UnreadablePayload, ValueError, TypeError, LookupError) as error:
                yield LeftOut(child, str(error).rstrip("."))


def _revisions(entries: Sequence[RawEntry]) -> Iterator[Revision]:
    """Yield the accepted plans of a child, numbered as `registry revisions` numbers them."""
    kept = [one for one in entries if one.entry.kind == "revision" and one.plan_text is not None]
    for number, one in enumerate(kept, start=1):
        parts = parts_of_revision(one.plan_text or "", one.entry.schema_version)
        if parts.accepted:
            yield revision_of_data(number, parts.on, one.entry.when.date(), parts.plan)
