"""The judge on devices: each lengthening has one that the child's findings, age and amount leave, and its way out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.days import MONTH_DAYS
from pathway.plan.model import AgePoint, Plan, PlanStage
from pathway.plan.verify.breach import TOLERANCE_MM, Breach
from pathway.plan.verify.gates import in_record, state_of_values
from pathway.protocol.model import Device, Protocol
from pathway.record import Record

_BEGUN = ("done", "under_way")
_SPANNED_AFTER = {"hip_subluxation", "hip_dislocation", "knee_subluxation", "knee_dislocation"}


def days_per_cm(stage: PlanStage, bone: str, protocol: Protocol) -> float:
    """Return the days that a lengthening takes for each cm, by its device."""
    own = protocol.device(stage.device.id).months_per_cm if stage.device is not None else None
    return protocol.number(f"{bone}_days_per_cm") if own is None else own * MONTH_DAYS


def follows(stage: PlanStage, at_end: Sequence[str], protocol: Protocol) -> tuple[str, ...]:
    """Return the kinds of stage that must follow a lengthening: a nail stays, and comes out in a stage of its own."""
    out = [
        kind.id for kind in protocol.stages if kind.role == "implant_removal" and _takes_out(kind.id, stage, protocol)
    ]
    if stage.device is None or protocol.device(stage.device.id).removal == "at_end" or not out:
        return tuple(at_end)
    return (*(kind for kind in at_end if protocol.stage(kind).role != "device_removal"), *out)


def _takes_out(kind: str, stage: PlanStage, protocol: Protocol) -> bool:
    return any(r.paired and r.later_stage == kind and r.earlier_stage == stage.kind for r in protocol.intervals)


def hardly_grows(plan: Plan, stage: PlanStage, limit_mm: float | None, protocol: Protocol) -> bool:
    """Return whether a rule about later growth does not bind: the bone has no more than so much left to grow."""
    bone = protocol.stage(stage.kind).bone
    if limit_mm is None or bone is None or stage.age_years is None:
        return False
    left = _left_mm(plan, bone, stage)
    return left is not None and left <= limit_mm + TOLERANCE_MM


def _left_mm(plan: Plan, bone: str, stage: PlanStage) -> float | None:
    """Return what a bone still grows by itself after a stage has begun, by the plan's own table; None without one."""
    course = plan.recommended
    from_age = {item.id: item.age_years for item in course.stages} if course else {}
    gains = [
        (from_age.get(other.id, other.age_years or 0.0), other.amount_mm or 0.0)
        for other in plan.stages
        if other.kind == stage.kind and other.date is not None and other.status not in _BEGUN
    ]

    def bare(point: AgePoint) -> float | None:
        whole = point.short_femur_mm if bone == "femur" else point.short_tibia_mm
        return None if whole is None else whole - sum(mm for age, mm in gains if age <= point.age_years)

    known = [(point.age_years, mm) for point in plan.growth.by_age if (mm := bare(point)) is not None]
    if not known or stage.age_years is None:
        return None
    before = [mm for age, mm in known if age <= stage.age_years]
    return known[-1][1] - (before[-1] if before else known[0][1])


def device_breaches(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    """Yield every planned lengthening without a device, or with one that the rules do not leave for it."""
    slipped = any(
        _SPANNED_AFTER & set(operation.complications)
        for operation in record.operations
        if operation.side == record.affected_side and protocol.stage(operation.kind).role == "lengthening"
    )
    for stage in plan.stages:
        bone = protocol.stage(stage.kind).bone
        if bone is None or stage.date is None or stage.status in _BEGUN:
            continue
        if stage.device is None:
            yield Breach("device", stage.id, f"{stage.id} has a date and no device")
            continue
        device = protocol.device(stage.device.id)
        for text in _wrong(stage, device, bone, slipped=slipped):
            yield Breach(device.id, stage.id, f"{stage.id} is done with {device.id}, {text}")
        yield from _judged(stage, device, record, protocol)


def _wrong(stage: PlanStage, device: Device, bone: str, *, slipped: bool) -> Iterator[str]:
    age, mm = stage.age_years or 0.0, stage.amount_mm or 0.0
    if device.bone != bone:
        yield f"which lengthens a {device.bone}"
    if device.choice not in ("usual", "by_cost"):
        yield "which no plan chooses"
    if age < max(device.from_age_years, device.licensed_from_years or 0.0) - 1e-3:
        yield f"at {age:.2f} years"
    if not (device.least_mm or 0.0) <= mm <= (device.most_mm or mm):
        yield f"for {mm:g} mm"
    if slipped and not device.spans_knee:
        yield "which does not span the joint that slipped before"


def _judged(stage: PlanStage, device: Device, record: Record, protocol: Protocol) -> Iterator[Breach]:
    told = stage.device
    condition = device.tested
    if told is None or condition is None:
        return
    if told.verdict is None:
        yield Breach(device.id, stage.id, f"{device.id} is chosen and its condition is not judged")
        return
    state = state_of_values(condition, told.verdict)
    if state != told.state or state == "fails":
        yield Breach(device.id, stage.id, f"{device.id} reads {told.state} on values that read {state}")
    for leaf in told.verdict.leaves():
        if not in_record(leaf, record, protocol):
            yield Breach(
                device.id, stage.id, f"{device.id} rests on {leaf.finding} {leaf.value}, which the record lacks"
            )
