"""What happens to a child, as frozen values: a visit, an operation, a decision; what was known corrected.

A follow-up is a list of events. Played on the record behind it, or on what others saved since, it gives the record
after it: an event that is known already is completed, never counted twice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeVar

from pathway.record import CaseCalendar, Child, Decision, Measurement, Missing, Operation, Record, Visit

Item = Visit | Operation | Decision
Part = TypeVar("Part")


@dataclass(frozen=True, slots=True)
class Correction:
    """What was known stands otherwise from now on: as `now`, or not at all (None)."""

    was: Item
    now: Item | None


@dataclass(frozen=True, slots=True)
class NewCalendar:
    """The child's own calendar from now on, None where the clinic's holds."""

    calendar: CaseCalendar | None


@dataclass(frozen=True, slots=True)
class NewCard:
    """Another card of the child: a slip in it was corrected."""

    child: Child


Event = Visit | Operation | Decision | Correction | NewCalendar | NewCard
"""A visit, operation or decision stands for itself: it was entered."""


@dataclass(frozen=True, slots=True)
class FollowUp:
    """Events that were entered together."""

    events: tuple[Event, ...] = ()


def same_event(one: Item, other: Item) -> bool:
    """Return whether two values tell of one event.

    There is one visit a day, and one operation of a kind a day and side, whatever else is said of them; a decision is
    another one as soon as anything of it differs.
    """
    if isinstance(one, Visit) and isinstance(other, Visit):
        return one.date == other.date
    if isinstance(one, Operation) and isinstance(other, Operation):
        return (one.kind, one.date, one.side) == (other.kind, other.date, other.side)
    return one == other


def apply(record: Record, events: Iterable[Event]) -> Record:
    """Return the record after the events, each list in date order.

    A visit of a day that has one adds to it, and what it says again replaces what stood there. An operation that is
    known takes the fields that are given, and the growth plates and complications of both. A correction of what others
    changed meanwhile changes only what it was made for.
    """
    return _played(record, events)[0]


def rebase(events: Iterable[Event], record: Record) -> tuple[Event, ...]:
    """Return the events as they stand on top of a record, such as what others saved since.

    What the record knows already is left out, what completes or changes something of it is a correction of that as it
    stands there, and what was entered and corrected among the events themselves is entered once.
    """
    after, touched = _played(record, events)
    made: list[Event] = [
        now if was is None else Correction(was, now)  # type: ignore[misc]
        for was, now in touched
        if was != now
    ]
    if after.child != record.child:
        made.insert(0, NewCard(after.child))
    if after.calendar != record.calendar:
        made.append(NewCalendar(after.calendar))
    return tuple(made)


def diff(old: Record, new: Record) -> tuple[Event, ...]:
    """Return the events by which one record becomes another, where nobody wrote down what happened in between."""
    events: list[Event] = []
    if old.child != new.child:
        events.append(NewCard(new.child))
    if old.calendar != new.calendar:
        events.append(NewCalendar(new.calendar))
    events += _differing(old.visits, new.visits)
    events += _differing(old.operations, new.operations)
    events += _differing(old.decisions, new.decisions)
    return tuple(events)


def single(event: Event) -> Iterator[Event]:
    """Yield the smallest events that make up one: a visit finding by finding, in the order they are given."""
    was, now = (event.was, event.now) if isinstance(event, Correction) else (None, event)
    if not isinstance(now, Visit):
        yield event
        return
    before = was if isinstance(was, Visit) else Visit(date=now.date, method=now.method)
    known = _findings(before)
    yield from (_with_findings(_bare(now), (one,)) for one in _findings(now) if one not in known)
    if _skeletal(now) != _skeletal(before):
        if now.skeletal_age_years is None:
            yield Correction(_bare(before, skeletal=True), None)
        else:
            yield _bare(now, skeletal=True)
    there = {_place(one) for one in _findings(now)}
    yield from (Correction(_with_findings(_bare(before), (one,)), None) for one in known if _place(one) not in there)


def _differing(before: Sequence[Item], after: Sequence[Item]) -> Iterator[Event]:
    """Yield what became of the values of one kind: entered or changed first, then taken back."""
    left = [one for one in before if one not in after]
    for new in after:
        if new not in before:
            was = next((one for one in left if same_event(one, new)), None)
            if was is None:
                yield new
            else:
                left.remove(was)
                yield Correction(was, new)
    yield from (Correction(one, None) for one in left)


Touched = tuple[Item | None, Item | None]


def _played(record: Record, events: Iterable[Event]) -> tuple[Record, list[Touched]]:
    """Return the record after the events, and every value that they touched as it stood before and stands after."""
    touched: list[Touched] = []
    for event in events:
        if isinstance(event, NewCard):
            record = record.model_copy(update={"child": event.child})
        elif isinstance(event, NewCalendar):
            record = record.model_copy(update={"calendar": event.calendar})
        else:
            record = _put(record, event, touched)
    return record, touched


def _put(record: Record, event: Item | Correction, touched: list[Touched]) -> Record:
    was, now = (event.was, event.now) if isinstance(event, Correction) else (None, event)
    there = _known(record, event.was if isinstance(event, Correction) else event)
    if there is not None and there != was:
        now = _over(there, was, now)
    at = next((at for at, one in enumerate(touched) if _goes_on(one, there, now)), None)
    if at is None:
        touched.append((there, now))
    else:
        touched[at] = (touched[at][0], now)
    return _with(record, there, now)


def _goes_on(touched: Touched, there: Item | None, now: Item | None) -> bool:
    """Return whether a value stands where an event before left it, or comes back after that took it away."""
    was, last = touched
    if last is not None or there is not None:
        return last is not None and last == there
    return was is not None and now is not None and same_event(was, now)


def _known(record: Record, item: Item) -> Item | None:
    """Return what the record holds of an event: the very same value where there is one."""
    items = _list_of(record, item)[1]
    return item if item in items else next((one for one in items if same_event(one, item)), None)


def _list_of(record: Record, item: Item) -> tuple[str, tuple[Item, ...]]:
    if isinstance(item, Visit):
        return "visits", record.visits
    return ("operations", record.operations) if isinstance(item, Operation) else ("decisions", record.decisions)


def _with(record: Record, there: Item | None, now: Item | None) -> Record:
    """Return the record with a value in place of another, or added, or taken away."""
    one = there if there is not None else now
    if one is None or there == now:
        return record
    field, items = _list_of(record, one)
    kept = list(items)
    if there is None:
        kept.append(one)
    elif now is None:
        kept.remove(there)
    else:
        kept[kept.index(there)] = now
    return record.model_copy(update={field: tuple(sorted(kept, key=lambda item: item.date))})


def _over(there: Item, was: Item | None, now: Item | None) -> Item | None:
    """Return a value that others know otherwise, with what `now` has otherwise than `was`."""
    if isinstance(there, Visit):
        return _visit_over(there, was, now)
    if isinstance(there, Operation) and isinstance(now, Operation):
        before = was if isinstance(was, Operation) else Operation(kind=now.kind, date=now.date, side=now.side)
        fields = {name: value for name, value in now if value != getattr(before, name)}
        for name in fields.keys() & {"physes", "complications"}:
            fields[name] = _joined(getattr(there, name), getattr(before, name), fields[name], str)
        return there.model_copy(update=fields)
    # Who takes back an operation that others completed meanwhile takes back nothing of theirs.
    return there if now is None else now


def _visit_over(there: Visit, was: Item | None, now: Item | None) -> Visit | None:
    before = was if isinstance(was, Visit) else Visit(date=there.date, method=there.method)
    after = now if isinstance(now, Visit) else Visit(date=before.date, method=before.method)
    named = ("date", "skeletal_age_years", "skeletal_age_method", "note", *(("method",) if was is not None else ()))
    fields = {name: getattr(after, name) for name in named if getattr(after, name) != getattr(before, name)}
    if fields.get("skeletal_age_years", there.skeletal_age_years) != there.skeletal_age_years:
        # How the age before was read says nothing of another one.
        fields["skeletal_age_method"] = after.skeletal_age_method
    findings = _joined(_findings(there), _findings(before), _findings(after), _place)
    made = _with_findings(there.model_copy(update=fields), findings)
    return None if now is None and made == _bare(made) else made


def _joined(
    there: tuple[Part, ...], was: tuple[Part, ...], now: tuple[Part, ...], place: Callable[[Part], object]
) -> tuple[Part, ...]:
    """Return what others have, without what was taken away; what is new stands where the same stood, or at the end."""
    fresh = {place(one): one for one in now if one not in was and one not in there}
    said = {place(one) for one in now}
    kept = (one for one in there if place(one) in fresh or not (one in was and place(one) not in said))
    stood = tuple(fresh.pop(place(one), one) for one in kept)
    return (*stood, *fresh.values())


def _findings(visit: Visit) -> tuple[Measurement | Missing, ...]:
    return (*visit.measurements, *visit.missing)


def _place(one: Measurement | Missing) -> tuple[str, str | None]:
    """Return where a finding of a visit stands: there is one of a side, measured or not."""
    return one.finding, one.side


def _skeletal(visit: Visit) -> tuple[float | None, str | None]:
    return visit.skeletal_age_years, visit.skeletal_age_method


def _bare(visit: Visit, *, skeletal: bool = False) -> Visit:
    """Return a visit without findings, with its skeletal age and how that was read where it is asked for."""
    years, read = _skeletal(visit) if skeletal else (None, None)
    return Visit(date=visit.date, method=visit.method, skeletal_age_years=years, skeletal_age_method=read)


def _with_findings(visit: Visit, findings: tuple[Measurement | Missing, ...]) -> Visit:
    measured = tuple(one for one in findings if isinstance(one, Measurement))
    missing = tuple(one for one in findings if isinstance(one, Missing))
    return visit.model_copy(update={"measurements": measured, "missing": missing})
