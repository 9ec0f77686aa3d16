"""The phases of one lengthening: latency, distraction, consolidation, protection, free walking. Days, no words."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from fractions import Fraction

from pathway.protocol.model import Bone, Protocol, Table
from pathway.worksheets.lengthening.distraction import Turning, exact
from pathway.worksheets.lengthening.ledger import Ledger
from pathway.worksheets.lengthening.visits import Then

RATE = {"femur": "distraction_mm_per_day", "tibia": "tibia_distraction_mm_per_day"}
"""The rule with the usual rate of each bone."""


@dataclass(frozen=True, slots=True)
class Span:
    """Low, middle and high of something uncertain, in the unit of its name."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True, slots=True)
class Seen:
    """The last visit up to the day of the sheet, on `on`: turned in all by then, and the last day of turning so far.

    `film_mm`: the gap on its film, from which all is planned where more than the amount was turned.
    """

    on: datetime.date
    reached_mm: Fraction
    ended: datetime.date | None
    film_mm: Fraction | None = None

    @property
    def gain_mm(self) -> Fraction:
        """Return the gain that what follows is planned from, mm."""
        return self.reached_mm if self.film_mm is None else self.film_mm


@dataclass(frozen=True, slots=True)
class Follows:
    """What holds from the last visit on: no turns until the next one (`pause`), for good (`stop`), or a rate, mm a day.

    `against`: in words, what is ordered against the rule of what was found; "" for nothing.
    """

    then: Then
    rate_mm_per_day: Fraction | None = None
    against: str = ""


@dataclass(frozen=True, slots=True)
class LengtheningInputs:
    """What the course is worked out from: lengths in mm, days, days for each cm, weeks.

    `holds_inside`: a nail or plate holds the bone once the length is reached; `off_at_length`: a frame comes off then.
    `rate_mm_per_day` and `turn_mm` are those of the beginning, `ahead` what was turned by the last visit and what is
    ordered from then on. `held`: a film forbids another turn until it is repeated; `joint_out`: hip or knee is out of
    joint, and a frame stays to protect it.
    """

    bone: Bone
    amount_mm: Fraction
    operation: datetime.date
    latency_days: int
    rate_mm_per_day: Fraction
    turn_mm: Fraction
    index: Span
    protected_weeks: Span
    weight_weeks: Span
    ahead: Ledger
    seen: Seen | None = None
    holds_inside: bool = False
    off_at_length: bool = False
    follows: Follows | None = None
    held: bool = False
    joint_out: bool = False

    @property
    def off_known(self) -> bool:
        """Return whether a day can be told on which the device comes off, or the bone is solid around it."""
        return not self.held and (self.holds_inside or not self.joint_out)


@dataclass(frozen=True, slots=True)
class Phases:
    """The dated course: `days` still to be turned, `gain_mm` at their end, and the bands of what follows.

    `removal` and `walking` are days after the operation.
    """

    first_turn: datetime.date
    days: tuple[Turning, ...]
    end: datetime.date
    gain_mm: Fraction
    consolidation: Span
    removal: Span
    walking: Span


def phases(given: LengtheningInputs, protocol: Protocol) -> Phases:
    """Return the course. At the protocol's rest and rate the device is on for the index times the gain.

    Another rate moves the end of distraction and leaves the days of consolidation as they are: an index is rest and
    distraction for each cm, and maturation. So a slower rate can only make the device stay longer.
    """
    first = given.operation + datetime.timedelta(days=given.latency_days + 1)
    days = tuple(day for day in given.ahead.days() if given.seen is None or day.date > given.seen.on)
    gain = days[-1].reached_mm if days else given.seen.gain_mm if given.seen else Fraction(0)
    last = days[-1].date if days else (given.seen.ended if given.seen else None) or first
    usual = protocol.number("lengthening_latency_days") + float(gain) / protocol.number(RATE[given.bone])
    consolidation = Span(*(max(index * float(gain) / 10 - usual, 0.0) for index in _ordered(given.index)))
    until_end = (last - given.operation).days
    removal = Span(*(until_end + days for days in (consolidation.low, consolidation.mid, consolidation.high)))
    after = [7 * (a + b) for a, b in zip(_ordered(given.protected_weeks), _ordered(given.weight_weeks), strict=True)]
    walking = Span(removal.low + after[0], removal.mid + after[1], removal.high + after[2])
    return Phases(first, days, last, gain, consolidation, removal, walking)


def _ordered(span: Span) -> tuple[float, float, float]:
    return (span.low, span.mid, span.high)


def published_index(table: Table, bone: str) -> tuple[tuple[str | float, ...], ...]:
    """Return the rows of the index table for a bone."""
    return tuple(row for row in table.rows if row[table.columns.index("bone")] == bone)


def index_span(protocol: Protocol, bone: str, mid: float) -> Span:
    """Return the healing index of a bone: `mid`, and the lowest and highest published mean of children, days/cm.

    Where `mid` is not the usual one, the ends move with it in the same proportion.
    """
    table = protocol.table("healing_index")
    at, counts = table.columns.index("days_per_cm"), table.columns.index("counts")
    means = [float(row[at]) for row in published_index(table, bone) if row[counts] == "yes"]
    usual = protocol.number(f"{bone}_days_per_cm")
    return moved(Span(min(*means, usual), usual, max(*means, usual)), mid)


def moved(span: Span, mid: float) -> Span:
    """Return a span around another middle, its ends moved in the same proportion."""
    return Span(span.low * mid / span.mid, mid, span.high * mid / span.mid)


def callus_index(protocol: Protocol, callus: str) -> float | None:
    """Return the published fixator index (days/cm) of a femur with that callus; None for one without a figure."""
    rows = {str(row[0]): float(row[1]) for row in protocol.table("healing_by_callus").rows}
    return rows.get(callus)


def slow_steps(protocol: Protocol) -> tuple[Fraction, ...]:
    """Return the rates to slow down to, mm a day, in the order of the protocol's stop rules."""
    return tuple(exact(protocol.number(f"distraction_slow_{k}_mm_per_day")) for k in (1, 2, 3))
