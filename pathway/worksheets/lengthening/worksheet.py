"""The worksheet of one lengthening: what to turn on which day, when to look, when to stop, when it is over."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from fractions import Fraction

from pathway.plan.model import AgePoint
from pathway.protocol.model import Bone, Device, Role
from pathway.protocol.roles import bone_of
from pathway.worksheets.case import Case, Inputs, blank, from_finding, from_rule, made, set_by_hand
from pathway.worksheets.lengthening import sections as parts
from pathway.worksheets.lengthening.device import device_input, healing_span, stays, with_device
from pathway.worksheets.lengthening.distraction import exact, rate_below
from pathway.worksheets.lengthening.from_record import (
    AT_VISIT,
    NERVE,
    NOTHING,
    OUT_OF_JOINT,
    SLOW,
    STIFF,
    gain_on_film,
    length_before,
    operation_of,
    under_way,
    wrong_since,
)
from pathway.worksheets.lengthening.phases import (
    RATE,
    LengtheningInputs,
    Seen,
    Span,
    callus_index,
    phases,
    slow_steps,
)
from pathway.worksheets.sheet import Input, Kind, Origin, Sheet, problem

KIND: Kind = "lengthening"
ROLE: Role = "lengthening"
CALLUS = (
    "not_seen",
    "fusiform",
    "cylindrical",
    "lateral",
    "concave",
    "homogeneous",
    "heterogeneous",
    "mixed",
    "lucent",
)


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the worksheet of the case's stage, or of what is set by hand.

    Raises Refused for inputs that are missing, not plausible, or do not fit each other.
    """
    found = worked(case, settings)
    title = f"Lengthening of the {found.given.bone}, {found.inputs.number('amount_mm'):g} mm"
    return made(case, found.inputs, title, parts.sections(found), parts.warnings(found), stages=(found.kind,))


def worked(case: Case, settings: Mapping[str, str]) -> parts.Made:
    """Return the numbers of the worksheet without words; raises Refused as the worksheet does."""
    bone = _bone(case, settings)
    inputs = set_by_hand(KIND, _inputs(case, bone), settings)
    device = case.protocol.device(inputs.text("device"))
    inputs = _slowed(case, with_device(inputs, device), bone)
    given = _given(case, inputs, bone, device)
    return parts.Made(case, inputs, given, phases(given, case.protocol), device)


def _bone(case: Case, settings: Mapping[str, str]) -> Bone:
    """Return the bone to be lengthened: that of the stage, the one set by hand, or the diagnosis's first."""
    opened = bone_of(case.stage.kind, case.protocol) if case.stage is not None else None
    if opened is not None:
        return opened
    bones = case.protocol.diagnosis(case.record.child.diagnosis).bones
    inputs = set_by_hand(KIND, [_bone_input(case, bones[0] if bones else "femur")], _only(settings, "bone"))
    return "tibia" if inputs.text("bone") == "tibia" else "femur"


def _only(settings: Mapping[str, str], name: str) -> dict[str, str]:
    return {name: settings[name]} if name in settings else {}


def _bone_input(case: Case, bone: Bone) -> Input:
    return Input(
        name="bone",
        label="bone",
        kind="choice",
        choices=("femur", "tibia"),
        value=bone,
        origin="plan" if case.stage is not None else "protocol",
        note="" if case.stage is not None else "first bone of the diagnosis",
        sources=() if case.stage is not None else case.protocol.diagnosis(case.record.child.diagnosis).sources,
        settable=case.stage is None,
    )


def _inputs(case: Case, bone: Bone) -> list[Input]:
    point = _before(case)
    other: Bone = "tibia" if bone == "femur" else "femur"
    rate = from_rule(case, RATE[bone], "rate", name="rate_mm_per_day")
    items = [
        _bone_input(case, bone),
        device_input(case, bone),
        _amount(case),
        _bone_length(case, bone, f"{bone}_mm", f"length of the {bone} before", point),
        _bone_length(case, other, f"{other}_mm", f"length of the {other}", point, optional=True),
        _operation_day(case),
        from_rule(case, "lengthening_latency_days", "latency before the first turn", name="latency_days"),
        rate,
        from_rule(case, "lengthening_turn_mm", "one turn", name="turn_mm"),
        from_rule(case, f"{bone}_days_per_cm", "healing index", name="index_days_per_cm"),
        Input(
            name="callus",
            label="shape or path of the new bone",
            kind="choice",
            choices=CALLUS if bone == "femur" else CALLUS[:1],
            value="not_seen",
            origin="protocol",
            sources=("isaac_2008",),
            note="not seen yet: the index for all shapes",
        ),
        *_found(case, bone),
        blank(
            case,
            RATE[bone],
            "rate_from_then_mm_per_day",
            "rate from that visit on",
            optional=True,
            note="by the stop rules if not given",
        ),
        _difference(case, point),
        from_rule(case, "lengthening_clinic_days", "days between visits", name="clinic_days"),
        from_rule(case, "consolidation_clinic_days", "days between visits later", name="later_clinic_days"),
        from_rule(case, "protected_after_removal_weeks", "protection after removal", name="protected_weeks"),
        from_rule(case, "weight_in_steps_weeks", "weight bearing increased over", name="weight_weeks"),
        _kept(case),
    ]
    if bone == "femur":
        angle = from_rule(case, "femoral_axes_angle_deg", "angle between shaft and axis", name="axes_angle_deg")
        items.append(angle)
        rod = Input(
            name="rod", label="rod at removal", kind="flag", value=True, origin="protocol", sources=("rodding_cfd",)
        )
        items.append(rod)
    whole = {"latency_days", "clinic_days", "later_clinic_days"}
    return [item.model_copy(update={"kind": "whole"}) if item.name in whole else item for item in items]


