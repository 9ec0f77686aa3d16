"""The table [calendar] of a case file: what holds for this child instead of the clinic's calendar."""

from __future__ import annotations

from typing import TypeVar, get_args

from pathway.casefile.fields import Fields
from pathway.record import BlockedWeeks, CaseCalendar, Dates, SchoolHoliday, Weekday

WISH = "operations_in_school_holidays"
Spans = TypeVar("Spans", bound=Dates)


def read_calendar(fields: Fields) -> CaseCalendar:
    """Return what the table says; each fault is added to the complaints, what is faulty is left out."""
    weekdays = fields.words("operating_weekdays", get_args(Weekday), "weekday")
    if fields.table.get("operating_weekdays") == []:
        do = "name the weekdays, or leave the field out"
        fields.wrong("operating_weekdays", "at least one weekday", do, found="an empty list")
    wish = fields.choice(WISH, ("wished", "not_wished"), "answer")
    blocked = _spans(fields, "blocked", "reason", BlockedWeeks, "the reason in words")
    holidays = _spans(fields, "school_holidays", "name", SchoolHoliday, "the name of the holiday")
    fields.done("the calendar")
    kept = tuple(day for day in weekdays if day in get_args(Weekday)) or None
    return CaseCalendar.model_validate(
        {"operating_weekdays": kept, WISH: wish, "blocked": blocked, "school_holidays": holidays}
    )


def _spans(fields: Fields, key: str, word: str, shape: type[Spans], expected: str) -> tuple[Spans, ...] | None:
    """Return the tables of a list as spans of days, None where the list is not given."""
    spans = []
    for table in fields.tables(key):
        said = table.text(word, expected)
        first, last = table.day("from", required=True), table.day("to", required=True)
        table.done(f"an entry of {key}")
        if first is not None and last is not None and last < first:
            table.wrong("to", f"a date on or after {first.isoformat()}", "correct one of the two dates")
        elif first is not None and last is not None:
            spans.append(shape.model_validate({word: said, "from": first, "to": last}))
    return tuple(spans) if fields.has(key) else None
