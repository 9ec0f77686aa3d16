"""What was entered between two records, fact by fact, and the record with some of the facts only."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import TypeVar

from pathway.protocol.model import Protocol
from pathway.record import CaseCalendar, Child, Decision, Measurement, Missing, Operation, Record, Visit

Event = TypeVar("Event", Operation, Decision)


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact that the later record has and the earlier one has not: in words, and how it is put into a record."""

    words: str
    put: Callable[[Record], Record]


def facts_between(old: Record, new: Record, protocol: Protocol) -> tuple[Fact, ...]:
    """Return every fact by which `new` differs from `old`: entered, changed or removed, oldest first.

    Putting all of them into `old` gives a record that plans like `new`.
    """
    return tuple(_facts(old, new, protocol))


def with_facts(record: Record, facts: Iterable[Fact]) -> Record:
    """Return the record with facts put in, in order."""
    for fact in facts:
        record = fact.put(record)
    return record


def on_top_of(theirs: Record, known: Record, own: Record, protocol: Protocol) -> Record:
    """Return `theirs` with every fact by which `own` differs from `known`, from which both began.

    An operation that both changed or entered stays one: it takes the fields that `own` changed, and the growth plates
    and complications of both.
    """
    both = with_facts(theirs, facts_between(known, own, protocol))
    operations = list(both.operations)
    for mine in (one for one in own.operations if one not in known.operations):
        was = next((one for one in known.operations if one not in own.operations and _same_event(one, mine)), None)
        if was in theirs.operations or mine in theirs.operations:
            continue
        side = mine.side if was is None else was.side
        for other in (one for one in operations if one in theirs.operations and one not in known.operations):
            if _same_event(other, mine) and other.side == side:
                operations.remove(other)
                operations[operations.index(mine)] = _over(other, mine, was)
                break
    return both.model_copy(update={"operations": tuple(operations)})


def _over(theirs: Operation, mine: Operation, was: Operation | None) -> Operation:
    before = was or Operation(kind=mine.kind, date=mine.date, side=mine.side)
    fields = {
        name: getattr(mine, name) for name in Operation.model_fields if getattr(mine, name) != getattr(before, name)
    }
    for name in fields.keys() & {"physes", "complications"}:
        gone = set(getattr(before, name)) - set(fields[name])
        left = (value for value in getattr(theirs, name) if value not in gone)
        fields[name] = tuple(dict.fromkeys((*left, *fields[name])))
    return theirs.model_copy(update=fields)


def _facts(old: Record, new: Record, protocol: Protocol) -> Iterator[Fact]:
    if old.child != new.child:
        yield Fact(f"the child's card ({', '.join(_changed(old.child, new.child))})", _card(new.child))
    if old.calendar != new.calendar:
        yield Fact("the calendar", _calendar(new.calendar))
    before, after = ({visit.date: visit for visit in record.visits} for record in (old, new))
    for date in sorted({*before, *after}):
        yield from _visit(before.get(date), after.get(date), protocol)
    yield from _listed("operation", old.operations, new.operations, lambda one: _operation(one, protocol))
    yield from _listed("decision", old.decisions, new.decisions, _decision)


def _changed(old: Child, new: Child) -> list[str]:
    return [name.replace("_", " ") for name in Child.model_fields if getattr(old, name) != getattr(new, name)]


def _card(child: Child) -> Callable[[Record], Record]:
    return lambda record: record.model_copy(update={"child": child})


def _calendar(calendar: CaseCalendar | None) -> Callable[[Record], Record]:
    return lambda record: record.model_copy(update={"calendar": calendar})


def _visit(old: Visit | None, new: Visit | None, protocol: Protocol) -> Iterator[Fact]:
    if new is None:
        if old is not None:
            yield Fact(f"the visit of {old.date} removed", _without_visit(old))
        return
    empty = Visit(date=new.date, method=new.method)
    was = old or empty
    for item in new.measurements:
        if item not in was.measurements:
            yield Fact(_measured(item, new, protocol), _with_item(empty, item))
    for gap in new.missing:
        if gap not in was.missing:
            words = f"{_named(gap, protocol)} on {new.date}: {gap.why.replace('_', ' ')}"
            yield Fact(words, _with_item(empty, gap))
    if new.skeletal_age_years != was.skeletal_age_years:
        shown = f"{new.skeletal_age_years:g} years" if new.skeletal_age_years is not None else "removed"
        yield Fact(f"skeletal age {shown} on {new.date}", _with_skeletal_age(empty, new.skeletal_age_years))
    there = {(one.finding, one.side) for one in new.measurements} | {(one.finding, one.side) for one in new.missing}
    gone: tuple[Measurement | Missing, ...] = (*was.measurements, *was.missing)
    for left in gone:
        if (left.finding, left.side) not in there:
            yield Fact(f"{_named(left, protocol)} of {new.date} removed", _without_item(new, left))


