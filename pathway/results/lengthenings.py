"""Single lengthenings as clinics can pool them: what print does not have. Without days, ids and free text."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from pathway.courses.policy.risks import hip_cover
from pathway.days import age_years, days_between, in_months
from pathway.protocol.model import Bone, Device, Protocol
from pathway.protocol.question import Question, pattern_of
from pathway.record import Operation, Record
from pathway.risk.steps import HipCover

COVER = "center_edge_angle_deg"

PlannedMm = Callable[[Operation], float | None]
"""What an accepted plan before an operation planned it to gain, mm; None where none did."""


@dataclass(frozen=True, slots=True)
class Lengthening:
    """One lengthening that was done: mm, months, years, percent of the bone before it.

    `number` is which one of its bone and side. `hip_cover` is that of the hip above a femur, None for a tibia.
    `followed_months` reach to the last visit, None where there was none after it.
    """

    sex: str
    diagnosis: str
    congenital: bool
    bone: Bone
    number: int
    age_years: float
    bone_mm: float | None
    planned_mm: float | None
    achieved_mm: float | None
    device: Device
    device_months: float | None
    hip_cover: HipCover | None
    events: tuple[str, ...]
    followed_months: float | None

    @property
    def percent(self) -> float | None:
        """Return the gain (achieved, else planned) in percent of the bone before it, None where one is not known."""
        gain = self.achieved_mm if self.achieved_mm is not None else self.planned_mm
        return None if gain is None or not self.bone_mm else 100 * gain / self.bone_mm


def lengthenings_of(
    record: Record, protocol: Protocol, on: datetime.date, planned_mm: PlannedMm
) -> Iterator[Lengthening]:
    """Yield the lengthenings of a child up to a day, in order."""
    known = record.until(on)
    stages = {stage.id: stage for stage in protocol.stages}
    so_far: Counter[tuple[str, str]] = Counter()
    last = max((visit.date for visit in known.visits), default=None)
    for one in known.operations:
        stage = stages.get(one.kind)
        if stage is None or stage.role != "lengthening" or stage.bone is None:
            continue
        so_far[stage.bone, one.side] += 1
        off = one.device_removed
        followed = None if last is None or last < one.date else in_months(days_between(one.date, last))
        yield Lengthening(
            sex=known.child.sex,
            diagnosis=known.child.diagnosis,
            congenital=pattern_of(Question(known, protocol, on)) == "congenital",
            bone=stage.bone,
            number=so_far[stage.bone, one.side],
            age_years=age_years(known.child.date_of_birth, one.date),
            bone_mm=_bone_mm(known, one, stage.bone),
            planned_mm=planned_mm(one),
            achieved_mm=one.achieved_mm,
            device=protocol.usual_device(stage.bone) if one.device is None else protocol.device(one.device),
            device_months=None if off is None else in_months(days_between(one.date, off)),
            hip_cover=_cover(known, one, protocol) if stage.bone == "femur" else None,
            events=one.complications,
            followed_months=followed,
        )


def _bone_mm(record: Record, one: Operation, bone: Bone) -> float | None:
    """Return the length of a bone as it was measured last before an operation on it."""
    found = [
        float(item.value)
        for visit in record.visits
        if visit.date <= one.date
        for item in visit.measurements
        if item.finding == f"{bone}_length_mm" and item.side == one.side
    ]
    return found[-1] if found else None


def _cover(record: Record, one: Operation, protocol: Protocol) -> HipCover:
    """Return the cover of the hip before an operation: prepared where an operation before it was to mend it."""
    mending = {stage.id for stage in protocol.stages if COVER in stage.mends}
    if any(other.kind in mending and other.side == one.side and other.date < one.date for other in record.operations):
        return "prepared"
    before = record.until(one.date - datetime.timedelta(days=1)).seen_from(one.side)
    return hip_cover(Question(before, protocol, one.date))
