"""Bone lengths and discrepancies as measured, and what is assumed where one was never measured."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pathway.days import age_years
from pathway.growth.curves import GrowthCurve, plural, table_at
from pathway.growth.steps import BONES, Leg
from pathway.protocol.model import Bone, Protocol
from pathway.record import Measurement, Record

Amount = tuple[float, float]
"""A measured value and its error (one standard deviation), mm."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The lengths of one visit: by leg and bone, and the discrepancy where that was measured directly."""

    age_years: float
    date: datetime.date
    lengths: Mapping[tuple[Leg, Bone], Amount]
    discrepancy: Amount | None

    @property
    def whole_legs_mm(self) -> tuple[float, float] | None:
        """Return (long leg, short leg) as femur + tibia, or None where a bone is missing."""
        if len(self.lengths) < 4:
            return None
        long, short = (sum(self.lengths[leg, bone][0] for bone in BONES) for leg in ("long", "short"))
        return long, short

    @property
    def discrepancy_mm(self) -> float | None:
        """Return the discrepancy as measured directly, else from the bones, else None."""
        if self.discrepancy is not None:
            return self.discrepancy[0]
        legs = self.whole_legs_mm
        return None if legs is None else legs[0] - legs[1]


@dataclass(frozen=True, slots=True)
class Point:
    """One bone at one visit: its long and short length and their errors, mm; None where not known.

    `tied` means that the short length was worked out from the long one, so that an error of the long one
    moves both.
    """

    age_years: float
    long: Amount | None
    short: Amount | None
    tied: bool = False

    @property
    def both(self) -> bool:
        """Return whether both lengths are known."""
        return self.long is not None and self.short is not None


@dataclass(frozen=True, slots=True)
class BonePoints:
    """All visits of one bone.

    `population_cv` is above 0 where the long bone is the mean of other children, with their spread; `equal`
    where no shortening of this bone was measured.
    """

    bone: Bone
    points: tuple[Point, ...]
    population_cv: float = 0.0
    equal: bool = False


def readings(record: Record, protocol: Protocol, on: datetime.date) -> tuple[Reading, ...]:
    """Return the visits up to `on` at which a length or discrepancy was measured, oldest first.

    Raises ValueError for a length that is not above zero.
    """
    found = []
    for visit in sorted(record.visits, key=lambda visit: visit.date):
        if visit.date > on:
            continue
        lengths: dict[tuple[Leg, Bone], Amount] = {}
        discrepancy: Amount | None = None
        for m in visit.measurements:
            if m.finding == "leg_length_discrepancy_mm" and m.side in (record.affected_side, None):
                discrepancy = (float(m.value), _error(m, protocol, "discrepancy_error_sd_mm"))
            for bone in BONES:
                if m.finding == f"{bone}_length_mm" and m.side is not None:
                    if float(m.value) <= 0:
                        raise ValueError(f"{m.finding} on {visit.date} must be above 0 mm, found {m.value}")
                    leg: Leg = "short" if m.side == record.affected_side else "long"
                    lengths[leg, bone] = (float(m.value), _error(m, protocol, "length_error_sd_mm"))
        if lengths or discrepancy is not None:
            age = age_years(record.child.date_of_birth, visit.date)
            found.append(Reading(age, visit.date, lengths, discrepancy))
    return tuple(found)


def _error(m: Measurement, protocol: Protocol, default: str) -> float:
    for method in protocol.methods:
        if method.id == m.method and method.length_sd_mm is not None:
            return method.length_sd_mm
    for finding in protocol.findings:
        if finding.id == m.finding and finding.sd > 0:
            return finding.sd
    return protocol.number(default)


def mean_length(protocol: Protocol, curve: GrowthCurve, bone: Bone, age: float) -> tuple[float, float]:
    """Return the mean length (mm) of other children's bone at an age and its coefficient of variation.

    From the 1964 lengths; before 1 year, where those begin, the mean mature length times the curve.
    """
    table = protocol.table(f"amg_1964_{bone}_{plural(curve.sex)}")
    ages, means, sds = table.column("age_years"), table.column("mean"), table.column("sd")
    cv = table_at(ages, tuple(sd / mean for sd, mean in zip(sds, means, strict=True)), age)
    if age < ages[0]:
        return 10 * means[-1] * float(curve.fraction(age)), cv
    return 10 * table_at(ages, means, age), cv


