"""What is known about one child: visits, operations and decisions, as frozen values."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from pathway.days import Day
from pathway.plain_text import visible

Text = Annotated[str, AfterValidator(visible)]
"""What people write: characters that nobody sees stand as their numbers, whatever door they came by."""
Side = Literal["left", "right"]
Sex = Literal["girl", "boy"]
Value = bool | float | str
DecisionKind = Literal[
    "decline",
    "prefer",
    "block_dates",
    "waive_gate",
    "choose_course",
    "no_device",
    "finish_before",
    "at_most_lengthenings",
    "lift_at_most",
]
WhyMissing = Literal["never_measured", "not_measurable", "declined"]
WhyUnknown = Literal["never_measured", "out_of_date", "not_measurable", "declined"]
Leg = Literal["affected", "other"]
Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


LAST_YEAR = 2150
"""The last year that a file may name: what is written for ever is meant to end, and a slip of a digit is not."""
PLACES: tuple[Side | None, ...] = ("left", "right", None)
"""The order of findings of one visit: the left leg, the right one, the whole child."""


class Frozen(BaseModel):
    """Base of every value that travels through the house: immutable, unknown keys forbidden."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    def __repr_args__(self) -> Iterator[tuple[str | None, object]]:
        """Yield what is not as by default: a record in the message of a failing test stays readable."""
        for name, value in super().__repr_args__():
            field = type(self).model_fields.get(name or "")
            if field is None or field.is_required() or value != field.get_default(call_default_factory=True):
                yield name, value


class Child(Frozen):
    """Who is planned for: a pseudonym and what the growth tables need."""

    id: str
    date_of_birth: Day
    sex: Sex
    affected_side: Literal["left", "right", "both"]
    diagnosis: str
    growth_pattern: str | None = None
    note: Text = ""


class Measurement(Frozen):
    """One finding as measured: `side` is None for a finding of the whole child."""

    finding: str
    side: Side | None
    value: Value
    method: str
    note: Text = ""


class Missing(Frozen):
    """A finding that was asked for and not obtained, with the kind of not-knowing."""

    finding: str
    side: Side | None
    why: WhyMissing
    note: Text = ""


class Visit(Frozen):
    """One day's findings; `skeletal_age_years` is the skeletal age read from a radiograph of that day.

    `skeletal_age_method` is how it was read (a `skeletal_method` of the rules), None where that is not known.
    """

    date: Day
    method: str
    skeletal_age_years: float | None = None
    skeletal_age_method: str | None = None
    measurements: tuple[Measurement, ...] = ()
    missing: tuple[Missing, ...] = ()
    note: Text = ""


class OsteotomyPlan(Frozen):
    """The sheet of an osteotomy of the upper femur as it was used: kept to be held against the films after it.

    The names, frames and signs are those of the sheet's numbers; `flexion_frame` says which one flexion is meant in.
    None is what the sheet could not tell.
    """

    flexion_frame: Literal["shaft_side", "neck_plane"] = "shaft_side"
    neck_shaft_before_deg: float
    version_before_deg: float
    flexion_before_deg: float
    neck_shaft_after_deg: float
    version_after_deg: float
    valgus_deg: float
    extension_deg: float
    rotation_deg: float
    implant_deg: float
    wire_front_deg: float
    wire_side_deg: float
    slot_deg: float
    epiphyseal_after_deg: float | None = None
    blade_mm: float | None = None
    cut_below_corner_mm: float | None = None
    wedge_mm: float | None = None
    plate_shift_mm: float | None = None
    length_gain_mm: float | None = None


class Operation(Frozen):
    """An operation or treatment that was done; `kind` is a stage of the protocol.

    `achieved_mm` is the length gained, `achieved_deg` the angle gained, `physes` the growth plates closed,
    `device_removed` the end of treatment with a device or cast: for a nail that stays, the day from which the new bone
    carries. `device` is the device of a lengthening (a `device` of the rules); None is the usual one of its bone.
    `planned` is the sheet of an osteotomy of the upper femur as it was used, None where nobody kept it.
    """

    kind: str
    date: Day
    side: Side
    achieved_mm: float | None = None
    achieved_deg: float | None = None
    physes: tuple[str, ...] = ()
    device_removed: Day | None = None
    device: str | None = None
    complications: tuple[str, ...] = ()
    planned: OsteotomyPlan | None = None
    note: Text = ""


