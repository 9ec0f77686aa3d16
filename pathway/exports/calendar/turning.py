"""One lengthening as entries of a calendar: every day of turning and every visit until the device is off."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.exports.calendar.agenda import Entry, entry_words
from pathway.plan.model import Plan, PlanStage
from pathway.views.words.plan import cm_words
from pathway.worksheets.lengthening.calendar import clinic_days
from pathway.worksheets.lengthening.sections import Made
from pathway.worksheets.sheet import CHECK_THE_RADIOGRAPH


def part_of(stage: str) -> str:
    """Return the name of the part of a calendar that holds the days of one lengthening."""
    return f"lengthening {stage}"


def turning_agenda(plan: Plan, stage: PlanStage, made: Made) -> tuple[Entry, ...]:
    """Return the days still to be turned and the visits of a lengthening, as its worksheet has them.

    A day is named by its number after the operation: an operation that moves takes its days along.
    """
    found = [*_turns(plan, stage, made), *_seen(plan, stage, made)]
    return tuple(sorted(found, key=lambda entry: (entry.day, entry.key)))


def _turns(plan: Plan, stage: PlanStage, made: Made) -> Iterator[Entry]:
    for day in made.course.days:
        number = (day.date - made.given.operation).days
        last = " (last day)" if day is made.course.days[-1] else ""
        title = f"{plan.child.id}: {day.turns} turns, {float(day.mm):g} mm{last}"
        reached = f"Reached by the evening: {float(day.reached_mm):g} mm of {cm_words(float(made.given.amount_mm))}."
        yield Entry(
            f"{stage.id}/turn/{number}",
            part_of(stage.id),
            "turning",
            day.date,
            title,
            entry_words(plan, f"Day {number} after the operation, {stage.side} leg.", reached, CHECK_THE_RADIOGRAPH),
        )


def _seen(plan: Plan, stage: PlanStage, made: Made) -> Iterator[Entry]:
    for day, what in clinic_days(made.case, made.inputs, made.given, made.course):
        number = (day - made.given.operation).days
        words = entry_words(plan, f"Day {number} after the operation, {stage.side} leg.")
        title = f"{plan.child.id}: {what} (planned)"
        yield Entry(f"{stage.id}/visit/{number}", part_of(stage.id), "visit", day, title, words)
