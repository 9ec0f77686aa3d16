"""One child: its record as it is known now, the revisions that were accepted, and what of it can be held together."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from pathway.days import add_months, days_between, in_months
from pathway.growth.bones.measured import Reading, readings
from pathway.protocol.model import Protocol, Role
from pathway.protocol.question import Question
from pathway.record import Operation, Record
from pathway.results.predicted import Revision, StatedStage

Basis = Literal["growth", "with_plan"]
"""What stands between a revision and a visit: growth alone, or the operations for length as they were planned."""
Why = Literal["states_no_length", "no_length_seen", "under_way", "treated_otherwise", "both_legs"]
"""Why a revision and a visit were not held together."""
Z90, Z50 = 1.6448536269514722, 0.6744897501960817
"""SD from the middle of a normal distribution to the ends of 90 and of 50 of 100."""
FOR_LENGTH = ("lengthening", "growth_arrest")
TIMING, LEAST_EFFECT, LEFT_AFTER = "results_same_timing_months", "results_least_effect_mm", "results_left_after_months"


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a child up to a day: its record and the revisions that were accepted, in order.

    `seen` are the lengths of the visits after the first of these.
    """

    record: Record
    revisions: tuple[Revision, ...]
    protocol: Protocol
    on: datetime.date
    seen: tuple[Reading, ...]
    roles: Mapping[str, Role | None]


def known_of(record: Record, revisions: Sequence[Revision], protocol: Protocol, on: datetime.date) -> Known:
    """Return what is known of a child up to a day. Raises ValueError for a length that cannot be."""
    record = record.until(on)
    so_far = tuple(one for one in revisions if one.on <= on)
    roles = {stage.id: stage.role for stage in protocol.stages}
    later = tuple(visit for visit in record.visits if so_far and visit.date > so_far[0].on)
    seen = readings(Question(record.model_copy(update={"visits": later}), protocol, on)) if later else ()
    return Known(record, so_far, protocol, on, seen, roles)


@dataclass(frozen=True, slots=True)
class Pair:
    """A difference in length as a revision predicted it for the day of a later visit, and as it was seen; mm.

    `off_mm` is seen minus predicted median. `within_50` and `within_90`: in the stated band, widened by the error of
    reading. `long_off_mm` and `short_off_mm` are those of the whole legs, None where one of them is not comparable.
    """

    revision: int
    stated_on: datetime.date
    seen_on: datetime.date
    age_years: float
    basis: Basis
    predicted_mm: float
    low_mm: float
    high_mm: float
    seen_mm: float
    within_50: bool
    within_90: bool
    long_off_mm: float | None
    short_off_mm: float | None

    @property
    def off_mm(self) -> float:
        """Return seen minus predicted."""
        return self.seen_mm - self.predicted_mm


@dataclass(frozen=True, slots=True)
class Arrest:
    """What a growth arrest was stated to take off the difference by the day of a visit, and what it did; mm."""

    stated_mm: float
    seen_mm: float


@dataclass(frozen=True, slots=True)
class Ending:
    """The chance of a revision that the legs end within so many mm, and the difference seen at maturity.

    `seen_mm` is None for a child that is not there yet (`growing`) or was not seen any more.
    """

    within_mm: int
    stated: float
    seen_mm: float | None
    growing: bool


def left(known: Known) -> bool:
    """Return whether a child was not seen for so long, while it was still to be seen, that it counts as having left."""
    last = max((visit.date for visit in known.record.visits if visit.date <= known.on), default=None)
    grown = next((one.maturity for one in reversed(known.revisions) if one.maturity is not None), None)
    if last is None or (grown is not None and last >= grown):
        return False
    return add_months(last, round(known.protocol.number(LEFT_AFTER))) < known.on


def pairs(known: Known) -> tuple[tuple[Pair, ...], Counter[Why]]:
    """Return every revision beside every later visit, and how many of them were not held together, by why."""
    found, passed = [], Counter[Why]()
    seen = {one.date: one for one in known.seen}
    sides = known.record.child.affected_side
    for revision in known.revisions:
        for visit in known.record.visits:
            if not revision.on < visit.date <= known.on:
                continue
            made = "both_legs" if sides == "both" else _pair(known, revision, visit.date, seen.get(visit.date))
            if isinstance(made, Pair):
                found.append(made)
            else:
                passed[made] += 1
    return tuple(found), passed


