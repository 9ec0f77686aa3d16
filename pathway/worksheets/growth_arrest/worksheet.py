"""The worksheet of a growth arrest of the long leg: when, by which growth plates, and what a missed date costs."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping

import numpy as np

from pathway.courses.course import PLATES
from pathway.days import age_words, age_years, day_at_age
from pathway.growth.reference_curves import Floats
from pathway.growth.skeletal_age import SKELETAL_AGE, SkeletalReading, read_near
from pathway.protocol.model import Role, Value
from pathway.protocol.question import Question
from pathway.protocol.roles import kinds_of, role_of
from pathway.protocol.skeletal_methods import read_words, reading_sd_years
from pathway.rule_engine.findings import Known
from pathway.worksheets.case import Case, Inputs, blank, from_finding, from_rule, made, set_by_hand
from pathway.worksheets.growth_arrest.drawing import difference_over_age
from pathway.worksheets.growth_arrest.methods import opinions_on_timing
from pathway.worksheets.growth_arrest.prevented import CHOICES, Left, growth_left
from pathway.worksheets.growth_arrest.verdicts import Said, disagreement, now_or_later, said_by_each
from pathway.worksheets.sheet import Column, Input, Kind, Line, Origin, Section, Sheet, Table, Warning, problem

KIND: Kind = "growth-arrest"
ROLE: Role = "growth_arrest"
WORDS = {"distal_femur": "distal femur", "proximal_tibia": "proximal tibia", "both": "both knee plates"}
FAR_SDS = 3
SAME_YEARS = 0.05
SHIFTS = (-2, -1, 0, 1, 2)


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the worksheet of a growth arrest; the growth of the child comes from the case's posterior.

    Raises Refused for inputs that are missing or not plausible, and where no leg length was ever measured.
    """
    inputs = set_by_hand(KIND, _inputs(case), settings)
    mm, chosen = inputs.number("correction_mm"), inputs.text("physes")
    if case.posterior is None:
        do = "enter femur and tibia of both legs at a visit"
        raise problem(KIND, "growth", "no leg length at any visit", "at least one measured length", do)
    left, reading = growth_left(case.posterior), _reading(case, inputs)
    said = said_by_each(case, inputs, left, reading)
    title = f"Growth arrest of the long leg, {mm:g} mm by {WORDS[chosen]}"
    parts = (
        now_or_later(case, inputs, said),
        _when(case, left, mm, chosen),
        _beside(case, mm, chosen, reading),
        _early_or_late(case, inputs, left[chosen], mm),
        _costs(case, mm, chosen),
    )
    told = (*_warnings(case, left, mm, chosen), *_of_the_methods(case, said, reading))
    drawn = (difference_over_age(case, left[chosen], mm, chosen),)
    stages = kinds_of(ROLE, case.protocol)
    return made(case, inputs, title, parts, told, drawn, side=case.record.other_side, stages=stages)


def _reading(case: Case, inputs: Inputs) -> SkeletalReading | None:
    """Return the skeletal age that the methods use: the one given by hand, of today, else the one read near today."""
    item = inputs.item("skeletal_age_years")
    if item.origin != "by_hand":
        return read_near(Question(case.record, case.protocol, case.on), case.on)
    today = age_years(case.record.child.date_of_birth, case.on)
    return SkeletalReading(inputs.number(item.name), today, case.on, None, reading_sd_years(case.protocol, None))


def _of_the_methods(case: Case, said: list[Said], reading: SkeletalReading | None) -> Iterator[Warning]:
    for text in disagreement(said):
        yield Warning(text=text)
    spread = case.protocol.value("skeletal_age_offset_sd_years")
    if reading is not None and abs(reading.offset_years) > FAR_SDS * spread.value:
        text = (
            f"Skeletal age is {abs(reading.offset_years):.1f} years from the calendar age, further than in nearly all "
        )
        yield Warning(text=f"{text}children: check the hand film and its day.", rule=spread.id, sources=spread.sources)


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
    return [
        correction,
        physes,
        _skeletal(case),
        from_rule(case, "arrest_next_visit_months", "next visit in", name="next_visit_months"),
        from_rule(case, "arrest_shift_months", "early or late by", name="shift_months"),
    ]


