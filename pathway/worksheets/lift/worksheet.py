"""The worksheet of lifts and prostheses between the stages: how high, from when, worn as what."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pathway.days import age_on, day_at_age
from pathway.growth import outlook
from pathway.protocol.model import Role
from pathway.worksheets.case import Case, Inputs, from_finding, from_rule, made, set_by_hand
from pathway.worksheets.lift.heights import CARRIER_KEY, CARRIER_WORDS, SHORT_WORDS, LiftLimits, lift_for
from pathway.worksheets.sheet import Column, Input, Kind, Line, Section, Sheet, Table, Warning, problem

KIND: Kind = "lift"
ROLE: Role = "height_compensation"


@dataclass(frozen=True, slots=True)
class Ahead:
    """The projected difference on a day, mm: half of the futures, and 5 and 95 of 100."""

    date: datetime.date
    middle_mm: float
    low_mm: float
    high_mm: float


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the worksheet of lifts: today's lift, and that of every date to come.

    Raises Refused for inputs that are missing or not plausible.
    """
    inputs = set_by_hand(KIND, _inputs(case), settings)
    limits = LiftLimits(
        from_mm=inputs.number("from_mm"),
        less_mm=inputs.number("less_mm"),
        step_mm=inputs.number("step_mm"),
        shoe_most_mm=inputs.number("shoe_most_mm"),
        prosthesis_from_mm=inputs.number("prosthesis_from_mm"),
    )
    if not limits.from_mm <= limits.shoe_most_mm <= limits.prosthesis_from_mm:
        found = f"{limits.from_mm:g}, {limits.shoe_most_mm:g}, {limits.prosthesis_from_mm:g} mm"
        expected = "from_mm, shoe_most_mm and prosthesis_from_mm in ascending order"
        raise problem(KIND, "shoe_most_mm", found, expected, "set them in that order")
    ahead = () if inputs.item("difference_mm").origin == "by_hand" else _ahead(case)
    difference = inputs.maybe("difference_mm")
    if difference is None and not ahead:
        do = "enter leg lengths at a visit, or give it with --set difference_mm=…"
        raise problem(KIND, "difference_mm", "no value", "a difference of the legs in mm", do)
    sections = [*_today(difference, limits, inputs), *_by_date(case, ahead, limits)]
    return made(case, inputs, "Lift and prosthesis between the stages", sections, _warnings(case, ahead, difference))


def _inputs(case: Case) -> list[Input]:
    bound = case.protocol.value("worksheet_difference_most_mm")
    difference = from_finding(case, "current_discrepancy_mm", name="difference_mm", optional=True)
    label, limits = "difference of the legs today", bound.plausible
    return [
        difference.model_copy(update={"label": label, "plausible": limits}),
        from_rule(case, "lift_from_mm", "no lift below", name="from_mm"),
        from_rule(case, "lift_less_than_difference_mm", "left uncorrected on purpose", name="less_mm"),
        from_rule(case, "lift_step_mm", "lifts in steps of", name="step_mm"),
        from_rule(case, "lift_shoe_most_mm", "a shoe carries the lift up to", name="shoe_most_mm"),
        from_rule(case, "lift_extension_prosthesis_from_mm", "extension prosthesis from", name="prosthesis_from_mm"),
    ]


def _ahead(case: Case) -> tuple[Ahead, ...]:
    """Return the difference to come: with the plan's operations where there is a plan, else left alone."""
    if case.plan is not None and case.plan.growth.by_age:
        return tuple(
            Ahead(point.date, point.with_plan_mm.p50, point.with_plan_mm.p05, point.with_plan_mm.p95)
            for point in case.plan.growth.by_age
        )
    if case.posterior is None:
        return ()
    to_come = outlook(case.posterior)
    low, middle, high = to_come.bands((0.05, 0.5, 0.95))
    born = case.record.child.date_of_birth
    days = [day_at_age(born, float(age)) for age in to_come.age_years]
    return tuple(Ahead(day, float(m), float(a), float(b)) for day, m, a, b in zip(days, middle, low, high, strict=True))


def _today(difference: float | None, limits: LiftLimits, inputs: Inputs) -> Iterator[Section]:
    if difference is None:
        return
    lift = lift_for(difference, limits)
    less = inputs.item("less_mm")
    lines = (
        Line(label="Lift", value=lift.height_mm, unit="mm", strong=True, sources=less.sources),
        Line(label="Worn as", value=CARRIER_WORDS[lift.carrier], strong=True),
        Line(label="Left uncorrected on purpose", value=lift.left_mm, unit="mm", note=less.note),
    )
    yield Section(title="Today", lines=lines)


def _by_date(case: Case, ahead: tuple[Ahead, ...], limits: LiftLimits) -> Iterator[Section]:
    if not ahead:
        return
    born, rows = case.record.child.date_of_birth, []
    last = None
    for point in ahead:
        lift = lift_for(point.middle_mm, limits)
        if (lift.height_mm, lift.carrier) == last:
            continue
        last = (lift.height_mm, lift.carrier)
        age = age_on(born, point.date)
        band = f"{point.low_mm:.0f} to {point.high_mm:.0f}"
        leg = "" if point.middle_mm >= 0 else ", other leg"
        words = SHORT_WORDS[lift.carrier] + (leg if lift.carrier != "none" else "")
        rows.append((point.date, age, point.middle_mm, band, lift.height_mm, lift.left_mm, words))
    columns = (
        Column(title="from"),
        Column(title="age"),
        Column(title="difference", unit="mm"),
        Column(title="90 of 100", unit="mm"),
        Column(title="lift", unit="mm"),
        Column(title="left", unit="mm"),
        Column(title="worn as"),
    )
    with_plan = case.plan is not None
    how = "with the operations of the plan" if with_plan else "without operations"
    note = f"A new row where the lift changes. Measure with blocks and adjust at every visit. {CARRIER_KEY}"
    table = Table(
        title=f"Lift by date, {how}", columns=columns, rows=tuple(rows), note=note, sources=("hesperian_549",)
    )
    lines = (
        _first(ahead, limits.shoe_most_mm, "Exceeds what a shoe can carry"),
        _first(ahead, limits.prosthesis_from_mm, "Extension prosthesis usual"),
    )
    yield Section(title="By date", lines=lines, tables=(table,))


def _first(ahead: tuple[Ahead, ...], mm: float, label: str) -> Line:
    over = [point for point in ahead if abs(point.middle_mm) >= mm]
    if not over:
        return Line(label=label, value="never", strong=True)
    spans = f"until {over[-1].date}" if over[-1] is not ahead[-1] else "to the end of growth"
    return Line(label=label, value=over[0].date, note=f"{mm:g} mm or more, {spans} (with breaks)", strong=True)


def _warnings(case: Case, ahead: tuple[Ahead, ...], difference: float | None) -> Iterator[Warning]:
    if difference is not None and difference < 0:
        yield Warning(text="The treated leg is the longer one: the lift goes under the other shoe.")
    if ahead and np.min([point.low_mm for point in ahead]) < 0:
        yield Warning(
            text="In some possible futures the treated leg becomes the longer one: measure before each new lift."
        )
