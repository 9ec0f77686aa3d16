"""From the entries of a child to its record as it is known now. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pathway.plan.earlier import earlier_of_data
from pathway.protocol.question import EarlierOperation
from pathway.record import CaseCalendar, Decision, Operation, Record, Visit, in_order
from pathway.registry.journal.entry import Entry
from pathway.registry.journal.payloads import (
    NAMES,
    Content,
    Revision,
    UnreadablePayload,
    content_of,
    corrected,
    revision_of,
)


class Unfoldable(ValueError):
    """The entries of a child make up no record; the text says which entry and why."""


@dataclass(frozen=True, slots=True)
class Part:
    """What one entry adds to the record now: the content of its latest correction; `by` is that entry's number."""

    sequence: int
    by: int
    name: str
    content: Content | None


@dataclass(frozen=True, slots=True)
class AcceptedPlan:
    """A plan that was kept, accepted or with what was saved, with its number (1, 2, … within the child) and entry."""

    number: int
    entry: Entry
    revision: Revision


def record_of(entries: Iterable[Entry]) -> Record:
    """Return the record that the entries (in order) make up, each list in date order.

    A later `case` replaces all that was known before it. Raises `Unfoldable` where there is no record: nothing
    was taken in, the child was erased, a correction does not fit, or a day has two visits.
    """
    record: Record | None = None
    for part in parts_of(entries):
        record = _with(record, part)
    if record is None:
        raise Unfoldable("no record was imported")
    return in_order(record)


def parts_of(entries: Iterable[Entry]) -> tuple[Part, ...]:
    """Return what each entry adds to the record now, corrections applied.

    Left out are entries that were withdrawn and those that a later case replaced.

    Raises `Unfoldable` for a correction that does not fit and for an erased payload.
    """
    parts: dict[int, Part | None] = {}
    roots: dict[int, int] = {}
    names: dict[int, str] = {}
    case = 0
    for entry in entries:
        if entry.kind not in NAMES and entry.kind != "correction":
            continue
        if entry.payload is None:
            raise Unfoldable(f"entry {entry.sequence} was erased")
        if entry.kind != "correction":
            roots[entry.sequence] = entry.sequence
            names[entry.sequence] = NAMES[entry.kind]
            case = entry.sequence if entry.kind == "case" else case
            parts[entry.sequence] = _part(entry, entry.sequence, NAMES[entry.kind])
            continue
        root = roots.get(entry.supersedes or 0)
        if root is None:
            what = f"entry {entry.supersedes}, which is no part of the record"
            raise Unfoldable(f"entry {entry.sequence} corrects {what}")
        if root < case:
            what = f"entry {entry.supersedes}, which the case of entry {case} replaced"
            raise Unfoldable(f"entry {entry.sequence} corrects {what}")
        roots[entry.sequence] = root
        parts[root] = _corrected(entry, root, names[root])
    return tuple(part for root, part in parts.items() if part is not None and root >= case)


def accepted_plans(entries: Iterable[Entry]) -> tuple[AcceptedPlan, ...]:
    """Return the accepted plans of a child in order. Raises `UnreadablePayload`; erased ones are left out."""
    kept = [entry for entry in entries if entry.kind == "revision"]
    return tuple(
        AcceptedPlan(number, entry, revision_of(entry.payload, entry.schema_version))
        for number, entry in enumerate(kept, start=1)
        if entry.payload is not None
    )


def accepted_last(entries: Iterable[Entry]) -> AcceptedPlan | None:
    """Return the plan that somebody accepted last; None where nobody has, or where it cannot be read any more."""
    try:
        return next((one for one in reversed(accepted_plans(entries)) if one.revision.accepted), None)
    except UnreadablePayload:  # `registry verify` tells it; without it nothing counts as accepted
        return None


def earlier_operations(entries: Iterable[Entry]) -> tuple[EarlierOperation, ...]:
    """Return the operations of the plan accepted last; none where none was, or where it cannot be read any more."""
    last = accepted_last(entries)
    return () if last is None else earlier_of_data(last.revision.plan)


def _part(entry: Entry, root: int, name: str) -> Part:
    assert entry.payload is not None
    try:
        return Part(root, entry.sequence, name, content_of(entry.payload, name, entry.schema_version))
    except UnreadablePayload as error:
        raise Unfoldable(f"entry {entry.sequence} cannot be read ({error})") from error


def _corrected(entry: Entry, root: int, was: str) -> Part | None:
    assert entry.payload is not None
    try:
        name = corrected(entry.payload, entry.schema_version)
    except UnreadablePayload as error:
        raise Unfoldable(f"entry {entry.sequence} cannot be read ({error})") from error
    if name is None:
        if was == "record":
            raise Unfoldable(f"entry {entry.sequence} withdraws a whole case; correct it instead")
        return None
    if was != name:
        raise Unfoldable(f"entry {entry.sequence} corrects a {was} by a {name}")
    return _part(entry, root, name)


def _with(record: Record | None, part: Part) -> Record:
    content = part.content
    if isinstance(content, Record):
        return content
    if record is None:
        raise Unfoldable(f"entry {part.by} adds a {part.name} to a child that was not imported")
    if isinstance(content, Visit):
        if any(visit.date == content.date for visit in record.visits):
            raise Unfoldable(f"entry {part.by} is a second visit on {content.date}; correct the first one instead")
        return record.model_copy(update={"visits": (*record.visits, content)})
    if isinstance(content, Operation):
        return record.model_copy(update={"operations": (*record.operations, content)})
    if isinstance(content, Decision):
        return record.model_copy(update={"decisions": (*record.decisions, content)})
    assert content is None or isinstance(content, CaseCalendar)
    return record.model_copy(update={"calendar": content})
