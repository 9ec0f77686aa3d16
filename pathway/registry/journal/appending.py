"""From events to the entries that keep them, after the entries of a child. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from pathway.events import Correction, Event, Item, NewCalendar, NewCard, apply, same_event
from pathway.record import Decision, Operation, Record, Visit
from pathway.registry.journal.entry import Entry, NewEntry
from pathway.registry.journal.fold import parts_of
from pathway.registry.journal.payloads import (
    calendar_entry,
    case_entry,
    correction_entry,
    decision_entry,
    operation_entry,
    visit_entry,
    withdrawal_entry,
)

CORRECTED, TAKEN_BACK = "completed at a follow-up", "taken back by who entered it"


def new_entries(events: Sequence[Event], record: Record, entries: Sequence[Entry], who: str) -> tuple[NewEntry, ...]:
    """Return the entries that keep events, as `rebase` puts them on the record that the entries make up.

    Where the card changed, or something inside a case that was taken in whole, the whole is taken in again: the old
    one stays readable.
    """
    kept = {part.sequence: part.content for part in parts_of(entries) if isinstance(part.content, Item)}
    made = [_entry(event, kept, who) for event in events]
    if any(one is None for one in made):
        return (case_entry(apply(record, events), who),)
    return tuple(one for one in made if one is not None)


def chosen(events: Iterable[Event]) -> bool:
    """Return whether a course was chosen by one of the events."""
    entered = (event.now if isinstance(event, Correction) else event for event in events)
    return any(isinstance(one, Decision) and one.kind == "choose_course" for one in entered)


def _entry(event: Event, kept: Mapping[int, Item], who: str) -> NewEntry | None:
    """Return the entry of an event, None where only the whole record can say it."""
    if isinstance(event, NewCard):
        return None
    if isinstance(event, NewCalendar):
        return calendar_entry(event.calendar, who)
    if isinstance(event, Correction):
        number = next((number for number, content in kept.items() if same_event(content, event.was)), None)
        if number is None:
            return None
        if event.now is None:
            return withdrawal_entry(number, TAKEN_BACK, who)
        return correction_entry(number, event.now, CORRECTED, who)
    if isinstance(event, Visit):
        return visit_entry(event, who)
    return operation_entry(event, who) if isinstance(event, Operation) else decision_entry(event, who)
