"""Children in and out of the registry: case files, and whole histories as JSON. An edge."""

from __future__ import annotations

import datetime
import itertools
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any, Literal

from pathway.casefile import case_text, in_order
from pathway.casefile.read_and_check import read_and_check
from pathway.events import Correction, Event, NewCalendar, NewCard, apply, diff
from pathway.plain_text import PSEUDONYM, not_plain, visible
from pathway.problems import Refused
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.registry.db import rows
from pathway.registry.journal.appending import new_entries
from pathway.registry.journal.audit import StoredEntry, audit, entry_of
from pathway.registry.journal.chain import head_of, payload_text, when_text
from pathway.registry.journal.entry import Entry, Head, NewEntry, StaleHead
from pathway.registry.journal.fold import Unfoldable, accepted_plans, record_of
from pathway.registry.journal.payloads import UnreadablePayload, case_entry
from pathway.registry.problem import problem
from pathway.registry.store import Registry

FORM = 1
_CLOCKS_DIFFER = datetime.timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What became of a case or history: a `new` child, some `added` entries, the case `replaced`, or `nothing` new."""

    child: str
    what: Literal["new", "added", "replaced", "nothing"]
    entries: int
    head: Head


def import_record(
    registry: Registry, record: Record, *, who: str, when: datetime.datetime, replace: bool = False
) -> TakenIn:
    """Take in a record; taking in one again that was taken in before, or that is what is known, adds nothing.

    What the record has beside the known one is added, an entry for each. A record that lacks or alters something
    known is refused (`RegistryProblem`) unless `replace`: then it is kept as a new case and the old one stays
    readable.
    """
    wanted, child = in_order(record), record.child.id
    while True:
        entries = registry.entries(child)
        seen = head_of(entries)
        what: Literal["new", "added", "replaced"] = "new"
        if entries:
            known = registry.folded(child, entries)
            if wanted == known or any(wanted == one for one in _cases(entries)):
                return TakenIn(child, "nothing", 0, seen)
            news, what = _news(registry, known, wanted, who, replace)
        else:
            news = (case_entry(wanted, who),)
        saved = registry.append(child, news, seen=seen, when=when)
        if not isinstance(saved, StaleHead):
            return TakenIn(child, what, len(news), saved.head)


def export_case(registry: Registry, child: str) -> str:
    """Return the case file (TOML) of a child, which reads back to its record. Raises `RegistryProblem`."""
    return case_text(registry.record(child))


def history_json(registry: Registry, child: str) -> str:
    """Return everything that is kept of a child as JSON: every entry with hashes, salts and payloads."""
    entries = registry.entries(child)
    if not entries:
        raise problem(registry.place.name, f"no child {child}", "the id of a child in the registry", "list them")
    data = {"schema_version": FORM, "child": child, "entries": [_entry_data(entry) for entry in entries]}
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def read_history(text: str, name: str) -> tuple[Entry, ...]:
    """Return the entries of a history. Raises `RegistryProblem` for another text, or entries whose hashes are wrong."""
    try:
        data = json.loads(text)
        if data["schema_version"] != FORM or not data["entries"]:
            raise ValueError("another form")
        kept = [_kept(str(data["child"]), one) for one in data["entries"]]
        entries = tuple(entry_of(one) for one in kept)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        do = "name a file written by `limb-pathway registry export ID --history`"
        raise problem(name, "something else than a history", "the history of a child (JSON)", do) from None
    found = audit(kept, name)
    if found.faults:
        first = found.faults[0]
        raise problem(name, first.found, first.expected, "export it again: the file was altered", key=first.key)
    return entries


def check_history(
    entries: tuple[Entry, ...], name: str, protocol: Protocol, on: datetime.date, now: datetime.datetime
) -> None:
    """Refuse a history that makes up no child of ours, as its case file would be refused; `name` opens each fault.

    Its child is named as children are, the record is that child's, every finding is known and plausible, and its
    entries were made one after the other, none later than `now`. Of an erased child there is nothing to read.
    """
    child = entries[0].child
    if not PSEUDONYM.fullmatch(child):
        raise problem(name, f"the child {visible(child)!r}", "small letters, digits and hyphens", "export it again")
    for before, entry in itertools.pairwise(entries):
        if entry.when < before.when:
            found = f"entry {entry.sequence} made before entry {before.sequence}"
            raise problem(name, found, "entries one after the other", "export it again: the clock was wrong", key=child)
    if entries[-1].when > now + _CLOCKS_DIFFER:
        found, do = f"an entry of {entries[-1].when:%Y-%m-%d %H:%M} UTC", "check the clocks of both machines"
        raise problem(name, found, f"none later than now ({now:%Y-%m-%d %H:%M})", do, key=child)
    if any(entry.kind == "erasure" for entry in entries):
        return
    for entry in entries:
        for _, found in not_plain([entry.payload, entry.who]):
            do = "correct the entry where it was made"
            raise problem(name, found, "plain text", do, key=f"entry {entry.sequence}")
    try:
        records = (*_cases(entries), record_of(entries))
        accepted_plans(entries)
    except (Unfoldable, UnreadablePayload) as error:
        raise problem(name, str(error), "entries that make up a record", "export it again", key=child) from error
    for record in records:
        if record.child.id != child:
            found, expected = f"the record of {visible(record.child.id)}", f"that of {child}"
            raise problem(name, found, expected, "export each child by itself", key=child)
    checked = read_and_check(case_text(records[-1]), name, protocol, on)
    if isinstance(checked, tuple):
        raise Refused(*(replace(fault, line=None) for fault in checked))


def import_history(registry: Registry, entries: tuple[Entry, ...], when: datetime.datetime | None = None) -> TakenIn:
    """Take in a history as it is, with its hashes. What is there already must be the beginning of it.

    `when` is the moment at which that is signed here, that of the last entry where nobody says one. Raises
    `RegistryProblem` where the registry knows other entries of that child.
    """
    child = entries[0].child
    with registry.writing(when or entries[-1].when) as connection:
        there = rows.entries_of(connection, child)
        shorter = min(len(there), len(entries))
        if head_of(there[:shorter]) != head_of(entries[:shorter]):
            found = f"other entries of {child} than the history has"
            do = "export both and compare them; nothing was imported"
            raise problem(registry.place.name, found, "the same beginning", do)
        if any(entry.kind == "erasure" for entry in there) or shorter == len(entries):
            return TakenIn(child, "nothing", 0, head_of(there))
        if any(entry.kind == "erasure" for entry in entries[shorter:]) and there:
            do = "erase the child here: `limb-pathway registry erase`"
            raise problem(registry.place.name, f"that {child} was erased elsewhere", "it erased here first", do)
        rows.add(connection, entries[shorter:])
        registry.cover(connection, entries[shorter:], when or entries[-1].when)
    return TakenIn(child, "added" if there else "new", len(entries) - shorter, head_of(entries))


def _cases(entries: tuple[Entry, ...]) -> tuple[Record, ...]:
    """Return every record that was taken in whole; what superseded them does not matter here."""
    cases = (entry for entry in entries if entry.kind == "case" and entry.payload is not None)
    return tuple(record_of([entry]) for entry in cases)


def _news(
    registry: Registry, known: Record, wanted: Record, who: str, replace: bool
) -> tuple[tuple[NewEntry, ...], Literal["added", "replaced"]]:
    events = diff(known, wanted)
    lost = next(filter(None, (_lost(event, known) for event in events)), "")
    if lost and not replace:
        raise problem(
            registry.place.name,
            f"a case file that lacks or alters what is known ({lost})",
            "everything that is known, and perhaps more",
            "compare with `limb-pathway registry export`; to let the file stand in its place, add --replace",
            key=known.child.id,
        )
    if lost or in_order(apply(known, events)) != wanted:
        return (case_entry(wanted, who),), "replaced"
    return new_entries(events, known, (), who), "added"


def _lost(event: Event, known: Record) -> str:
    """Return in words what an event lacks or alters of the known record, "" where it only adds to it."""
    if isinstance(event, NewCard):
        fields = [name for name, value in known.child if value != getattr(event.child, name)]
        return f"the child's {', '.join(fields)}"
    if isinstance(event, NewCalendar):
        return "the calendar" if known.calendar is not None else ""
    return f"the {type(event.was).__name__.lower()} of {event.was.date}" if isinstance(event, Correction) else ""


def _entry_data(entry: Entry) -> dict[str, Any]:
    data = asdict(entry)
    data.pop("child")
    return {**data, "when": when_text(entry.when)}


def _kept(child: str, data: Mapping[str, Any]) -> StoredEntry:
    payload = data["payload"]
    return StoredEntry(
        child=child,
        sequence=int(data["sequence"]),
        who=str(data["who"]),
        at=str(data["when"]),
        kind=str(data["kind"]),
        schema_version=int(data["schema_version"]),
        supersedes=data["supersedes"],
        payload_sha256=str(data["payload_sha256"]),
        previous_sha256=str(data["previous_sha256"]),
        sha256=str(data["sha256"]),
        salt=data["salt"],
        body=None if payload is None else payload_text(payload),
    )
