"""The calendar of one lengthening: every day of turning, and the visits from the first turn to removal."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from typing import Literal

from pathway.worksheets.case import Case, Inputs
from pathway.worksheets.lengthening.distraction import weekday
from pathway.worksheets.lengthening.phases import LengtheningInputs, Phases
from pathway.worksheets.sheet import Column, Section, Table

VisitKind = Literal["first", "turning", "end", "frame_off", "healing", "off", "weight"]
VISIT_WORDS: Mapping[VisitKind, str] = {
    "first": "first film: does the gap open?",
    "turning": "clinic and film",
    "end": "end of distraction: film",
    "frame_off": "end of distraction: film; the frame may come off, what is inside holds the bone",
    "healing": "film: new bone, axis",
    "off": "device off, if the bone is solid",
    "weight": "full weight, if the bone is solid",
}
"""What each visit of a lengthening is for."""
ONLY_IF = (
    "only if the film repeated shows that the gap follows the turns; until then nothing is turned, and no day is told"
)
"""What is said in the place of every day that a film leaves open."""


def calendar(case: Case, inputs: Inputs, given: LengtheningInputs, course: Phases) -> Section:
    """Return every day still to be turned: turns, mm, gain by the evening, visit, therapy."""
    number = case.protocol.number
    sessions = int(number("therapy_distraction_per_week"))
    seen_on = {date for date, _ in clinic_days(case, inputs, given, course)}
    rows = []
    for day in course.days:
        what = ["clinic, film"] if day.date in seen_on else []
        if day.date.weekday() < sessions:
            what.append("therapy")
        if day is course.days[-1]:
            what.append("last")
        number_of_day = (day.date - given.operation).days
        cells = (number_of_day, day.date, day.turns, float(day.mm), float(day.reached_mm), ", ".join(what))
        rows.append(cells)
    columns = (
        Column(title="day"),
        Column(title="date"),
        Column(title="turns"),
        Column(title="mm", places=2),
        Column(title="reached", unit="mm", places=2),
        Column(title=""),
    )
    used = ("therapy_distraction_per_week", "therapy_home_per_day", "lengthening_clinic_days", "lengthening_turn_mm")
    home = number("therapy_home_per_day")
    note = f"Home exercises {home:g} times a day, also on days without a session. Day 0 is the operation."
    table = Table(
        title="Day by day",
        columns=columns,
        rows=tuple(rows),
        note=note,
        sources=tuple(dict.fromkeys(id for used_id in used for id in case.protocol.value(used_id).sources)),
        marked=tuple(k for k, row in enumerate(rows) if "clinic" in str(row[-1])),
    )
    none = f"No turns: they go on {ONLY_IF}." if given.held else "No turns left: distraction has ended."
    words = () if rows else (none,)
    return Section(title="Calendar of turns", words=words, tables=(table,) if rows else ())


def visits(case: Case, inputs: Inputs, given: LengtheningInputs, course: Phases) -> Section:
    """Return the visits until removal, with the gain that each should see; none while a film must be repeated."""
    if given.held:
        words = "First the film is repeated and the child and the device are examined."
        return Section(title="Visits", words=(words, f"Later visits are planned {ONLY_IF}."))
    reached = {day.date: float(day.reached_mm) for day in course.days}
    rows: list[tuple[int, datetime.date, float, str]] = []
    gain = float(given.seen.gain_mm) if given.seen else 0.0
    gains = sorted(reached.items())
    for date, what in clinic_days(case, inputs, given, course):
        so_far = [mm for day, mm in gains if day <= date]
        rows.append(((date - given.operation).days, date, so_far[-1] if so_far else gain, what))
    columns = (
        Column(title="day"),
        Column(title="date"),
        Column(title="gap expected", unit="mm", places=2),
        Column(title="what"),
    )
    sessions = case.protocol.value("therapy_consolidation_per_week")
    off = [given.operation + datetime.timedelta(days=round(d)) for d in (course.removal.low, course.removal.high)]
    ends = "The new bone is solid" if given.holds_inside else "The device comes off"
    when = (
        f"{ends} between {off[0]} and {off[1]} once bone is seen on 3 of 4 sides: visits after the "
        "middle of that band are added as needed."
        if given.off_known
        else "The frame protects the joint: the surgeon sets the day on which it comes off, and the visits until then."
    )
    note = f"{when} Therapy while the bone hardens: {sessions.low:g} to {sessions.high:g} sessions a week."
    used = ("lengthening_first_film_days", "lengthening_clinic_days", "consolidation_clinic_days", sessions.id)
    sources = tuple(dict.fromkeys(id for used_id in used for id in case.protocol.value(used_id).sources))
    table = Table(title="Visits", columns=columns, rows=tuple(rows), note=note, sources=sources)
    return Section(title="Visits", tables=(table,))


def clinic_days(
    case: Case, inputs: Inputs, given: LengtheningInputs, course: Phases
) -> tuple[tuple[datetime.date, str], ...]:
    """Return the visits in order, on weekdays, each with what it is for; those before the last one seen left out."""
    return tuple((day, VISIT_WORDS[kind]) for day, kind in visit_kinds(case, inputs, given, course))


def visit_kinds(
    case: Case, inputs: Inputs, given: LengtheningInputs, course: Phases
) -> tuple[tuple[datetime.date, VisitKind], ...]:
    """Return the same visits by their kind; none while a film must be repeated."""
    if given.held:
        return ()
    found = dict(_planned(case, inputs, given, course))
    after = given.seen.on if given.seen is not None else given.operation
    return tuple(sorted((day, kind) for day, kind in found.items() if day > after))


def _planned(
    case: Case, inputs: Inputs, given: LengtheningInputs, course: Phases
) -> Iterator[tuple[datetime.date, VisitKind]]:
    every, later = int(inputs.number("clinic_days")), int(inputs.number("later_clinic_days"))
    off = given.operation + datetime.timedelta(days=round(course.removal.mid))
    step = datetime.timedelta(days=later)
    day = course.end + step
    while day < off:
        yield weekday(day), "healing"
        day += step
    frame_off = given.off_at_length and not given.joint_out
    yield weekday(course.end), "frame_off" if frame_off else "end"
    start = given.seen.on if given.seen is not None else course.first_turn
    if given.seen is None:
        first = int(case.protocol.number("lengthening_first_film_days"))
        yield weekday(start + datetime.timedelta(days=first)), "first"
    day = start + datetime.timedelta(days=every)
    while day < course.end:
        yield weekday(day), "turning"
        day += datetime.timedelta(days=every)
    if given.off_known:
        yield weekday(off), "weight" if given.holds_inside else "off"