class Decision(Frozen):
    """A decision or wish of family or team; which fields are needed depends on `kind`.

    `number` is of lengthenings, `mm` the height of a lift, `before` the day by which treatment is to end.
    """

    date: Day
    by: Literal["family", "team"]
    kind: DecisionKind
    reason: Text
    stage: str | None = None
    gate: str | None = None
    course: Text | None = None
    prefer: str | None = None
    from_date: Day | None = None
    to_date: Day | None = None
    before: Day | None = None
    number: int | None = None
    mm: float | None = None


class Dates(Frozen):
    """Days from the first to the last, both counted; in files they are called `from` and `to`."""

    model_config = ConfigDict(populate_by_name=True)

    from_date: Day = Field(alias="from")
    to_date: Day = Field(alias="to")

    @model_validator(mode="after")
    def _in_order(self) -> Dates:
        if self.to_date < self.from_date:
            raise ValueError(f"ends on {self.to_date}, before it begins on {self.from_date}")
        if self.to_date.year > LAST_YEAR:
            raise ValueError(f"ends on {self.to_date}, a year after {LAST_YEAR}")
        return self


class SchoolHoliday(Dates):
    """A school holiday with its name."""

    name: Text


class BlockedWeeks(Dates):
    """Days on which the clinic does not operate, with the reason."""

    reason: Text


class CaseCalendar(Frozen):
    """What a case file says of the calendar for one child; None where the clinic's calendar holds.

    `operations_in_school_holidays` is a wish of the family: a date moves on into a holiday where no
    other stage whose age was chosen moves.
    """

    operating_weekdays: tuple[Weekday, ...] | None = None
    operations_in_school_holidays: Literal["wished", "not_wished"] | None = None
    blocked: tuple[BlockedWeeks, ...] | None = None
    school_holidays: tuple[SchoolHoliday, ...] | None = None


class Record(Frozen):
    """Everything known about one child, each list in date order."""

    child: Child
    visits: tuple[Visit, ...] = ()
    operations: tuple[Operation, ...] = ()
    decisions: tuple[Decision, ...] = ()
    calendar: CaseCalendar | None = None

    def until(self, on: datetime.date) -> Record:
        """Return what was known on the evening of `on`: nothing dated later; the calendar has no day of its own."""
        return Record(
            child=self.child,
            visits=tuple(visit for visit in self.visits if visit.date <= on),
            operations=tuple(operation for operation in self.operations if operation.date <= on),
            decisions=tuple(decision for decision in self.decisions if decision.date <= on),
            calendar=self.calendar,
        )

    def seen_from(self, side: Side) -> Record:
        """Return the record as that of a child whose affected leg is this one: each of two short legs by itself.

        What was operated on the other leg is left out.
        """
        child = self.child.model_copy(update={"affected_side": side})
        own = tuple(operation for operation in self.operations if operation.side == side)
        return self.model_copy(update={"child": child, "operations": own})

    @property
    def affected_side(self) -> Side:
        """Return the side that is treated; for a child affected on both sides the left by convention."""
        return "left" if self.child.affected_side == "both" else self.child.affected_side

    def last_after(self, on: datetime.date) -> datetime.date | None:
        """Return the day of the last entry that is later than a day; None where nothing is."""
        days = [visit.date for visit in self.visits] + [one.date for one in self.operations]
        days += [one.date for one in self.decisions]
        return max((day for day in days if day > on), default=None)

    @property
    def other_side(self) -> Side:
        """Return the side opposite to the treated one."""
        return "right" if self.affected_side == "left" else "left"


def in_order(record: Record) -> Record:
    """Return the record as reading gives it: dates in order, findings left, right, then the whole child."""
    visits = (
        visit.model_copy(
            update={
                "measurements": tuple(sorted(visit.measurements, key=lambda one: PLACES.index(one.side))),
                "missing": tuple(sorted(visit.missing, key=lambda one: PLACES.index(one.side))),
            }
        )
        for visit in sorted(record.visits, key=lambda visit: visit.date)
    )
    return Record(
        child=record.child,
        visits=tuple(visits),
        operations=tuple(sorted(record.operations, key=lambda one: one.date)),
        decisions=tuple(sorted(record.decisions, key=lambda one: one.date)),
        calendar=record.calendar,
    )