def _amount(case: Case) -> Input:
    amount = case.stage.amount_mm if case.stage is not None else None
    origin: Origin = "plan" if amount is not None else "none"
    return blank(case, "worksheet_length_most_mm", "amount_mm", "amount", value=amount, origin=origin)


def _bone_length(
    case: Case, bone: Bone, name: str, label: str, point: AgePoint | None, *, optional: bool = False
) -> Input:
    """Return the bone's length before the operation: on film, or as the plan projects it for one to come."""
    latest = from_finding(case, f"{bone}_length_mm", name=name, label=label, optional=optional)
    operation = operation_of(case)
    if operation is not None:
        film = length_before(case, bone, operation)
        if film is None:
            return latest.model_copy(update={"value": None, "origin": "none", "measured_on": None, "method": ""})
        seen = {"value": film.mm, "origin": "visit", "measured_on": film.date, "method": film.method, "note": ""}
        return latest.model_copy(update=seen)
    projected = None
    if point is not None:
        projected = point.short_femur_mm if bone == "femur" else point.short_tibia_mm
    if point is None or projected is None:
        return latest
    note = f"projected for {point.date}, just before the operation"
    by_plan = {"value": projected, "origin": "plan", "measured_on": None, "method": "", "sources": (), "note": note}
    return latest.model_copy(update=by_plan)


def _before(case: Case) -> AgePoint | None:
    """Return the plan's last point before the operation, from which its length and difference are taken."""
    if case.plan is None or case.stage is None or case.stage.date is None:
        return None
    points = [point for point in case.plan.growth.by_age if point.date < case.stage.date]
    return points[-1] if points else next(iter(case.plan.growth.by_age), None)


def _operation_day(case: Case) -> Input:
    item = Input(name="operation_on", label="operation", kind="day", value=case.on, origin="none")
    operation = operation_of(case)
    if operation is not None:
        done = {"value": operation.date, "origin": "visit", "measured_on": operation.date, "method": "operation record"}
        return item.model_copy(update=done)
    if case.stage is not None and case.stage.date is not None:
        return item.model_copy(update={"value": case.stage.date, "origin": "plan"})
    return item.model_copy(update={"note": "no date is planned: counted from the day of the sheet"})


def _found(case: Case, bone: Bone) -> list[Input]:
    """Return what the visits since the operation found: gain reached, on which day, and what was wrong."""
    reached = blank(case, "worksheet_difference_most_mm", "reached_mm", "gain reached at a visit", optional=True)
    on = Input(name="reached_on", label="day of that visit", kind="day", optional=True)
    at_visit = Input(name="at_visit", label="found at that visit", kind="choice", choices=AT_VISIT, value=NOTHING)
    operation = under_way(case)
    if operation is None:
        return [reached, on, at_visit]
    gain, wrong = gain_on_film(case, bone, operation), wrong_since(case, operation)
    if gain is not None:
        note = "difference of two films: each bone length has an error of some mm; counting turns is more reliable"
        seen = {"origin": "visit", "measured_on": gain.date, "method": gain.method}
        reached = reached.model_copy(update={**seen, "value": gain.mm, "note": note})
        on = on.model_copy(update={**seen, "value": gain.date})
    if wrong is not None and gain is not None:
        since = {"origin": "visit", "measured_on": wrong.on or operation.date}
        at_visit = at_visit.model_copy(update={**since, "value": wrong.what})
    elif wrong is not None:
        words = wrong.what.replace("_", " ")
        note = f"{words} is recorded: give reached_mm and reached_on, and the rest is planned again"
        at_visit = at_visit.model_copy(update={"note": note})
    return [reached, on, at_visit]


