"""The plans that a registry keeps, and what is known of a child entry by entry. An edge."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from pathway.children.kept_plans import AcceptedLast, Known, Moment
from pathway.children.storage import SaveFailed, save_failed
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.questions.record_diff import item_words
from pathway.record import Decision, Operation, Record, Visit
from pathway.registry.journal.entry import Entry
from pathway.registry.journal.fold import Unfoldable, accepted_last, record_of
from pathway.registry.journal.payloads import (
    NAMES,
    Revision,
    UnreadablePayload,
    content_of,
    corrected,
    revision_of,
)
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry
from pathway.views.words.history import kept_words, standing_words

if TYPE_CHECKING:
    from pathway.results.clinic import Results

TOLD_EVERY = 50
"""After how many children it is told how many were read."""
UNREADABLE = "this program cannot read the entry; `limb-pathway registry verify` tells more"


class RegistryPlans:
    """The plans of a registry; which one was accepted last is known as of the last reading or saving."""

    def __init__(self, store: Registry) -> None:
        self._store = store
        self._accepted: dict[str, AcceptedLast | None] = {}

    def learn(self, child: str, entries: Sequence[Entry]) -> None:
        """Take note of the entries of a child as they are now."""
        self._accepted[child] = _accepted(entries)

    def accepted(self, child: str) -> AcceptedLast | None:
        """Return the plan accepted last, as read or saved last."""
        return self._accepted.get(child)

    def moments(self, child: str, protocol: Protocol) -> tuple[Moment, ...]:
        """Return every entry of a child in order."""
        return tuple(_moment(entry, protocol) for entry in self._entries(child))

    def at(self, child: str, number: int) -> Known:
        """Return what was known after an entry, with the plan where the entry is one."""
        entries = [entry for entry in self._entries(child) if entry.sequence <= number]
        last = entries[-1]
        try:
            record = record_of(entries)
            revision = _revision(last)
            plan = None if revision is None else Plan.model_validate(revision.plan)
        except (Unfoldable, UnreadablePayload, ValueError) as error:
            what = f"entry {number} of {child} cannot be read ({error})"
            raise save_failed(self._store.place.name, what, "compare another entry") from error
        return Known(record, plan, plan.on if plan is not None else _day(last, record))

    def results(self, protocol: Protocol, on: datetime.date, read: Callable[[int], bool]) -> Results | None:
        """Return what all accepted plans said beside what came; None where `read` said not to go on."""
        from pathway.registry.own_results import LeftOut, each_known
        from pathway.results.clinic import Clinic

        clinic, seen = Clinic(protocol), 0
        try:
            for known in each_known(self._store, protocol, on):
                seen += 1
                if not isinstance(known, LeftOut):
                    clinic.add(known)
                if seen % TOLD_EVERY == 0 and not read(seen):
                    return None
        except RegistryProblem as error:
            raise SaveFailed(*error.problems) from error
        return clinic.results()

    def _entries(self, child: str) -> Sequence[Entry]:
        try:
            return self._store.entries(child)
        except RegistryProblem as error:
            raise SaveFailed(*error.problems) from error


def _accepted(entries: Sequence[Entry]) -> AcceptedLast | None:
    found = accepted_last(entries)
    if found is None:
        return None
    until = [entry for entry in entries if entry.sequence <= found.entry.sequence]
    try:
        record = record_of(until)
    except Unfoldable:  # `registry verify` tells it
        return None
    revision = found.revision
    return AcceptedLast(
        found.number,
        found.entry.when.date(),
        found.entry.who,
        revision.accepted_by,
        revision.on,
        revision.reason,
        revision.plan,
        record,
        len(entries) - len(until),
    )


def _moment(entry: Entry, protocol: Protocol) -> Moment:
    try:
        revision = _revision(entry)
        what = kept_words(revision.plan, revision.reason) if revision else _what(entry, protocol)
    except (UnreadablePayload, ValueError, KeyError):
        revision, what = None, UNREADABLE
    kind = standing_words(revision.accepted, revision.accepted_by) if revision else entry.kind
    accepted = revision is not None and revision.accepted
    return Moment(entry.sequence, entry.when.date(), entry.who, kind, what, revision is not None, accepted)


def _revision(entry: Entry) -> Revision | None:
    if entry.kind != "revision" or entry.payload is None:
        return None
    return revision_of(entry.payload, entry.schema_version)


def _what(entry: Entry, protocol: Protocol) -> str:
    if entry.payload is None:
        return "erased"
    name = NAMES.get(entry.kind)
    if entry.kind == "correction":
        name = corrected(entry.payload, entry.schema_version)
        about = f"entry {entry.supersedes}"
        if name is None:
            return f"{about} taken back: {entry.payload['reason']}"
        return f"{about} now reads: {_content(entry, name, protocol)}"
    return _content(entry, name, protocol) if name else str(entry.payload.get("reason", ""))


def _content(entry: Entry, name: str, protocol: Protocol) -> str:
    content = content_of(entry.payload or {}, name, entry.schema_version)
    if isinstance(content, Record):
        counts = (("visit", content.visits), ("operation", content.operations), ("decision", content.decisions))
        return "taken in whole: " + ", ".join(
            f"{len(some)} {word}{'' if len(some) == 1 else 's'}" for word, some in counts
        )
    if isinstance(content, Visit | Operation | Decision):
        return item_words(content, protocol)
    return "the calendar of the child" if content is not None else "the calendar of the clinic again"


def _day(entry: Entry, record: Record) -> datetime.date:
    """Return the day of an entry, or of the last visit where that was entered ahead: nothing known is left out."""
    return max((entry.when.date(), *(visit.date for visit in record.visits)))
