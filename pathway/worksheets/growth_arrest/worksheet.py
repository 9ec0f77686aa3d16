"""The worksheet of a growth arrest of the long leg: when, by which growth plates, and what a missed date costs."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pathway.courses.course import PLATES
from pathway.days import age_words, day_at_age
from pathway.growth import Posterior, arrest_takes
from pathway.growth.reference_curves import Floats
from pathway.growth.skeletal_age import SkeletalReading, read_near
from pathway.protocol.model import Role, Value
from pathway.protocol.question import Question
from pathway.protocol.roles import kinds_of, role_of
from pathway.protocol.skeletal_methods import read_words
from pathway.rule_engine.findings import Known
from pathway.worksheets.case import Case, Inputs, blank, from_rule, made, set_by_hand
from pathway.worksheets.growth_arrest.methods import opinions_on_timing
from pathway.worksheets.sheet import Column, Input, Kind, Line, Origin, Section, Sheet, Table, Warning, problem

KIND: Kind = "growth-arrest"
ROLE: Role = "growth_arrest"
CHOICES: Mapping[str, tuple[str, ...]] = {
    "distal_femur": (PLATES["femur"],),
    "proximal_tibia": (PLATES["tibia"],),
    "both": (PLATES["femur"], PLATES["tibia"]),
}
"""The growth plates that may be closed, by the name under which they are chosen."""
WORDS = {"distal_femur": "distal femur", "proximal_tibia": "proximal tibia", "both": "both knee plates"}
STEPS_A_YEAR = 4
SHIFTS = (-2, -1, 0, 1, 2)


@dataclass(frozen=True, slots=True)
class Left:
    """The growth that closing some plates would still prevent: draws (m, n) and the middle (n,), mm, at ages (n,).

    It never rises with age: what has grown cannot be prevented.
    """

    ages: Floats
    draws: Floats
    middle: Floats

    def age_for(self, mm: float) -> float | None:
        """Return the age (years) at which the middle projection has just `mm` left; None where it never had."""
        age = float(_crossing(self.ages, self.middle[None, :], mm)[0])
        return None if math.isnan(age) else age

    def ages_for(self, mm: float) -> Floats:
        """Return that age in every draw (m,), not a number where it is past."""
        return _crossing(self.ages, self.draws, mm)

    def at(self, age: float) -> tuple[float, Floats]:
        """Return the middle and the draws of what is still prevented when the plates are closed at an age, mm."""
        k = int(np.clip(np.searchsorted(self.ages, age, side="right") - 1, 0, len(self.ages) - 2))
        part = min(max((age - self.ages[k]) / (self.ages[k + 1] - self.ages[k]), 0.0), 1.0)
        draws: Floats = self.draws[:, k] + part * (self.draws[:, k + 1] - self.draws[:, k])
        return float(self.middle[k] + part * (self.middle[k + 1] - self.middle[k])), draws


def _crossing(ages: Floats, left: Floats, mm: float) -> Floats:
    # Rows fall: the last age with at least `mm` left, and a straight line to the next.
    enough = (left >= mm).sum(axis=1)
    k = np.clip(enough - 1, 0, left.shape[1] - 2)
    rows = np.arange(len(left))
    high, low = left[rows, k], left[rows, k + 1]
    part = np.where(high > low, (high - mm) / np.where(high > low, high - low, 1.0), 0.0)
    found: Floats = np.where(enough > 0, ages[k] + np.clip(part, 0.0, 1.0) * (ages[k + 1] - ages[k]), np.nan)
    return found


def growth_left(posterior: Posterior) -> Mapping[str, Left]:
    """Return what each choice of plates of the long leg would still prevent, from the day of the projection on."""
    last = max(posterior.mature_age_years, posterior.age_years) + 1.0
    grown_up = max(
        *(float(of.bones[bone].knots[-1]) for of in (posterior, posterior.central()) for bone in PLATES), last
    )
    ages = np.append(np.arange(posterior.age_years, last, 1 / STEPS_A_YEAR), grown_up + 1.0)
    draws, middle = _prevented(posterior, ages), _prevented(posterior.central(), ages)
    left = {}
    for name, physes in CHOICES.items():
        both = [sum((of[plate] for plate in physes), np.zeros(1)) for of in (draws, middle)]
        left[name] = Left(ages, both[0], both[1][0])
    return left


def _prevented(posterior: Posterior, ages: Floats) -> Mapping[str, Floats]:
    found = {}
    for plate in PLATES.values():
        found[plate] = np.minimum.accumulate(arrest_takes(posterior, plate, ages), axis=1)
    return found


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the worksheet of a growth arrest; the growth of the child comes from the case's posterior.

    Raises Refused for inputs that are missing or not plausible, and where no leg length was ever measured.
    """
    inputs = set_by_hand(KIND, _inputs(case), settings)
    mm, chosen = inputs.number("correction_mm"), inputs.text("physes")
    if case.posterior is None:
        do = "enter femur and tibia of both legs at a visit"
        raise problem(KIND, "growth", "no leg length at any visit", "at least one measured length", do)
    left = growth_left(case.posterior)
    title = f"Growth arrest of the long leg, {mm:g} mm by {WORDS[chosen]}"
    parts = (
        _when(case, left, mm, chosen),
        _beside(case, mm, chosen),
        _early_or_late(case, inputs, left[chosen], mm),
        _costs(case, mm, chosen),
    )
    told = _warnings(case, left, mm, chosen)
    return made(case, inputs, title, parts, told, side=case.record.other_side, stages=kinds_of(ROLE, case.protocol))


