"""The worksheet of one lengthening: what to turn on which day, when to look, when to stop, when it is over."""

from __future__ import annotations

from collections.abc import Mapping

from pathway.plan.model import AgePoint
from pathway.protocol.model import Bone, Device, Role
from pathway.protocol.roles import bone_of
from pathway.worksheets.case import Case, Inputs, blank, from_finding, from_rule, made, set_by_hand
from pathway.worksheets.lengthening import sections as parts
from pathway.worksheets.lengthening.bounds import bone_span, check_operation_day
from pathway.worksheets.lengthening.device import device_input, healing_span, holds_inside, with_device
from pathway.worksheets.lengthening.distraction import exact
from pathway.worksheets.lengthening.drawing import drawings
from pathway.worksheets.lengthening.films import Course
from pathway.worksheets.lengthening.from_record import OUT_OF_JOINT, SLOW, length_before, operation_of
from pathway.worksheets.lengthening.past import ahead_of, course_so_far, visit_inputs, visits_of
from pathway.worksheets.lengthening.phases import (
    RATE,
    LengtheningInputs,
    Seen,
    Span,
    callus_index,
    phases,
)
from pathway.worksheets.lengthening.worked import Made
from pathway.worksheets.sheet import Input, Kind, Origin, Sheet

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
    told = parts.sections(found), parts.warnings(found), drawings(found)
    return made(case, found.inputs, title, *told, stages=(found.kind,))


def worked(case: Case, settings: Mapping[str, str]) -> Made:
    """Return the numbers of the worksheet without words; raises Refused as the worksheet does."""
    bone = _bone(case, settings)
    inputs = set_by_hand(KIND, _inputs(case, bone), settings)
    device = case.protocol.device(inputs.text("device"))
    inputs = _slowed(case, with_device(inputs, device), bone)
    check_operation_day(case, inputs)
    so_far = course_so_far(case, inputs, visits_of(case, inputs))
    given = _given(case, inputs, bone, device, so_far)
    span = bone_span(case, inputs, bone) if inputs.maybe(f"{bone}_mm") is None else None
    return Made(case, inputs, given, phases(given, case.protocol), device, so_far, span)


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
        _bone_length(case, other, f"{other}_mm", f"length of the {other}", point),
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
        *visit_inputs(case, bone),
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


def _bone_length(case: Case, bone: Bone, name: str, label: str, point: AgePoint | None) -> Input:
    """Return the bone's length before the operation: on film, or as the plan projects it for one to come."""
    latest = from_finding(case, f"{bone}_length_mm", name=name, label=label, optional=True)
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


def _given(case: Case, inputs: Inputs, bone: Bone, device: Device, so_far: Course) -> LengtheningInputs:
    protocol = case.protocol
    seen, ahead, follows = ahead_of(case, inputs, so_far)
    film = so_far.beyond_mm
    protected = protocol.value("protected_after_removal_weeks")
    weight = protocol.value("weight_in_steps_weeks")
    return LengtheningInputs(
        bone=bone,
        amount_mm=exact(inputs.number("amount_mm")),
        operation=inputs.day("operation_on"),
        latency_days=int(inputs.number("latency_days")),
        rate_mm_per_day=exact(inputs.number("rate_mm_per_day")),
        turn_mm=exact(inputs.number("turn_mm")),
        index=healing_span(device, protocol, inputs),
        protected_weeks=Span(0, 0, 0)
        if holds_inside(device) and inputs.item("protected_weeks").origin != "by_hand"
        else _span(inputs, "protected_weeks", protected.low, protected.high),
        weight_weeks=_span(inputs, "weight_weeks", weight.low, weight.high),
        ahead=ahead,
        seen=None
        if seen.on is None
        else Seen(seen.on, seen.reached_mm, seen.ended, None if film is None else exact(film)),
        holds_inside=holds_inside(device),
        off_at_length=device.comes_off == "length_reached",
        follows=follows,
        held=so_far.held is not None,
        joint_out=inputs.text("at_visit") == OUT_OF_JOINT,
    )


def _span(inputs: Inputs, name: str, low: float | None, high: float | None) -> Span:
    mid = inputs.number(name)
    if inputs.item(name).origin == "by_hand" or low is None or high is None:
        return Span(mid, mid, mid)
    return Span(low, mid, high)
