"""What a clinic says of itself: the calendar that its operations keep to."""

from __future__ import annotations

from pydantic import Field

from pathway.protocol.base import Rule
from pathway.record import BlockedWeeks, SchoolHoliday, Weekday


class ClinicCalendar(Rule):
    """On which weekdays the surgeon operates, which weeks the clinic is closed, and when schools are.

    There is one; a clinic's overlay lays its own over it, a case file may say otherwise for one child. `phone` is the
    number that a family calls, "" where the clinic has entered none.
    """

    operating_weekdays: tuple[Weekday, ...] = Field(min_length=1)
    blocked: tuple[BlockedWeeks, ...] = ()
    school_holidays: tuple[SchoolHoliday, ...] = ()
    phone: str = Field(default="", max_length=40, pattern=r"^[0-9+()/ .-]*$")