def _inputs(case: Case) -> list[Input]:
    stage = case.stage
    amount = stage.amount_mm if stage is not None else None
    origin: Origin = "plan" if amount is not None else "none"
    planned = set(stage.physes) if stage is not None else set()
    by_plan = next((name for name, physes in CHOICES.items() if set(physes) == planned), None)
    first = case.protocol.diagnosis(case.record.child.diagnosis).bones
    usual = PLATES[first[0] if first else "femur"]
    physes = Input(
        name="physes",
        label="growth plates closed",
        kind="choice",
        choices=tuple(CHOICES),
        value=by_plan or usual,
        origin="plan" if by_plan else "protocol",
        sources=() if by_plan else ("bowen_2001",),
        note="" if by_plan else "the plate of the short bone first, so that the knees end up level",
    )
    correction = blank(
        case, "worksheet_length_most_mm", "correction_mm", "correction wanted", value=amount, origin=origin
    )
    return [correction, physes, from_rule(case, "arrest_shift_months", "early or late by", name="shift_months")]


def _day(case: Case, age: float) -> datetime.date:
    return day_at_age(case.record.child.date_of_birth, age)


def _band(ages: Floats, now: float) -> tuple[float, float, float]:
    """Return the ages below which 5 and 95 of 100 draws lie, and the share of draws whose age is past."""
    # A draw whose age is past counts as today: the operation cannot be earlier.
    past = np.isnan(ages)
    low, high = np.quantile(np.where(past, now, ages), (0.05, 0.95))
    return float(low), float(high), float(past.mean())


def _when(case: Case, left: Mapping[str, Left], mm: float, chosen: str) -> Section:
    now = case.posterior.age_years if case.posterior is not None else 0.0
    rows: list[tuple[str | datetime.date | None, ...]] = []
    for name, of in left.items():
        age = of.age_for(mm)
        low, high, late = _band(of.ages_for(mm), now)
        if age is None:
            rows.append((WORDS[name], "too late", None, None, None, f"{100 * late:.0f} of 100"))
            continue
        dates = (_day(case, age), _day(case, low), _day(case, high))
        rows.append((WORDS[name], age_words(age), *dates, f"{100 * late:.0f} of 100"))
    columns = (
        Column(title="growth plates"),
        Column(title="age"),
        Column(title="date"),
        Column(title="5 of 100"),
        Column(title="95 of 100"),
        Column(title="too late"),
    )
    note = (
        "Between the last two dates lie 90 of 100 possible futures of this child; in some the date has already passed."
    )
    table = Table(
        title=f"When closure would still prevent {mm:g} mm of growth",
        columns=columns,
        rows=tuple(rows),
        note=note,
        marked=(list(left).index(chosen),),
    )
    last = left["both"].age_for(mm)
    least = case.protocol.value("arrest_least_mm")
    none_left = left["both"].age_for(least.value)
    lines = [
        Line(
            label="Last useful date, by both plates",
            value=None if last is None else _day(case, last),
            note="past: the plates have less growth left" if last is None else f"at {age_words(last)}",
            strong=True,
        ),
        Line(
            label=f"Last date for {least.value:g} mm by both plates",
            value=None if none_left is None else _day(case, none_left),
            note=least.because,
            sources=least.sources,
        ),
    ]
    return Section(title="When", lines=tuple(lines), tables=(table,))


def _beside(case: Case, mm: float, chosen: str) -> Section:
    rows: list[tuple[str | datetime.date | None, ...]] = []
    cited = dict[str, None]()
    reading = read_near(Question(case.record, case.protocol, case.on), case.on)
    for answer in opinions_on_timing(case, mm):
        ages = answer.by_calendar(reading)
        by = "skeletal" if answer.skeletal and reading is not None else "calendar"
        at = ages[list(CHOICES).index(chosen)]
        words = ("none" if age is None else age_words(age) for age in ages)
        day = None if at is None else _day(case, at)
        rows.append((answer.name, by, *words, "past" if day is not None and day < case.on else day))
        cited.update(dict.fromkeys(answer.sources))
    plates = (Column(title=WORDS[name]) for name in CHOICES)
    columns = (Column(title="method"), Column(title="age used"), *plates, Column(title=f"date, {WORDS[chosen]}"))
    note = (
        "Calendar age at operation. The methods disagree: do not rely on one alone. "
        "'none': the plates never had that much growth left. " + _age_used(case, reading)
    )
    table = Table(title="Classical methods", columns=columns, rows=tuple(rows), note=note, sources=tuple(cited))
    return Section(title="For comparison", tables=(table,))


