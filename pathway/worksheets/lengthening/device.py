"""The device of a lengthening's worksheet: which one, how it heals, whether it spans the knee, how it comes out."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.days import MONTH_DAYS, add_months, age_words, age_years
from pathway.protocol.model import Bone, Device, Protocol
from pathway.protocol.question import Question
from pathway.rule_engine.devices import devices_of
from pathway.rule_engine.facts import facts_on
from pathway.worksheets.case import Case, Inputs
from pathway.worksheets.lengthening.from_record import operation_of
from pathway.worksheets.lengthening.phases import Span, index_span, moved
from pathway.worksheets.sheet import Input, Line, Section, Warning


def device_input(case: Case, bone: Bone) -> Input:
    """Return which device: that of the plan's stage, else the usual one of the bone."""
    planned = case.stage.device if case.stage is not None else None
    known = tuple(device.id for device in case.protocol.devices if device.bone == bone)
    usual = case.protocol.usual_device(bone)
    item = Input(name="device", label="device", kind="choice", choices=known, value=usual.id, origin="protocol")
    if planned is not None and planned.id in known:
        return item.model_copy(update={"value": planned.id, "origin": "plan", "note": planned.label})
    return item.model_copy(update={"note": usual.label, "sources": usual.sources, "local": usual.local})


def stays(device: Device) -> bool:
    """Return whether a device stays inside the bone when the length is reached."""
    return device.removal == "own_stage"


def holds_inside(device: Device) -> bool:
    """Return whether a nail or plate inside holds the bone once the length is reached: no frame protects it then."""
    return stays(device) or device.comes_off == "length_reached"


def with_device(inputs: Inputs, device: Device) -> Inputs:
    """Return the inputs with the healing index of a device that has its own, and without protection where it stays."""
    index, shape = inputs.item("index_days_per_cm"), inputs.item("callus")
    if device.months_per_cm is not None and index.origin != "by_hand" and shape.origin != "by_hand":
        days = round(device.months_per_cm * MONTH_DAYS, 1)
        note = f"of the {device.label}, {device.months_per_cm:g} months/cm"
        inputs = inputs.having("index_days_per_cm", value=days, note=note, sources=device.sources)
    if holds_inside(device) and inputs.item("protected_weeks").origin != "by_hand":
        note = "the nail stays" if stays(device) else "what is inside stays"
        note = f"{note} and protects the new bone"
        inputs = inputs.having("protected_weeks", value=0.0, note=note)
    if holds_inside(device) and device.bone == "femur" and inputs.item("rod").origin != "by_hand":
        note = "none after a nail" if stays(device) else "none beside what is inside"
        inputs = inputs.having("rod", value=False, note=note)
    return inputs


def healing_span(device: Device, protocol: Protocol, inputs: Inputs) -> Span:
    """Return the healing index with its published ends, days/cm: those of the device where it has its own."""
    mid = inputs.number("index_days_per_cm")
    if device.months_per_cm_range is None:
        return index_span(protocol, device.bone, mid)
    low, high = (months * MONTH_DAYS for months in device.months_per_cm_range)
    usual = mid if device.months_per_cm is None else device.months_per_cm * MONTH_DAYS
    return moved(Span(min(low, usual), usual, max(high, usual)), mid)


def removal_days(case: Case, kind: str, operation: datetime.date) -> tuple[datetime.date, datetime.date]:
    """Return from when to when a device that stays is taken out after an operation."""
    protocol = case.protocol
    roles = {stage.id: stage.role for stage in protocol.stages}
    least = [
        rule.at_least_months or 0
        for rule in protocol.intervals
        if rule.paired and rule.earlier == f"{kind}.start" and roles[rule.later_stage] == "implant_removal"
    ]
    most = int(protocol.number("nail_out_within_months"))
    return add_months(operation, max(least, default=0)), add_months(operation, most)


def device_section(device: Device) -> Section:
    """Return what the device means for the leg: the knee, weight, how it comes out, what is known of trouble."""
    spans = "yes, where it must be" if device.spans_knee else "no: brace and daily therapy must keep it"
    lines = (Line(label="Spans the knee", value=spans, sources=device.sources, strong=True),)
    words = [device.walking_words, device.removal_words]
    words += [f"Check: {text}." for text in device.checks]
    words += [device.complications] if device.complications else []
    return Section(title=f"Device: {device.label}", words=tuple(words), lines=lines)


def _judged(case: Case, device: Device, age_years_then: float) -> Iterator[Warning]:
    """Yield what the child's findings say against a device that is not in yet: canal, length, weight, a loose knee.

    That of the plan was judged with the plan; nothing is judged of one that is in.
    """
    if operation_of(case) is not None or (device.tested is None and device.spans_knee):
        return
    planned = case.stage.device if case.stage is not None else None
    if planned is not None and planned.id == device.id:
        asks: tuple[str, ...] = planned.asks
        against = planned.verdict.sentence if planned.state == "fails" and planned.verdict is not None else ""
    else:
        facts = facts_on(Question(case.record, case.protocol, case.on), None)
        state = next(one for one in devices_of(facts, case.protocol) if one.device.id == device.id)
        judged = state.at(age_years_then)
        against = judged.against
        asks = judged.verdict.asks if judged.state == "unknown" and judged.verdict is not None else ()
    if against:
        yield Warning(text=f"{device.label}: {against}", rule=device.id, sources=device.sources, stop=True)
    if asks:
        missing = ", ".join(case.protocol.finding(ask).label for ask in asks)
        text = f"{device.label}: {missing} must be known first."
        yield Warning(text=text[0].upper() + text[1:], rule=device.id, sources=device.sources)


def device_warnings(case: Case, device: Device, amount_mm: float, operation: datetime.date) -> Iterator[Warning]:
    """Yield what the rules of a device say against it here: age, amount, limits that the clinic has not entered."""
    age = age_years(case.record.child.date_of_birth, operation)
    if age < device.least_age_years:
        text = f"{device.label} at {age_words(age)}: it is used from {device.least_age_years:g} years."
        yield Warning(text=text, rule=device.id, sources=device.sources, stop=True)
    if device.most_mm is not None and amount_mm > device.most_mm:
        text = f"{amount_mm:g} mm with a {device.label}: {device.most_mm:g} mm is the most."
        yield Warning(text=text, rule=device.id, sources=device.sources, stop=True)
    if device.least_mm is not None and amount_mm < device.least_mm:
        text = f"{amount_mm:g} mm with a {device.label}: {device.least_mm:g} mm is the least it is chosen for."
        yield Warning(text=text, rule=device.id, sources=device.sources)
    yield from _judged(case, device, age)
    if device.not_entered:
        limits = " and ".join(device.not_entered)
        text = f"The {limits} of the nail used here: the clinic enters them in its rules before it is used."
        yield Warning(text=text, rule=device.id, sources=device.sources)
    if not device.chosen:
        yield Warning(text=f"{device.label}: {device.because}", rule=device.id, sources=device.sources)
