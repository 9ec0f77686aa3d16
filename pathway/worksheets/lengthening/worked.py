"""A lengthening worked out, as every part of its worksheet and its calendar read it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from fractions import Fraction

from pathway.protocol.model import Device, Value
from pathway.protocol.roles import lengthenings
from pathway.worksheets.case import Case, Inputs
from pathway.worksheets.lengthening.films import Course
from pathway.worksheets.lengthening.phases import LengtheningInputs, Phases

WEEK = 7


@dataclass(frozen=True, slots=True)
class Made:
    """A lengthening worked out: the case, its inputs, what was given to the course, the course, its device, the visits.

    `bone_span` is what the bone may measure before the operation (90 of 100), where it was never measured, mm.
    """

    case: Case
    inputs: Inputs
    given: LengtheningInputs
    course: Phases
    device: Device
    so_far: Course
    bone_span: tuple[float, float] | None = None

    @property
    def bone_mm(self) -> float | None:
        """Return the length of the bone before the operation, mm; None where it is not known."""
        return self.inputs.maybe(f"{self.given.bone}_mm")

    @property
    def rates(self) -> tuple[Fraction, ...]:
        """Return every rate that was or is ordered, mm a day, the one of the beginning first."""
        later = [row.after.rate_mm_per_day for row in self.so_far.rows if row.after is not None]
        later.append(self.given.ahead.rate_mm_per_day)
        return (self.given.rate_mm_per_day, *(rate for rate in later if rate is not None))

    @property
    def kind(self) -> str:
        """Return the kind of stage: that of the plan, by hand the first way of lengthening the bone."""
        if self.case.stage is not None:
            return self.case.stage.kind
        return next((kind.id for kind in lengthenings(self.given.bone, self.case.protocol)), "")

    def value(self, id: str) -> Value:
        """Return a number of the protocol with its sources."""
        return self.case.protocol.value(id)

    def day(self, after: float) -> datetime.date:
        """Return the day so many days after the operation."""
        return self.given.operation + datetime.timedelta(days=round(after))
