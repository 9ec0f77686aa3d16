"""What the record says of one lengthening: its operation, the bone before it, and what was found since."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from pathway.protocol.model import Bone
from pathway.record import Operation
from pathway.rule_engine.findings import Known
from pathway.worksheets.case import Case

NOTHING, SLOW, NERVE, STIFF, OUT_OF_JOINT = (
    "nothing",
    "slow_regenerate",
    "nerve_signs",
    "joint_contracture",
    "subluxation",
)
AT_VISIT = (NOTHING, SLOW, NERVE, STIFF, OUT_OF_JOINT)
"""What a visit may find that changes the rest of the calendar."""
COMPLICATIONS = {
    "hip_subluxation": OUT_OF_JOINT,
    "hip_dislocation": OUT_OF_JOINT,
    "knee_subluxation": OUT_OF_JOINT,
    "knee_dislocation": OUT_OF_JOINT,
    "knee_contracture": STIFF,
    "nerve_signs": NERVE,
    "slow_regenerate": SLOW,
}
"""The recorded complications that change it, the gravest first."""


@dataclass(frozen=True, slots=True)
class Film:
    """A length of the bone as measured, mm."""

    date: datetime.date
    mm: float
    method: str


@dataclass(frozen=True, slots=True)
class Wrong:
    """What was found since the operation: one of `AT_VISIT`, and the day; None where it came with the operation."""

    what: str
    on: datetime.date | None


def operation_of(case: Case) -> Operation | None:
    """Return the recorded operation of the case's stage, done or under way; None for one to come."""
    stage = case.stage
    if stage is None or not stage.begun:
        return None
    same = [operation for operation in case.record.operations if operation.kind == stage.kind]
    return same[stage.number - 1] if 0 < stage.number <= len(same) else None


def under_way(case: Case) -> Operation | None:
    """Return the operation of a lengthening whose device is still on."""
    operation = operation_of(case)
    return operation if operation is not None and operation.device_removed is None else None


def films(case: Case, bone: Bone, operation: Operation) -> tuple[Film, ...]:
    """Return every measured length of a bone of the operated leg, in date order."""
    return tuple(
        Film(visit.date, float(item.value), item.method)
        for visit in case.record.visits
        for item in visit.measurements
        if item.finding == f"{bone}_length_mm" and item.side == operation.side
    )


def length_before(case: Case, bone: Bone, operation: Operation) -> Film | None:
    """Return the last film of a bone on or before the day of the operation."""
    before = [film for film in films(case, bone, operation) if film.date <= operation.date]
    return before[-1] if before else None


def gains_on_films(case: Case, bone: Bone, operation: Operation) -> tuple[Film, ...]:
    """Return the gain (mm, also below 0) on each film since the operation against the last one before it."""
    before = length_before(case, bone, operation)
    if before is None:
        return ()
    return tuple(
        Film(film.date, round(film.mm - before.mm, 1), "difference of two films")
        for film in films(case, bone, operation)
        if film.date > operation.date
    )


def wrong_since(case: Case, operation: Operation) -> Wrong | None:
    """Return the gravest thing found since the operation, by examination or recorded with it."""
    number = case.protocol.number
    hip, knee = _since(case, "hip_joint", operation), _since(case, "knee_dislocated", operation)
    if hip is not None and hip.value in ("subluxed", "dislocated"):
        return Wrong(OUT_OF_JOINT, hip.measured_on)
    if knee is not None and knee.value is True:
        return Wrong(OUT_OF_JOINT, knee.measured_on)
    recorded = [what for name, what in COMPLICATIONS.items() if name in operation.complications]
    if OUT_OF_JOINT in recorded:
        return Wrong(OUT_OF_JOINT, None)
    bends, fixed = _since(case, "knee_flexion_deg", operation), _since(case, "knee_flexion_contracture_deg", operation)
    if bends is not None and float(bends.value) <= number("lengthening_knee_flexion_stop_deg"):
        return Wrong(STIFF, bends.measured_on)
    if fixed is not None and float(fixed.value) > number("lengthening_knee_contracture_stop_deg"):
        return Wrong(STIFF, fixed.measured_on)
    return Wrong(recorded[0], None) if recorded else None


def _since(case: Case, finding: str, operation: Operation) -> Known | None:
    known = case.findings.get((finding, "affected"))
    return known if isinstance(known, Known) and known.measured_on > operation.date else None
