"""Leg lengths of another program taken into the registry as visits: nothing doubled, nothing overwritten. An edge."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pathway.casefile import case_text, read_case
from pathway.events import apply, same_event
from pathway.growth import growth_faults
from pathway.problems import Problem
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Measurement, Missing, Record, Visit
from pathway.registry.journal.entry import Head, StaleHead
from pathway.registry.planning import save_followup
from pathway.registry.store import Registry

Item = Measurement | Missing


@dataclass(frozen=True, slots=True)
class Merged:
    """Lengths that a record did not know yet as visits, the record with them, and how many lengths were known."""

    visits: tuple[Visit, ...]
    record: Record
    new: int
    known: int


@dataclass(frozen=True, slots=True)
class LengthsTaken:
    """What became of the lengths: those taken in, those known before, and where the chain of the child ends now."""

    child: str
    new: int
    known: int
    head: Head
    before: Record
    after: Record


def merged(question: Question, visits: Sequence[Visit], name: str) -> Merged | tuple[Problem, ...]:
    """Return the record with the lengths of `visits` beside what it holds, or every fault; `name` opens each.

    A length that is known with the same value and method is not doubled; one that is known otherwise is a fault,
    for one of the two is wrong and no program can say which. A value takes the place of "not measured" on its day,
    never the other way round.
    """
    faults: list[Problem] = []
    wanted, news, known = question.record, [], 0
    for visit in visits:
        held = {
            (item.finding, item.side): item for day in wanted.visits if same_event(day, visit) for item in _items(day)
        }
        fresh: list[Item] = []
        for item in _items(visit):
            kept = held.get((item.finding, item.side))
            if kept is None or (isinstance(kept, Missing) and isinstance(item, Measurement)):
                fresh.append(item)
            elif isinstance(item, Missing) or _same(kept, item):
                known += 1
            else:
                faults.append(_other(kept, item, name, visit.date))
        if fresh:
            news.append(_of(visit, fresh))
            faults += _odd(question, news[-1], name)
            wanted = apply(wanted, news[-1:])
    if faults:
        return tuple(faults)
    before = growth_faults(question.record, question.protocol)
    found = tuple(fault for fault in growth_faults(wanted, question.protocol) if fault not in before)
    new = sum(len(_items(visit)) for visit in news)
    told = tuple(replace(fault, place=f"{name}, {fault.place}") for fault in found)
    return told or Merged(tuple(news), wanted, new, known)


def import_lengths(
    registry: Registry,
    child: str,
    visits: Sequence[Visit],
    name: str,
    protocol: Protocol,
    on: datetime.date,
    *,
    who: str,
    when: datetime.datetime,
) -> LengthsTaken | tuple[Problem, ...]:
    """Keep the lengths that a child of the registry does not have yet, all together; or return every fault.

    Raises `RegistryProblem` for a child that is not there or was erased.
    """
    while True:
        record, head = registry.record_and_head(child)
        made = merged(Question(record, protocol, on), visits, name)
        if isinstance(made, tuple):
            return made
        if not made.new:
            return LengthsTaken(child, 0, made.known, head, record, record)
        saved = save_followup(registry, child, made.visits, head, who=who, when=when)
        if not isinstance(saved, StaleHead):
            return LengthsTaken(child, made.new, made.known, saved.head, record, made.record)


def _items(visit: Visit) -> list[Item]:
    return [*visit.missing, *visit.measurements]


def _same(kept: Item, item: Measurement) -> bool:
    return isinstance(kept, Measurement) and (kept.value, kept.method) == (item.value, item.method)


def _other(kept: Item, item: Item, name: str, day: datetime.date) -> Problem:
    key = f"{item.finding} {item.side or ''} on {day}".replace("  ", " ")
    found, expected = (
        f"{one.value:g} mm ({one.method.replace('_', ' ')})" if isinstance(one, Measurement) else "no value"
        for one in (item, kept)
    )
    do = "find out which is right, and correct it there or by `limb-pathway followup`; nothing was imported"
    return Problem(name, key, None, found, f"{expected}, which is known", do)


def _of(visit: Visit, items: Sequence[Item]) -> Visit:
    measured = tuple(item for item in items if isinstance(item, Measurement))
    missing = tuple(item for item in items if isinstance(item, Missing))
    return visit.model_copy(update={"measurements": measured, "missing": missing})


def _odd(question: Question, visit: Visit, name: str) -> Iterator[Problem]:
    """Yield what a case file with this visit would be refused for: an implausible value, a day before birth."""
    read = read_case(
        case_text(Record(child=question.record.child, visits=(visit,))), name, question.protocol, question.on
    )
    if not isinstance(read, Record):
        for fault in read:
            yield replace(fault, place=f"{name}, visit of {visit.date}", line=None, key=fault.key.rpartition("].")[2])
