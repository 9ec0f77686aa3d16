"""The fields of a follow-up: visit, operation, decision. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pathway.casefile.fragments import SKELETAL_AGE, SKELETAL_METHOD
from pathway.protocol.model import Protocol
from pathway.protocol.roles import bone_of
from pathway.record import Operation, Record
from pathway.rule_engine.findings import Known
from tui.followup import entered as entering
from tui.followup.amounts import AGE_WANTED, AskedBack, Expected, length_mm
from tui.followup.asked import Asked
from tui.followup.choices import KEEP, KEEP_NONE, Choosing, SheetUsed
from tui.followup.form_field import Field
from tui.followup.options import Option, Unclear, chosen

FIND = "find"
MOST_FOUND = 8
PARTS = ("Visit", "Operation", "Decision")


@dataclass(frozen=True, slots=True)
class Offer:
    """All that the fields are made of: the child, what is asked for first, everything that can be, the choices."""

    record: Record
    protocol: Protocol
    on: datetime.date
    first: tuple[Asked, ...]
    every: Mapping[str, Asked]
    choosing: Choosing
    then: tuple[Asked, ...] = ()
    """What the course waits for that follows from what is typed, beside what is asked for first."""

    @property
    def asked(self) -> tuple[Asked, ...]:
        """Return all that is asked for."""
        return (*self.first, *self.then)


def part_of(name: str) -> int:
    """Return the part in which a field stands."""
    return 1 if name.startswith("operation.") else 2 if name.startswith("decision.") else 0


def labels(offer: Offer) -> Mapping[str, str]:
    """Return the label of every field by name."""
    named = {name: asked.label for name, asked in offer.every.items()}
    visit = _visit(offer, {SKELETAL_METHOD: ""})
    for fields in (visit, _operation(offer, {}), _decision(offer, {})):
        named |= {field.name: field.label for field in fields}
    return named


def fields(offer: Offer, part: int, typed: Mapping[str, str], wrong: Mapping[str, str]) -> tuple[Field, ...]:
    """Return the fields of a part with what was typed and what is wrong with it."""
    make = (_visit, _operation, _decision)[part]
    return tuple(replace(field, wrong=wrong.get(field.name, "")) for field in make(offer, typed))


def _visit(offer: Offer, typed: Mapping[str, str]) -> Iterator[Field]:
    day = "a date such as 2031-09-01, not later than the date of the plan"
    yield _field(typed, entering.DATE, "Date of the visit", str(offer.on), day, origin="today")
    method = entering.method_of(offer.record, offer.protocol)
    label = next((option.words for option in offer.choosing.methods if option.value == method), method)
    wanted = "how lengths and films were measured; a finding measured in another way last time keeps that way"
    yield _chosen(typed, entering.METHOD, "Measured by", offer.choosing.methods, wanted, label)
    found = tuple(_found(offer, typed.get(FIND, "")))
    first = [asked.name for asked in offer.asked]
    others = [name for name in typed if name in offer.every and name not in first and name not in found]
    for name in (*first, *others):
        yield _finding(offer, typed, name)
    if SKELETAL_AGE in typed or SKELETAL_METHOD in typed:
        yield _read_by(offer, typed)
    words = "part of its name, such as knee flex; matches are listed below"
    known = f"{len(offer.every)} can be entered"
    text = typed.get(FIND, "")
    yield Field(FIND, "Another finding", text, "", f"{words}; ↓ goes there", known, ahead=len(found))
    for name in found:
        yield _finding(offer, typed, name)


def _read_by(offer: Offer, typed: Mapping[str, str]) -> Field:
    """Return the field that says how a skeletal age was read: it comes with the age."""
    options = offer.choosing.skeletal_methods
    again = entering.skeletal_method_of(offer.record)
    offered = next((option.words for option in options if option.value == again), "")
    wanted = "how the skeletal age was read; where it is not said, it counts with a wider error"
    return _chosen(typed, SKELETAL_METHOD, "Skeletal age read by", options, wanted, offered)


def _found(offer: Offer, text: str) -> Iterator[str]:
    words = text.replace("_", " ").lower().split()
    first = {asked.name for asked in offer.asked}
    fits = [a.name for a in offer.every.values() if words and all(word in a.words for word in words)]
    yield from [name for name in fits if name not in first][:MOST_FOUND]


def _finding(offer: Offer, typed: Mapping[str, str], name: str) -> Field:
    asked = next((item for item in offer.asked if item.name == name), offer.every[name])
    rule, value = asked.rule, typed.get(name, "")
    options, gap = entering.finding_options(rule), entering.not_obtained(value, asked)
    own = entering.own_method(asked, offer.record)
    again = f" Measured as last time: {offer.protocol.method(own).label}." if own else ""
    since = "Asked with what is typed so far. " if asked in offer.then else ""
    why = f"{since}{asked.why[0].upper()}{asked.why[1:]}." if asked.why else ""
    meant, instead = _understood(value, asked)
    return Field(
        name,
        asked.label,
        value,
        "" if gap else rule.unit,
        " ".join(part for part in (f"{_range(asked, options)}; {rule.how}.", _known(asked), why) if part) + again,
        _last(asked.last, dated=not value),
        bool(value),
        (*options, *entering.NOT_OBTAINED) if options else instead,
        gap.replace("_", " ") if gap else _words(value, options) or meant,
    )


def _understood(value: str, asked: Asked) -> tuple[str, tuple[Option, ...]]:
    """Return what a number stands for where that is not what was typed, and how it may be written where it is asked."""
    try:
        amount = entering.understood(value, asked)
    except AskedBack as error:
        return "", tuple(Option(text, text) for text in error.offered)
    except Unclear:
        return "", ()
    return (amount.means, ()) if amount is not None else ("", ())


def _known(asked: Asked) -> str:
    """Return what became of the attempts so far; what was measured once is never called unmeasured."""
    if asked.gap:
        return f"At the latest visit it {asked.gap}" + (", before that it was measured." if asked.last else ".")
    return "" if asked.last or asked.why else "Not measured before."


def _range(asked: Asked, options: Sequence[Option]) -> str:
    """Return what may be typed: the choices or the plausible range, or why there is nothing to type."""
    if options:
        return "part of a word will do"
    low, high = asked.rule.plausible or (0.0, 0.0)
    wanted = f"{low:g} to {high:g} {asked.rule.unit}".rstrip()
    if asked.name == SKELETAL_AGE:
        return f"{wanted}, as {AGE_WANTED}"
    return f"{wanted}{' (or cm with its unit)' if asked.rule.unit == 'mm' else ''}, declined or not measurable"


def _last(last: Known | None, *, dated: bool) -> str:
    if last is None:
        return ""
    value = last.value
    if isinstance(value, bool):
        shown = "yes" if value else "no"
    else:
        shown = f"{value:g}" if isinstance(value, float) else str(value).replace("_", " ")
    return f"was {shown}, {last.measured_on}" if dated else f"was {shown}"


def _operation(offer: Offer, typed: Mapping[str, str]) -> Iterator[Field]:
    choosing = offer.choosing
    kinds = choosing.operations
    wanted = "part of its name; F4 steps through them. One already recorded is completed, not added again. "
    wanted += "One operation at a time: F5 keeps it, v then opens the form for the next"
    yield _chosen(typed, "operation.kind", "Operation done", kinds, wanted)
    named = _value(typed, "operation.kind", kinds)
    before = choosing.completed.get(named or "")
    if before is None:
        day = typed.get(entering.DATE, str(offer.on))
        yield _field(typed, "operation.date", "Date of the operation", day, "a date such as 2031-09-01", origin="visit")
    kind = before.kind if before else named
    side = before.side if before else (entering.side_of(kind, offer.record, offer.protocol) if kind else "")
    yield _chosen(typed, "operation.side", "Side", choosing.sides, "left or right", side)
    gained = "" if before is None or before.achieved_mm is None else f"{before.achieved_mm:g}"
    yield _gain(typed, gained, entering.expected_gain(kind, choosing, offer.protocol))
    turned = "" if before is None or before.achieved_deg is None else f"{before.achieved_deg:g}"
    yield _field(typed, "operation.achieved_deg", "Correction achieved", turned, "-180 to 180 degrees", "deg")
    off = "" if before is None or before.device_removed is None else str(before.device_removed)
    words = "the date the device or cast came off, such as 2031-09-01; empty: it is still on"
    yield _field(typed, "operation.device_removed", "Device off", off, words)
    lengthens = bone_of(kind, offer.protocol) if kind else None
    if lengthens is not None or "operation.device" in typed:
        own = tuple(one for one in choosing.devices if lengthens in (None, offer.protocol.device(one.value).bone))
        used = ", ".join(_worded((before.device,), own)) if before and before.device else ""
        said = "the device used; empty: the usual one, or as recorded"
        yield _chosen(typed, "operation.device", "Device", own, said, used)
    if kind and choosing.planned and entering.keeps_sheet(kind, before, choosing, offer.protocol):
        yield _sheet_used(offer, typed, choosing.planned, kind, before)
    many = "one or more, separated by commas; part of a name will do"
    closed = ", ".join(_worded(before.physes, choosing.physes)) if before else ""
    yield _chosen(typed, "operation.physes", "Growth plates closed", choosing.physes, many, closed, several=True)
    known = ", ".join(_worded(before.complications, choosing.complications)) if before else ""
    more = f"{many}; those already recorded stay" if known else many
    yield _chosen(typed, "operation.complications", "Complications", choosing.complications, more, known, several=True)


def _gain(typed: Mapping[str, str], offered: str, expected: Expected) -> Field:
    """Return the field of the length gained: mm, or cm with its unit."""
    field = _field(
        typed,
        "operation.achieved_mm",
        "Length achieved",
        offered,
        "what the film shows, in mm, or in cm with its unit",
        "mm",
    )
    try:
        amount = length_mm(field.value, expected)
    except AskedBack as error:
        return replace(field, options=tuple(Option(text, text) for text in error.offered))
    return replace(field, means=amount.means if amount else "")


def _sheet_used(
    offer: Offer, typed: Mapping[str, str], planned: SheetUsed, kind: str, before: Operation | None
) -> Field:
    """Return the field that asks for the sheet: kept by itself only where stage and day of the operation fit it."""
    choosing = offer.choosing
    done_on = before.date if before else entering.operation_day(typed, offer.on)
    fits = done_on is not None and planned.fits(kind, done_on)
    usual = next(option.words for option in choosing.sheets if option.value == (KEEP if fits else KEEP_NONE))
    when = f"worked out on {planned.on}"
    said = f"the worksheet as it stands on its screen, {when}, to be held against the films after"
    if not fits:
        other = "for no such stage" if planned.kind != kind else "after this operation"
        said = f"{said}; it was made {other}, so it is kept only if you choose it"
    return _chosen(typed, "operation.planned", "Sheet used", choosing.sheets, said, usual)


def _decision(offer: Offer, typed: Mapping[str, str]) -> Iterator[Field]:
    choosing = offer.choosing
    words = "what family or team decided; courses are chosen under Courses, other wishes under What if"
    yield _chosen(typed, "decision.kind", "Decision", choosing.decisions, words)
    kind = _value(typed, "decision.kind", choosing.decisions)
    about = choosing.about.get(kind or "", ())
    what = {"decline": "the stage declined", "prefer": "what matters most", entering.WAIVE: "the gate waived"}
    yield _chosen(typed, "decision.about", "About", about, what.get(kind or "", "choose the decision first"))
    by = entering.decides(kind, choosing.decider) if kind else ""
    yield _chosen(typed, "decision.by", "Decided by", choosing.parties, "family or team", by)
    yield _field(typed, "decision.reason", "Reason", "", "why, in a few words; it is kept with the decision")


def _field(
    typed: Mapping[str, str], name: str, label: str, offered: str, wanted: str, unit: str = "", origin: str = ""
) -> Field:
    shown = "" if name in typed else origin
    return Field(name, label, typed.get(name, ""), unit, wanted, shown, name in typed, offered=offered)


def _chosen(
    typed: Mapping[str, str],
    name: str,
    label: str,
    options: Sequence[Option],
    wanted: str,
    offered: str = "",
    *,
    several: bool = False,
) -> Field:
    field = _field(typed, name, label, offered, wanted)
    return replace(field, options=tuple(options), means=_words(typed.get(name, ""), options), several=several)


def _value(typed: Mapping[str, str], name: str, options: Sequence[Option]) -> str | None:
    option = _meant(typed.get(name, ""), options)
    return option.value if option else None


def _words(text: str, options: Sequence[Option]) -> str:
    """Return what a text stands for where it is a choice, or choices with commas between them."""
    meant = [_meant(part, options) for part in text.split(",")]
    return ", ".join(option.words for option in meant if option) if options and all(meant) else ""


def _worded(values: Sequence[str], options: Sequence[Option]) -> Iterator[str]:
    yield from (option.words for option in options if option.value in values)


def _meant(text: str, options: Sequence[Option]) -> Option | None:
    try:
        return chosen(text, options) if text.strip() else None
    except Unclear:
        return None
