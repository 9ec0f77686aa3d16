"""What family and team wish of the course, read from their decisions."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pathway.record import Decision, Record

Road = Literal["lengthening", "prosthetic"]
"""A road that family or team may choose."""

PREFERENCE_LABELS: Mapping[str, str] = {
    "fewest_operations": "Fewest operations matter most",
    "least_device_time": "Least time with a device matters most",
    "shortest_time_different": "Shortest time with unequal legs matters most",
    "smallest_steps": "Small lengthenings matter most",
    "no_growth_arrest": "No growth arrest",
    "prosthesis": "A prosthesis rather than lengthening",
    "lengthening": "Lengthening rather than a prosthesis",
}
ROADS: Mapping[str, Road] = {"prosthesis": "prosthetic", "lengthening": "lengthening"}
"""The preferences that choose a road; the last one counts, and a course that was chosen counts before it."""
PROSTHETIC_COURSE = "prosthetic_road"
"""The id of the course that offers a prosthesis instead of lengthening."""
"""What a `prefer` decision may ask for, with the words of the screens."""
PREFERENCES = tuple(PREFERENCE_LABELS)
"""All of them. Those about weights have their set in the rules; `no_growth_arrest` and a road are simply kept to."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """The wishes in force; of a kind that can be wished once, the last one counts.

    `device_free` are spans of days in which no device may be on the bone, `finish_before` the day by which all
    devices are off and the growth arrest is done, `at_most_lengthenings` how many may still come,
    `lift_at_most_mm` the highest lift; `prefer` names preferences, `declined` stages; `course` and
    `road` are what was chosen.
    """

    device_free: tuple[tuple[datetime.date, datetime.date], ...] = ()
    finish_before: datetime.date | None = None
    at_most_lengthenings: int | None = None
    lift_at_most_mm: float | None = None
    prefer: frozenset[str] = frozenset()
    declined: frozenset[str] = frozenset()
    course: str | None = None
    road: Road | None = None

    def device_ends_in_time(self, start: datetime.date, end: datetime.date) -> bool:
        """Return whether a device from `start` to `end` keeps to the wishes."""
        meets = any(start <= last and end >= first for first, last in self.device_free)
        return not meets and (self.finish_before is None or end < self.finish_before)


def wishes_of(record: Record) -> Wishes:
    """Return the wishes that the decisions of a record hold."""

    def of(kind: str) -> list[Decision]:
        return [decision for decision in record.decisions if decision.kind == kind]

    def last(kind: str) -> Decision | None:
        return next(reversed(of(kind)), None)

    finish, number, lift, chosen = (
        last(kind) for kind in ("finish_before", "at_most_lengthenings", "lift_at_most", "choose_course")
    )
    return Wishes(
        device_free=tuple((d.from_date, d.to_date) for d in of("no_device") if d.from_date and d.to_date),
        finish_before=finish.before if finish else None,
        at_most_lengthenings=number.number if number else None,
        lift_at_most_mm=lift.mm if lift else None,
        prefer=frozenset(d.prefer for d in of("prefer") if d.prefer),
        declined=frozenset(d.stage for d in of("decline") if d.stage),
        course=chosen.course if chosen else None,
        road=_road(chosen.course if chosen else None, [d.prefer for d in of("prefer") if d.prefer]),
    )


def _road(course: str | None, preferred: list[str]) -> Road | None:
    if course is not None:
        return "prosthetic" if course == PROSTHETIC_COURSE else "lengthening"
    return next((ROADS[name] for name in reversed(preferred) if name in ROADS), None)