@dataclass(frozen=True, slots=True)
class _Filler:
    """What stands in for lengths of one bone that were not measured."""

    found: Sequence[Reading]
    protocol: Protocol
    curve: GrowthCurve
    shift_years: float
    bone: Bone
    first: Bone

    @property
    def other(self) -> Bone:
        return "tibia" if self.bone == "femur" else "femur"

    def has(self, leg: Leg, bone: Bone) -> bool:
        return any((leg, bone) in reading.lengths for reading in self.found)

    def scale(self) -> tuple[float, float]:
        """Return how many times the mean this child's other bone is, and the spread left for this one."""
        cv = mean_length(self.protocol, self.curve, self.bone, self.found[-1].age_years)[1]
        for reading in reversed(self.found):
            if ("long", self.other) in reading.lengths:
                mean = mean_length(self.protocol, self.curve, self.other, reading.age_years)[0]
                rest = math.sqrt(1 - bone_correlation(self.protocol, self.curve) ** 2)
                return reading.lengths["long", self.other][0] / mean, cv * rest
        return 1.0, cv

    def long(self, reading: Reading, scale: float) -> Amount:
        """Return the long bone at a visit: measured, carried along the curve, or the mean."""
        if ("long", self.bone) in reading.lengths:
            return reading.lengths["long", self.bone]
        age = reading.age_years
        if not self.has("long", self.bone):
            return scale * mean_length(self.protocol, self.curve, self.bone, age)[0], 0.0
        measured = [r for r in self.found if ("long", self.bone) in r.lengths]
        near = min(measured, key=lambda r: abs(r.age_years - age))
        mm, sd = near.lengths["long", self.bone]
        here, there = self.curve.fraction([age + self.shift_years, near.age_years + self.shift_years])
        return mm * float(here / there), sd

    def difference(self, reading: Reading) -> Amount | None:
        """Return the part of a directly measured discrepancy that falls on this bone, or None."""
        if reading.discrepancy is None:
            return None
        mm, sd = reading.discrepancy
        long, short = reading.lengths.get(("long", self.other)), reading.lengths.get(("short", self.other))
        if long and short:
            return mm - (long[0] - short[0]), sd
        if self.has("short", self.other):
            return None
        return (mm, sd) if self.bone == self.first else (0.0, 0.0)


def bone_points(
    found: Sequence[Reading], protocol: Protocol, curve: GrowthCurve, shift_years: float, first: Bone
) -> tuple[tuple[BonePoints, ...], tuple[str, ...]]:
    """Return the points of femur and tibia, completed by assumptions, and a sentence for each assumption.

    `first` is the bone that a discrepancy is put on when the bones were not measured one by one. Raises
    ValueError when a discrepancy is more than the whole bone.
    """
    notes: list[str] = []
    result = []
    for bone in BONES:
        filler = _Filler(found, protocol, curve, shift_years, bone, first)
        has_long, has_short = filler.has("long", bone), filler.has("short", bone)
        scale, cv = (1.0, 0.0) if has_long else filler.scale()
        if not has_long:
            notes.append(_mean_note(bone, scale, filler.has("long", filler.other)))
        points = []
        for reading in found:
            long = filler.long(reading, scale)
            short = reading.lengths.get(("short", bone))
            difference = None if has_short else filler.difference(reading)
            if difference is not None:
                short = (long[0] - difference[0], difference[1])
                if short[0] <= 0:
                    raise ValueError(f"leg_length_discrepancy_mm on {reading.date} is more than the whole {bone}")
            known = ("long", bone) in reading.lengths or not has_long or difference is not None
            if known or short is not None:
                points.append(Point(reading.age_years, long if known else None, short, difference is not None))
        unequal = has_short or any(p.long and p.short and p.short[0] != p.long[0] for p in points)
        if not unequal:
            points = [Point(p.age_years, p.long, (p.long[0], 0.0), True) for p in points if p.long]
            notes.append(f"No shortening of the {bone} was measured: it is taken as equal on both sides.")
        elif not has_short:
            notes.append(f"The {bone} of the shorter leg was never measured: the difference is put on it.")
        result.append(BonePoints(bone, tuple(points), cv, not unequal))
    return tuple(result), tuple(notes)


def _mean_note(bone: Bone, scale: float, other_known: bool) -> str:
    if other_known:
        return (
            f"The {bone} of the longer leg was never measured: taken from the 1964 means, "
            f"times {scale:.2f} like the other bone."
        )
    return f"The {bone} of the longer leg was never measured: taken from the 1964 means of that age."


def bone_correlation(protocol: Protocol, curve: GrowthCurve) -> float:
    """Return the correlation of log femur and log tibia between children of one age (widest age range)."""
    table = protocol.table("femur_tibia_correlation")
    at = {name: table.columns.index(name) for name in table.columns}
    rows = [row for row in table.rows if row[at["sex"]] == plural(curve.sex)]
    widest = max(rows, key=lambda row: float(row[at["age_to"]]) - float(row[at["age_from"]]))
    return float(widest[at["correlation"]])
