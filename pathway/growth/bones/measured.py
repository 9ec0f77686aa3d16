"""Bone lengths and discrepancies as measured, and what is assumed where one was never measured."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from pathway.days import age_years
from pathway.growth.reference_curves import GrowthCurve, plural, table_at
from pathway.growth.surgery import BONES, Leg
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.question import Question
from pathway.record import Measurement

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


def readings(question: Question) -> tuple[Reading, ...]:
    """Return the visits up to `on` at which a length or discrepancy was measured, oldest first.

    Raises ValueError for a length that is not above zero.
    """
    found = []
    for visit in sorted(question.record.visits, key=lambda visit: visit.date):
        if visit.date > question.on:
            continue
        lengths: dict[tuple[Leg, Bone], Amount] = {}
        discrepancy: Amount | None = None
        for m in visit.measurements:
            if m.finding == "leg_length_discrepancy_mm" and m.side in (question.record.affected_side, None):
                discrepancy = (float(m.value), _error(m, question.protocol, "discrepancy_error_sd_mm"))
            for bone in BONES:
                if m.finding == f"{bone}_length_mm" and m.side is not None:
                    if float(m.value) <= 0:
                        raise ValueError(f"{m.finding} on {visit.date} must be above 0 mm, found {m.value}")
                    leg: Leg = "short" if m.side == question.record.affected_side else "long"
                    lengths[leg, bone] = (float(m.value), _error(m, question.protocol, "length_error_sd_mm"))
        if lengths or discrepancy is not None:
            age = age_years(question.record.child.date_of_birth, visit.date)
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


def bone_correlation(protocol: Protocol, curve: GrowthCurve) -> float:
    """Return the correlation of log femur and log tibia between children of one age (widest age range)."""
    table = protocol.table("femur_tibia_correlation")
    at = {name: table.columns.index(name) for name in table.columns}
    rows = [row for row in table.rows if row[at["sex"]] == plural(curve.sex)]
    widest = max(rows, key=lambda row: float(row[at["age_to"]]) - float(row[at["age_from"]]))
    return float(widest[at["correlation"]])