def _named(item: Measurement | Missing, protocol: Protocol) -> str:
    return f"{protocol.finding(item.finding).label}{f' {item.side}' if item.side else ''}"


def _measured(item: Measurement, visit: Visit, protocol: Protocol) -> str:
    unit = protocol.finding(item.finding).unit
    if isinstance(item.value, bool):
        value = "yes" if item.value else "no"
    elif isinstance(item.value, str):
        value = item.value.replace("_", " ")
    else:
        value = f"{item.value:g} {unit}".rstrip()
    return f"{_named(item, protocol)} {value} on {visit.date}"


def _with_item(empty: Visit, item: Measurement | Missing) -> Callable[[Record], Record]:
    def change(visit: Visit) -> Visit:
        own = (item.finding, item.side)
        measured = tuple(one for one in visit.measurements if (one.finding, one.side) != own)
        missing = tuple(one for one in visit.missing if (one.finding, one.side) != own)
        if isinstance(item, Measurement):
            return visit.model_copy(update={"measurements": (*measured, item), "missing": missing})
        return visit.model_copy(update={"measurements": measured, "missing": (*missing, item)})

    return lambda record: _at_visit(record, empty, change)


def _with_skeletal_age(empty: Visit, years: float | None) -> Callable[[Record], Record]:
    return lambda record: _at_visit(record, empty, lambda visit: visit.model_copy(update={"skeletal_age_years": years}))


def _without_item(of: Visit, item: Measurement | Missing) -> Callable[[Record], Record]:
    def change(visit: Visit) -> Visit:
        return visit.model_copy(
            update={
                "measurements": tuple(one for one in visit.measurements if one != item),
                "missing": tuple(one for one in visit.missing if one != item),
            }
        )

    return lambda record: _at_visit(record, of, change)


def _without_visit(of: Visit) -> Callable[[Record], Record]:
    return lambda record: record.model_copy(
        update={"visits": tuple(visit for visit in record.visits if visit.date != of.date)}
    )


def _at_visit(record: Record, empty: Visit, change: Callable[[Visit], Visit]) -> Record:
    """Return the record with the visit of that day changed; a visit that is not there is begun."""
    there = {visit.date: visit for visit in record.visits}
    there[empty.date] = change(there.get(empty.date, empty))
    return record.model_copy(update={"visits": tuple(there[date] for date in sorted(there))})


def _operation(one: Operation, protocol: Protocol) -> str:
    label = protocol.stage(one.kind).label
    gain = f", {one.achieved_mm:g} mm" if one.achieved_mm is not None else ""
    removed = f", device off on {one.device_removed}" if one.device_removed else ""
    told = f", with {', '.join(one.complications).replace('_', ' ')}" if one.complications else ""
    return f"{label[0].lower()}{label[1:]} on {one.date}{gain}{removed}{told}"


def _decision(one: Decision) -> str:
    about = next((x for x in (one.gate, one.stage, one.course, one.prefer) if x), None)
    return f"decision of {one.by} on {one.date}: {one.kind.replace('_', ' ')}{f' {about}' if about else ''}"


def _listed(name: str, old: tuple[Event, ...], new: tuple[Event, ...], words: Callable[[Event], str]) -> Iterator[Fact]:
    field = f"{name}s"
    for one in new:
        if one not in old:
            replaced = next((o for o in old if o not in new and _same_event(o, one)), None)
            yield Fact(words(one), _with_listed(field, one, replaced))
    for one in old:
        if one not in new and not any(_same_event(one, other) for other in new if other not in old):
            yield Fact(f"{words(one)} removed", _with_listed(field, None, one))


def _same_event(one: Operation | Decision, other: Operation | Decision) -> bool:
    return (one.kind, one.date) == (other.kind, other.date)


def _with_listed(
    field: str, one: Operation | Decision | None, replaced: Operation | Decision | None
) -> Callable[[Record], Record]:
    def put(record: Record) -> Record:
        kept = [item for item in getattr(record, field) if item != replaced]
        more = [] if one is None or one in kept else [one]
        return record.model_copy(update={field: tuple(sorted((*kept, *more), key=lambda item: item.date))})

    return put