def _pair(known: Known, revision: Revision, day: datetime.date, seen: Reading | None) -> Pair | Why:
    if revision.curve is None:
        return "states_no_length"
    read = None if seen is None else _difference(seen)
    if seen is None or read is None:
        return "no_length_seen"
    if _under_way(known, day):
        return "under_way"
    planned, done = _by(known, revision, day)
    if done and not _as_planned(planned, done):
        return "treated_otherwise"
    basis: Basis = "with_plan" if done else "growth"
    p05, p25, p50, p75, p95 = revision.curve.planned(day) if done else revision.curve.natural(day)
    value, error = read
    whole = seen.whole_legs_mm
    long_off = short_off = None
    if whole is not None and (done or not planned):
        long, short = revision.curve.legs(day)
        long_off, short_off = whole[0] - long, whole[1] - short
    low90, high90 = _widened(p05, p50, p95, Z90, error)
    low50, high50 = _widened(p25, p50, p75, Z50, error)
    return Pair(
        revision=revision.number,
        stated_on=revision.on,
        seen_on=day,
        age_years=seen.age_years,
        basis=basis,
        predicted_mm=float(p50),
        low_mm=low90,
        high_mm=high90,
        seen_mm=value,
        within_50=low50 <= value <= high50,
        within_90=low90 <= value <= high90,
        long_off_mm=long_off,
        short_off_mm=short_off,
    )


def _difference(seen: Reading) -> tuple[float, float] | None:
    """Return the difference of a visit and its error (one SD), mm: of all four bones, else as it was entered."""
    whole = seen.whole_legs_mm
    if whole is not None:
        return whole[0] - whole[1], sum(sd**2 for _, sd in seen.lengths.values()) ** 0.5
    return seen.discrepancy


def _widened(low: float, middle: float, high: float, z: float, error: float) -> tuple[float, float]:
    """Return the ends of a band of the leg itself as one of what is read of it: the error of reading adds to it."""
    ends = (((end - middle) / z, sign) for end, sign in ((low, -1), (high, 1)))
    below, above = (middle + sign * z * (spread**2 + error**2) ** 0.5 for spread, sign in ends)
    return float(below), float(above)


def _under_way(known: Known, day: datetime.date) -> bool:
    """Return whether a bone was being lengthened on a day: its length is on its way."""
    return any(
        known.roles.get(one.kind) == "lengthening"
        and one.date <= day
        and (one.device_removed is None or day < one.device_removed)
        for one in known.record.operations
    )


def _by(known: Known, revision: Revision, day: datetime.date) -> tuple[tuple[StatedStage, ...], tuple[Operation, ...]]:
    """Return what for length was planned from a revision to a day, and what was done."""
    planned = tuple(
        one
        for one in revision.stages
        if one.on is not None and one.on <= day and known.roles.get(one.kind) in FOR_LENGTH
    )
    done = tuple(
        one
        for one in known.record.operations
        if revision.on < one.date <= day and (one.achieved_mm is not None or known.roles.get(one.kind) in FOR_LENGTH)
    )
    return planned, done


def _as_planned(planned: Sequence[StatedStage], done: Sequence[Operation]) -> bool:
    return Counter((one.kind, one.side) for one in planned) == Counter((one.kind, one.side) for one in done)


def arrest(known: Known) -> Arrest | None:
    """Return the effect of a child's first growth arrest, stated and seen at the last visit that shows it alone.

    Stated is what the last revision before it says with the plan less what it says without. None where no arrest was
    planned, where it came much earlier or later than planned, where another operation for length lies between, or
    where too little was to be seen yet.
    """
    if known.record.child.affected_side == "both":
        return None
    operations = known.record.operations
    done = next((one for one in operations if known.roles.get(one.kind) == "growth_arrest"), None)
    revision = next((one for one in reversed(known.revisions) if done is not None and one.on < done.date), None)
    if done is None or revision is None or revision.curve is None:
        return None
    stage = next((one for one in revision.stages if (one.kind, one.side) == (done.kind, done.side)), None)
    if stage is None or stage.on is None:
        return None
    if in_months(abs(days_between(stage.on, done.date))) > known.protocol.number(TIMING):
        return None
    last = None
    for seen in known.seen:
        read = _difference(seen)
        if read is None or seen.date <= max(done.date, stage.on):
            continue
        planned, so_far = _by(known, revision, seen.date)
        if not _as_planned(planned, so_far) or len(so_far) != 1 or _under_way(known, seen.date):
            break
        without, with_plan = revision.curve.natural(seen.date)[2], revision.curve.planned(seen.date)[2]
        last = Arrest(float(without - with_plan), float(without - read[0]))
    least = known.protocol.number(LEAST_EFFECT)
    return last if last is not None and last.stated_mm >= least else None


def endings(known: Known) -> Iterator[Ending]:
    """Yield what a child's first revision that states a chance said of its end, and what came."""
    if known.record.child.affected_side == "both":
        return
    revision = next((one for one in known.revisions if one.within_mm and one.maturity is not None), None)
    if revision is None or revision.maturity is None:
        return
    seen = [
        read[0]
        for one in known.seen
        if one.date >= revision.maturity and (read := _difference(one)) is not None and not _under_way(known, one.date)
    ]
    for mm, chance in revision.within_mm.items():
        yield Ending(mm, chance, seen[0] if seen else None, growing=known.on < revision.maturity)
