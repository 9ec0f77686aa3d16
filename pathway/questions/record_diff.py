"""What was entered between two records or at a follow-up, event by event, in words."""

from __future__ import annotations

from collections.abc import Iterable

from pathway.events import Correction, Event, NewCalendar, NewCard, rebase, single
from pathway.protocol.model import Protocol
from pathway.protocol.skeletal_methods import skeletal_method
from pathway.protocol.words import lower_first
from pathway.record import Child, Decision, Measurement, Missing, Operation, Record, Visit


def entered(events: Iterable[Event], record: Record) -> tuple[Event, ...]:
    """Return the smallest events that tell a record something it does not know: a visit finding by finding."""
    return tuple(one for event in rebase(events, record) for one in single(event))


def event_words(event: Event, record: Record, protocol: Protocol) -> str:
    """Return one of the smallest events of a record in words."""
    if isinstance(event, NewCard):
        return f"the child's card ({', '.join(_changed(record.child, event.child))})"
    if isinstance(event, NewCalendar):
        return "the calendar"
    if not isinstance(event, Correction):
        return _words(event, protocol)
    if event.now is not None:
        return _words(event.now, protocol)
    if isinstance(event.was, Visit):
        return f"{_of_visit(event.was, protocol)} removed"
    return f"{_words(event.was, protocol)} removed"


def item_words(item: Visit | Operation | Decision, protocol: Protocol) -> str:
    """Return a visit with all its findings, an operation or a decision in words."""
    return "; ".join(_words(one, protocol) for one in single(item) if not isinstance(one, _NO_ITEM))


_NO_ITEM = (Correction, NewCalendar, NewCard)


def _words(item: Visit | Operation | Decision, protocol: Protocol) -> str:
    if isinstance(item, Visit):
        return _visit(item, protocol)
    return _operation(item, protocol) if isinstance(item, Operation) else _decision(item)


def _visit(visit: Visit, protocol: Protocol) -> str:
    """Return the one finding of a visit in words."""
    if visit.skeletal_age_years is not None:
        how = skeletal_method(protocol, visit.skeletal_age_method)
        read = "" if how is None else f" ({how.label})"
        return f"skeletal age {visit.skeletal_age_years:g} years{read} on {visit.date}"
    if visit.measurements:
        return _measured(visit.measurements[0], visit, protocol)
    (gap,) = visit.missing
    return f"{_named(gap, protocol)} on {visit.date}: {gap.why.replace('_', ' ')}"


def _of_visit(visit: Visit, protocol: Protocol) -> str:
    findings: tuple[Measurement | Missing, ...] = (*visit.measurements, *visit.missing)
    if visit.skeletal_age_years is not None and not findings:
        return f"skeletal age of {visit.date}"
    one = len(findings) == 1 and visit.skeletal_age_years is None
    return f"{_named(findings[0], protocol)} of {visit.date}" if one else f"the visit of {visit.date}"


def _changed(old: Child, new: Child) -> list[str]:
    return [name.replace("_", " ") for name in Child.model_fields if getattr(old, name) != getattr(new, name)]


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


def _operation(one: Operation, protocol: Protocol) -> str:
    label = protocol.stage(one.kind).label
    gain = f", {one.achieved_mm:g} mm" if one.achieved_mm is not None else ""
    device = f", {protocol.device(one.device).label}" if one.device else ""
    removed = f", device off on {one.device_removed}" if one.device_removed else ""
    told = f", with {', '.join(one.complications).replace('_', ' ')}" if one.complications else ""
    sheet = ", with the sheet that was used" if one.planned else ""
    return f"{lower_first(label)} on {one.date}{gain}{device}{removed}{told}{sheet}"


def _decision(one: Decision) -> str:
    about = next((x for x in (one.gate, one.stage, one.course, one.prefer) if x), None)
    return f"decision of {one.by} on {one.date}: {one.kind.replace('_', ' ')}{f' {about}' if about else ''}"
