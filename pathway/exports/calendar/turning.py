"""One lengthening as entries of a calendar: its days and weeks of turning, and every visit until the device is off."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.exports.calendar.agenda import Clinic, Entry, Reminder, entry_words, on_open_day, reminder
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.views.words.wording import Wording
from pathway.worksheets.lengthening.calendar import visit_kinds
from pathway.worksheets.lengthening.worked import WEEK, Made

QUARTERS = 4
"""Turns are named to the quarter of an hour."""


def part_of(stage: str) -> str:
    """Return the name of the part of a calendar that holds the days of one lengthening."""
    return f"lengthening {stage}"


def turning_agenda(plan: Plan, stage: PlanStage, made: Made, clinic: Clinic) -> tuple[Entry, ...]:
    """Return the days still to be turned, a page for each week of them, and the visits, as the worksheet has them.

    While a film must be repeated there is nothing but that, said on the day of the sheet. A day is named by its number
    after the operation: an operation that moves takes its days along. The week says when to call at once, and whom.
    """
    if made.given.held:
        return _held(plan, stage, made, clinic)
    found = [*_turns(plan, stage, made, clinic), *_weeks(plan, stage, made, clinic), *_seen(plan, stage, made, clinic)]
    return tuple(sorted(found, key=lambda entry: (entry.day, entry.key)))


def _held(plan: Plan, stage: PlanStage, made: Made, clinic: Clinic) -> tuple[Entry, ...]:
    """Return the one entry while a film must be repeated, on the day of the sheet: do not turn, call the clinic."""
    words, day = clinic.words, made.case.on
    phone = clinic.protocol.clinic_calendar.phone
    call = words.say("calendar.phone", phone=phone) if phone else words.say("calendar.no_phone")
    title = words.say("calendar.held", child=plan.child.id)
    said = entry_words(plan, words, _number(stage, made, day, words), words.say("calendar.held_why"), call)
    return (Entry(f"{stage.id}/held", part_of(stage.id), "turning", day, title, said),)


def turn_hours(turns: int, protocol: Protocol) -> tuple[datetime.time, ...]:
    """Return the hours of a day's turns: evenly over the hours in which a child is awake, one alone in the morning."""
    first, last = protocol.number("turning_from_hour"), protocol.number("turning_until_hour")
    apart = (last - first) / (turns - 1) if turns > 1 else 0.0
    quarters = [round(QUARTERS * (first + turn * apart)) for turn in range(turns)]
    return tuple(datetime.time(n // QUARTERS, n % QUARTERS * (60 // QUARTERS)) for n in quarters)


def _turns(plan: Plan, stage: PlanStage, made: Made, clinic: Clinic) -> Iterator[Entry]:
    words, whole = clinic.words, clinic.words.cm(float(made.given.amount_mm))
    for day in made.course.days:
        name = "calendar.turns_last" if day is made.course.days[-1] else "calendar.turns"
        title = words.say(name, child=plan.child.id, count=day.turns, mm=_mm(float(day.mm), words))
        hours = turn_hours(day.turns, clinic.protocol)
        said = entry_words(
            plan,
            words,
            _number(stage, made, day.date, words),
            words.say("calendar.turn_hours", hours=words.joined([words.clock(hour) for hour in hours]))
            if hours
            else "",
            words.say("calendar.reached", reached=_mm(float(day.reached_mm), words), whole=whole),
            words.say("calendar.check_film"),
        )
        alarms = tuple(
            Reminder(
                datetime.timedelta(hours=hour.hour, minutes=hour.minute),
                words.say("calendar.turn_now", child=plan.child.id, number=n, count=len(hours)),
            )
            for n, hour in enumerate(hours, start=1)
        )
        key = f"{stage.id}/turn/{(day.date - made.given.operation).days}"
        yield Entry(key, part_of(stage.id), "turning", day.date, title, said, False, alarms)


def _weeks(plan: Plan, stage: PlanStage, made: Made, clinic: Clinic) -> Iterator[Entry]:
    """Yield an entry for each week of turning, by the weeks since its first day: when to call at once, and whom."""
    words = clinic.words
    signs = [
        words.of_rule("stop_rules", rule.id, rule.family_words or "")
        for rule in clinic.protocol.stop_rules
        if rule.stage == stage.kind and rule.family_words
    ]
    told = [words.say("calendar.point", what=sign) for sign in signs]
    phone = clinic.protocol.clinic_calendar.phone
    call = words.say("calendar.phone", phone=phone) if phone else words.say("calendar.no_phone")
    numbered: dict[int, datetime.date] = {}
    for day in made.course.days:
        number = (day.date - made.course.first_turn).days // WEEK + 1
        numbered.setdefault(number, day.date)
    for number, first in numbered.items():
        title = words.say("calendar.week", child=plan.child.id, number=number)
        said = entry_words(plan, words, *((words.say("calendar.signs"), *told) if told else ()), call)
        yield Entry(f"{stage.id}/week/{number}", part_of(stage.id), "turning", first, title, said)


def _seen(plan: Plan, stage: PlanStage, made: Made, clinic: Clinic) -> Iterator[Entry]:
    words = clinic.words
    for due, kind in visit_kinds(made.case, made.inputs, made.given, made.course):
        day, moved = on_open_day(due, clinic)
        said = entry_words(plan, words, _number(stage, made, day, words), *moved)
        title = words.say("calendar.planned", child=plan.child.id, name=words.say(f"calendar.visit_{kind}"))
        key = f"{stage.id}/visit/{(due - made.given.operation).days}"
        yield Entry(key, part_of(stage.id), "visit", day, title, said, False, reminder("visit", title, clinic))


def _number(stage: PlanStage, made: Made, day: datetime.date, words: Wording) -> str:
    number = (day - made.given.operation).days
    return words.say("calendar.day_number", number=number, side=words.say(stage.side))


def _mm(value: float, words: Wording) -> str:
    """Return a length in mm with as many decimals as it has."""
    return words.number(value, len(f"{value:g}".partition(".")[2]))
