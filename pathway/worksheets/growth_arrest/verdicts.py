"""Now, at the next visit, or too late: what each method says of a growth arrest, side by side."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from pathway.days import age_years, day_at_age
from pathway.growth.skeletal_age import SkeletalReading
from pathway.worksheets.case import Case, Inputs
from pathway.worksheets.growth_arrest.methods import opinions_on_timing
from pathway.worksheets.growth_arrest.prevented import CHOICES, Left
from pathway.worksheets.sheet import Cell, Column, Section, Table

Verdict = Literal["too late", "now", "at the next visit", "not yet", "not known"]
OWN = "the child's own projection"
ROUNDED_MM = 0.5
"""Amounts are shown in whole millimetres: less than half of one is no shortfall."""


@dataclass(frozen=True, slots=True)
class Said:
    """What one method says: with which age, the age (calendar, years) for the wanted effect, effects (mm), a verdict.

    `age_years` is None where growth never had, or no longer has, so much left.
    """

    method: str
    age_used: str
    age_years: float | None
    now_mm: float | None
    next_mm: float | None
    verdict: Verdict


def verdict(wanted_mm: float, now_mm: float | None, next_mm: float | None, after_mm: float | None) -> Verdict:
    """Return when to operate by what a closure takes now, at the next visit and at the one after it (mm).

    `now` where the next visit would be too late, `at the next visit` where the one after it would be.
    """
    if now_mm is None or next_mm is None or after_mm is None:
        return "not known"
    least = wanted_mm - ROUNDED_MM
    if now_mm < least:
        return "too late"
    if next_mm < least:
        return "now"
    return "at the next visit" if after_mm < least else "not yet"


def said_by_each(case: Case, inputs: Inputs, left: Mapping[str, Left], reading: SkeletalReading | None) -> list[Said]:
    """Return what each method says of the wanted correction by the chosen plates, the child's own projection first."""
    mm, chosen = inputs.number("correction_mm"), inputs.text("physes")
    at = list(CHOICES).index(chosen)
    today, step = age_years(case.record.child.date_of_birth, case.on), inputs.number("next_visit_months") / 12

    def said(name: str, used: str, age: float | None, taken: Callable[[float], float | None]) -> Said:
        now, following, after = (taken(today + k * step) for k in range(3))
        return Said(name, used, age, now, following, verdict(mm, now, following, after))

    of = left[chosen]
    shifted = case.posterior is not None and case.posterior.bones["femur"].shift_years != 0
    used = "skeletal in part" if shifted else "calendar"
    found = [said(OWN, used, of.age_for(mm), lambda age: of.at(age)[0])]
    for answer in opinions_on_timing(case, mm):
        age = answer.by_calendar(reading)[at]
        taken = _taken(answer.taken_at, reading, at)
        found.append(said(answer.name, answer.age_used(reading), age, taken))
    return found


def _taken(
    of: Callable[[float, SkeletalReading | None], tuple[float | None, float | None, float | None]],
    reading: SkeletalReading | None,
    at: int,
) -> Callable[[float], float | None]:
    return lambda age: of(age, reading)[at]


def next_visit(case: Case, inputs: Inputs) -> datetime.date:
    """Return the day of the next visit."""
    born = case.record.child.date_of_birth
    return day_at_age(born, age_years(born, case.on) + inputs.number("next_visit_months") / 12)


def now_or_later(case: Case, inputs: Inputs, said: list[Said]) -> Section:
    """Return the table of all methods: the day for the wanted effect, effect now and at the next visit, verdict."""
    mm, born = inputs.number("correction_mm"), case.record.child.date_of_birth
    rows: list[tuple[Cell, ...]] = []
    for one in said:
        day = None if one.age_years is None else day_at_age(born, one.age_years)
        when: Cell = day
        if day is None or day < case.on:
            when = "never" if day is None and one.method != OWN else "past"
            when = "today" if one.verdict in ("now", "at the next visit", "not yet") else when
        told: str = one.verdict
        if one.verdict == "too late" and one.now_mm is not None:
            told = f"too late, {mm - one.now_mm:.0f} mm short"
        rows.append((one.method, one.age_used, when, one.now_mm, one.next_mm, told))
    columns = (
        Column(title="method"),
        Column(title="age used"),
        Column(title="day"),
        Column(title="done now", unit="mm"),
        Column(title=f"done {next_visit(case, inputs)}", unit="mm"),
        Column(title="verdict"),
    )
    note = (
        "'now': at the next visit too little growth would be left; 'at the next visit': at the one after it; "
        "'not yet': later than that. 'never': the plates never had that much growth left. 'calendar, not skeletal': "
        "published with skeletal age, worked out with the calendar's for want of one. 'skeletal in part': the "
        "projection follows a skeletal age by a share of its difference from the calendar."
    )
    title = f"The day for {mm:g} mm by each method"
    table = Table(title=title, columns=columns, rows=tuple(rows), note=note, marked=(0,))
    return Section(title="Now or later", tables=(table,))


def disagreement(said: list[Said]) -> Iterator[str]:
    """Yield a sentence where the methods differ in their verdict."""
    counts = Counter(one.verdict for one in said)
    if len(counts) > 1:
        told = ", ".join(f"{word} by {count}" for word, count in counts.items())
        yield f"The methods disagree on when to operate: {told} of {len(said)}. Decide with all of them in view."