def _age_used(case: Case, reading: SkeletalReading | None) -> str:
    if reading is None:
        return (
            "No usable skeletal age is recent enough: every method uses the calendar age, although all but the "
            "multiplier method were published with skeletal age."
        )
    ahead = "ahead of" if reading.offset_years >= 0 else "behind"
    return (
        f"Skeletal age was {reading.years:.1f} years on {reading.date} ({read_words(case.protocol, reading.method)}), "
        f"{abs(reading.offset_years):.1f} years {ahead} the calendar. Methods published with skeletal age use it; "
        "their dates assume that this difference stays the same. The multiplier method was published by calendar age."
    )


def _early_or_late(case: Case, inputs: Inputs, of: Left, mm: float) -> Section:
    age, months = of.age_for(mm), inputs.number("shift_months")
    if age is None:
        return Section(title="Early or late", words=("The date is past for these plates.",))
    rows = []
    for k in SHIFTS:
        at = age + k * months / 12
        if at < of.ages[0]:
            continue
        middle, draws = of.at(at)
        low, high = np.quantile(draws, (0.05, 0.95))
        when = "on the day" if k == 0 else f"{abs(k) * months:g} months {'early' if k < 0 else 'late'}"
        rows.append((when, _day(case, at), middle, float(low), float(high), middle - mm))
    columns = (
        Column(title="done"),
        Column(title="date"),
        Column(title="corrects", unit="mm"),
        Column(title="5 of 100"),
        Column(title="95 of 100"),
        Column(title="off by", unit="mm"),
    )
    table = Table(title="Effect of operating early or late", columns=columns, rows=tuple(rows))
    return Section(title="Early or late", tables=(table,))


def _costs(case: Case, mm: float, chosen: str) -> Section:
    ids = ["arrest_screws_femur_percent", "arrest_screws_femur_late_percent"]
    ids += ["arrest_screws_tibia_percent", "arrest_screws_tibia_late_percent"]
    wanted = [id for id in ids if chosen == "both" or ("femur" in id) == (chosen == "distal_femur")]
    height = Line(
        label="Adult height lost",
        value=mm,
        unit="mm",
        note="the long leg ends up that much shorter; this cannot be undone",
        strong=True,
    )
    lines = [height, *(_efficacy(case.protocol.value(id)) for id in wanted)]
    revised = case.protocol.value("arrest_revised_percent")
    again = Line(label="Repeated after failure", value=revised.value, unit="of 100", places=1, note=revised.because)
    lines.append(again.model_copy(update={"sources": revised.sources}))
    return Section(title="Cost and reliability", lines=tuple(lines))


def _efficacy(value: Value) -> Line:
    plate = "distal femur" if "femur" in value.id else "proximal tibia"
    spread = None if value.low is None or value.high is None else (value.low, value.high)
    label = f"Share of the expected effect achieved, {plate}"
    return Line(label=label, value=value.value, unit="%", spread=spread, note=value.because, sources=value.sources)


def _warnings(case: Case, left: Mapping[str, Left], mm: float, chosen: str) -> Iterator[Warning]:
    most = case.protocol.value("arrest_most_mm")
    if mm > most.value:
        text = f"{mm:g} mm: more than {most.value:g} mm. {most.because}"
        yield Warning(text=text, rule=most.id, sources=most.sources, stop=True)
    if left[chosen].age_for(mm) is None:
        best = float(left[chosen].middle[0])
        text = f"Too late: closing the {WORDS[chosen]} today would correct about {best:.0f} mm, not {mm:g}."
        yield Warning(text=text, stop=True)
    if not isinstance(case.findings.get(("skeletal_age_years", "affected")), Known):
        yield Warning(text="No valid skeletal age: the date rests on chronological age. Read a hand film first.")
    age = left[chosen].age_for(mm)
    for rule in case.protocol.age_windows:
        fits = role_of(rule.stage, case.protocol) == ROLE and rule.hard and rule.sex in (None, case.record.child.sex)
        if fits and rule.at_least_months is not None and age is not None and 12 * age < rule.at_least_months:
            text = f"Earlier than the protocol allows. {rule.because}"
            yield Warning(text=text, rule=rule.id, sources=rule.sources, stop=True)