def _difference(case: Case, point: AgePoint | None) -> Input:
    bound = case.protocol.value("worksheet_difference_most_mm")
    measured = from_finding(case, "current_discrepancy_mm", name="difference_mm", optional=True)
    item = measured.model_copy(update={"plausible": bound.plausible, "label": "difference of the legs before"})
    if point is not None and operation_of(case) is None:
        size = max(point.with_plan_mm.p50, 0.0)
        note = f"projected for {point.date}, median of children like this one"
        by_plan = {"value": size, "origin": "plan", "measured_on": None, "method": "", "note": note, "sources": ()}
        item = item.model_copy(update=by_plan)
    if isinstance(item.value, float | int) and not isinstance(item.value, bool) and item.value < 0:
        item = item.model_copy(update={"value": 0.0, "note": "the treated leg is the longer one: no lift under it"})
    return item


def _kept(case: Case) -> Input:
    item = blank(case, "worksheet_difference_most_mm", "kept_mm", "length kept after removal", optional=True)
    operation = operation_of(case)
    if operation is None or operation.achieved_mm is None or operation.device_removed is None:
        return item
    seen = {"origin": "visit", "measured_on": operation.device_removed, "method": "operation record"}
    return item.model_copy(update={**seen, "value": operation.achieved_mm})


def _slowed(case: Case, inputs: Inputs, bone: Bone) -> Inputs:
    """Return the inputs with the slow callus's index where the new bone was found slow and no shape was named."""
    index = inputs.item("index_days_per_cm")
    callus = inputs.text("callus")
    if bone == "femur" and callus == "not_seen" and inputs.text("at_visit") == SLOW:
        callus = "lucent"
    published = callus_index(case.protocol, callus)
    if published is None or index.origin == "by_hand":
        return inputs
    note = f"published for {callus} new bone"
    return inputs.having("index_days_per_cm", value=published, note=note, sources=("isaac_2008",))


def _given(case: Case, inputs: Inputs, bone: Bone, device: Device) -> LengtheningInputs:
    amount = exact(inputs.number("amount_mm"))
    operation, latency = inputs.day("operation_on"), int(inputs.number("latency_days"))
    protocol = case.protocol
    protected = protocol.value("protected_after_removal_weeks")
    weight = protocol.value("weight_in_steps_weeks")
    inputs.number(f"{bone}_mm")
    return LengtheningInputs(
        bone=bone,
        amount_mm=amount,
        operation=operation,
        latency_days=latency,
        rate_mm_per_day=exact(inputs.number("rate_mm_per_day")),
        turn_mm=exact(inputs.number("turn_mm")),
        index=healing_span(device, protocol, inputs),
        protected_weeks=Span(0, 0, 0)
        if stays(device) and inputs.item("protected_weeks").origin != "by_hand"
        else _span(inputs, "protected_weeks", protected.low, protected.high),
        weight_weeks=_span(inputs, "weight_weeks", weight.low, weight.high),
        seen=_seen(case, inputs, amount, operation + datetime.timedelta(days=latency)),
        stays=stays(device),
    )


def _span(inputs: Inputs, name: str, low: float | None, high: float | None) -> Span:
    mid = inputs.number(name)
    if inputs.item(name).origin == "by_hand" or low is None or high is None:
        return Span(mid, mid, mid)
    return Span(low, mid, high)


def _seen(case: Case, inputs: Inputs, amount: Fraction, rested: datetime.date) -> Seen | None:
    """Return what a visit found, put into terms of the rest of the calendar; None where no gain was told."""
    reached, wrong = inputs.maybe("reached_mm"), inputs.text("at_visit")
    on = inputs.item("reached_on").value
    if reached is None and on is None and wrong == NOTHING:
        return None
    if reached is None:
        raise problem(
            KIND, "reached_mm", "no gain", "the gain reached at that visit, in mm", "give it with --set reached_mm=…"
        )
    if not isinstance(on, datetime.date):
        raise problem(
            KIND, "reached_on", "no day", "the day of the visit that saw the gain", "give it with --set reached_on=…"
        )
    if reached > float(amount):
        found, most = f"{reached:g} mm", f"at most the amount of {float(amount):g} mm"
        raise problem(KIND, "reached_mm", found, most, "correct it, or set amount_mm to the new goal")
    if on < rested:
        raise problem(
            KIND, "reached_on", str(on), f"{rested} or later, after the latency", "correct it or operation_on"
        )
    chosen = inputs.maybe("rate_from_then_mm_per_day")
    rate: Fraction | None = exact(inputs.number("rate_mm_per_day")) if chosen is None else exact(chosen)
    if wrong in (SLOW, NERVE) and chosen is None:
        rate = rate_below(exact(inputs.number("rate_mm_per_day")), slow_steps(case.protocol))
    if wrong == OUT_OF_JOINT:
        rate = None
    pause = int(inputs.number("clinic_days")) if wrong == STIFF else 0
    return Seen(on, exact(reached), rate, pause)