def _skeletal(case: Case) -> Input:
    """Return the skeletal age as an input: the reading near today, none where there is no usable one."""
    reading = read_near(Question(case.record, case.protocol, case.on), case.on)
    item = from_finding(case, SKELETAL_AGE, optional=True)
    note = "given by hand, the classical methods alone use it: enter it at a visit for the child's own projection"
    if reading is None:
        blank_age = {"value": None, "origin": "none", "measured_on": None, "method": "", "note": note}
        return item.model_copy(update=blank_age)
    read = {"value": reading.years, "origin": "visit", "measured_on": reading.date, "method": reading.method or ""}
    return item.model_copy(update={**read, "note": ""})


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
    least = case.protocol.value("arrest_least_mm")
    none_left = left["both"].age_for(least.value)
    lines = [
        *(_date(case, left[name], mm, name, planned=name == chosen) for name in dict.fromkeys((chosen, "both"))),
        Line(
            label=f"Last date for {least.value:g} mm by both plates",
            value=None if none_left is None else _day(case, none_left),
            note=least.because,
            sources=least.sources,
        ),
    ]
    return Section(title="When", lines=tuple(lines), tables=(table,))


def _date(case: Case, of: Left, mm: float, name: str, *, planned: bool) -> Line:
    """Return the day on which some plates take just the wanted amount: too early takes more, too late less."""
    label, age = f"Date for {mm:g} mm, {WORDS[name]}", of.age_for(mm)
    if age is None:
        note = f"past: done today it corrects about {of.middle[0]:.0f} mm"
        return Line(label=label, value=None, note=note, strong=planned)
    low, high, _ = _band(of.ages_for(mm), float(of.ages[0]))
    now = float(of.middle[0])
    note = f"at {age_words(age)}"
    if planned:
        note += f"; earlier overcorrects, later corrects too little: done today it corrects {now:.0f} mm, "
        note += f"{now - mm:.0f} mm too much"
    spread = (_day(case, low), _day(case, high))
    return Line(label=label, value=_day(case, age), spread=spread, note=note, strong=planned)


def _beside(case: Case, mm: float, chosen: str, reading: SkeletalReading | None) -> Section:
    rows: list[tuple[str | datetime.date | None, ...]] = []
    cited = dict[str, None]()
    for answer in opinions_on_timing(case, mm):
        ages = answer.by_calendar(reading)
        at = ages[list(CHOICES).index(chosen)]
        words = ("none" if age is None else age_words(age) for age in ages)
        day = None if at is None else _day(case, at)
        rows.append(
            (answer.name, answer.age_used(reading), *words, "past" if day is not None and day < case.on else day)
        )
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
    offset = reading.offset_years
    apart = f"{abs(offset):.1f} years {'ahead of' if offset > 0 else 'behind'} the calendar"
    if abs(offset) < SAME_YEARS:
        apart = "the same as the calendar age"
    return (
        f"Skeletal age was {reading.years:.1f} years on {reading.date} ({read_words(case.protocol, reading.method)}), "
        f"{apart}. Methods published with skeletal age use it; "
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
        places=0 if mm == round(mm) else 1,
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
        which = WORDS[chosen] if chosen == "both" else f"the {WORDS[chosen]}"
        text = f"Too late: closing {which} today would correct about {best:.0f} mm, not {mm:g}."
        yield Warning(text=text, stop=True)
    if not isinstance(case.findings.get(("skeletal_age_years", "affected")), Known):
        yield Warning(text="No valid skeletal age: the date rests on chronological age. Read a hand film first.")
    age = left[chosen].age_for(mm)
    for rule in case.protocol.age_windows:
        fits = role_of(rule.stage, case.protocol) == ROLE and rule.hard and rule.sex in (None, case.record.child.sex)
        if fits and rule.at_least_months is not None and age is not None and 12 * age < rule.at_least_months:
            text = f"Earlier than the protocol allows. {rule.because}"
            yield Warning(text=text, rule=rule.id, sources=rule.sources, stop=True)
