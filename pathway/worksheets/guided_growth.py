"""The worksheet of guided growth: how long a plate at one edge of the growth plate takes to straighten the knee."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pathway.days import age_words, age_years, day_at_age
from pathway.growth import Posterior, made_by_plate
from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Role
from pathway.protocol.roles import kinds_of, role_of
from pathway.worksheets.case import Case, Inputs, blank, from_finding, from_rule, made, set_by_hand
from pathway.worksheets.sheet import Column, Input, Kind, Line, Section, Sheet, Table, Warning, problem

KIND: Kind = "guided-growth"
ROLE: Role = "growth_modulation"
ANGLES = {
    "distal_femur": ("lateral_distal_femoral_angle_deg", "distal_femoral_angle_goal_deg"),
    "proximal_tibia": ("medial_proximal_tibial_angle_deg", "proximal_tibial_angle_goal_deg"),
}
"""The growth plates that may be steered: the angle measured there, and the protocol's goal for it."""
RATES = {"distal_femur": "guided_growth_femur_deg_per_month", "proximal_tibia": "guided_growth_tibia_deg_per_month"}
MONTH_YEARS = 1 / 12


def rate_deg_per_month(yearly_mm: float, width_mm: float) -> float:
    """Return the correction a month: the angle whose tangent is a year's growth over the plate's width, by twelve.

    It assumes a full stop at one edge at once and full growth at the other; a plate takes up slack first.
    """
    return math.degrees(math.atan(yearly_mm / width_mm)) / 12


def growth_for(angle_deg: float, width_mm: float) -> float:
    """Return the growth (mm) at the free edge that turns the knee by an angle: width times its tangent."""
    return width_mm * math.tan(math.radians(angle_deg))


@dataclass(frozen=True, slots=True)
class Growing:
    """Growth of the steered plate from the start on, mm: draws (m, n) and middle (n,) at ages (n,), rising."""

    ages: Floats
    draws: Floats
    middle: Floats

    def months_until(self, mm: float) -> tuple[float | None, float | None, float | None]:
        """Return months until so much has grown: the middle, and 5 and 95 of 100 draws; None where it never does."""
        middle = _first(self.ages, self.middle[None, :], mm)[0]
        each = np.sort(_first(self.ages, self.draws, mm))
        low, high = (float(each[round(part * (len(each) - 1))]) for part in (0.05, 0.95))
        found = (_months(self.ages, age) for age in (float(middle), low, high))
        of_all, quick, slow = found
        return of_all, quick, slow

    def grown(self, months: float) -> float:
        """Return the middle growth after so many months, mm."""
        return float(np.interp(self.ages[0] + months * MONTH_YEARS, self.ages, self.middle))

    def last_age_for(self, mm: float) -> float | None:
        """Return the last age (years) at which the plate still has so much growth ahead; None where it has not."""
        ahead = self.middle[-1] - self.middle
        if ahead[0] < mm:
            return None
        return float(np.interp(-mm, -ahead, self.ages))


def _months(ages: Floats, age: float) -> float | None:
    return None if math.isinf(age) else (age - float(ages[0])) / MONTH_YEARS


def _first(ages: Floats, grown: Floats, mm: float) -> Floats:
    """Return the age at which each row first reaches `mm`; infinity where it never does."""
    reached = grown >= mm
    k = np.maximum(np.argmax(reached, axis=1), 1)
    rows = np.arange(len(grown))
    low, high = grown[rows, k - 1], grown[rows, k]
    part = np.where(high > low, (mm - low) / np.where(high > low, high - low, 1.0), 0.0)
    result: Floats = np.where(reached.any(axis=1), ages[k - 1] + np.clip(part, 0, 1) * (ages[k] - ages[k - 1]), np.inf)
    return result


def growing(posterior: Posterior, physis: str, start_age: float) -> Growing:
    """Return the growth of one plate of the short leg from an age on, by the child's posterior."""
    ages = np.arange(start_age, max(posterior.mature_age_years, start_age) + 1.5, MONTH_YEARS)
    draws, middle = (_grown(of, physis, ages) for of in (posterior, posterior.central()))
    return Growing(ages, draws, middle[0])


def steady(yearly_mm: float, start_age: float, years: float) -> Growing:
    """Return the growth of a plate that grows evenly for so many years."""
    ages = np.arange(start_age, start_age + max(years, 2 * MONTH_YEARS), MONTH_YEARS)
    middle = yearly_mm * (ages - start_age)
    return Growing(ages, middle[None, :], middle)


def _grown(of: Posterior, physis: str, ages: Floats) -> Floats:
    return np.maximum.accumulate(made_by_plate(of, physis, "short", ages), axis=1)


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the worksheet of guided growth.

    Raises Refused for inputs that are missing or not plausible: the width of the growth plate is always
    measured on the film, no table by age was found.
    """
    inputs = _inputs(case, settings)
    angle, over = inputs.number("angle_deg"), inputs.number("over_deg")
    width, physis, start = inputs.number("width_mm"), inputs.text("physis"), inputs.day("start_on")
    age = age_years(case.record.child.date_of_birth, start)
    yearly = inputs.maybe("yearly_mm")
    if yearly is None and case.posterior is None:
        expected = "a yearly growth of the plate, or leg lengths from which it is projected"
        raise problem(KIND, "yearly_mm", "neither", expected, "give it with --set yearly_mm=…")
    if case.posterior is not None and age < case.posterior.age_years:
        found, expected = str(start), f"{case.on} or later"
        raise problem(KIND, "start_on", found, expected, "give it with --set start_on=YYYY-MM-DD")
    if yearly is not None or case.posterior is None:
        left = case.protocol.number("plan_ends_at_years") - age
        of = steady(yearly or 0.0, age, max(left, MONTH_YEARS))
    else:
        of = growing(case.posterior, physis, age)
    made_of = _Made(case, inputs, of, start, age, angle, over, width, physis)
    title = f"Guided growth, {physis.replace('_', ' ')}, {angle:g} deg"
    parts = (_window(made_of), _schedule(made_of), _measured(made_of), _afterwards(made_of))
    return made(case, inputs, title, parts, _warnings(made_of), stages=kinds_of(ROLE, case.protocol))


@dataclass(frozen=True, slots=True)
class _Made:
    case: Case
    inputs: Inputs
    growing: Growing
    start: datetime.date
    age: float
    angle: float
    over: float
    width: float
    physis: str

    @property
    def months(self) -> tuple[float | None, float | None, float | None]:
        """Return months until the angle with its allowance is reached: middle, and 5 and 95 of 100 draws."""
        return self.growing.months_until(growth_for(self.angle + self.over, self.width))

    def day(self, months: float) -> datetime.date:
        """Return the day so many months after the start."""
        return day_at_age(self.case.record.child.date_of_birth, self.age + months * MONTH_YEARS)


def _inputs(case: Case, settings: Mapping[str, str]) -> Inputs:
    bones = case.protocol.diagnosis(case.record.child.diagnosis).bones
    usual = "proximal_tibia" if bones and bones[0] == "tibia" else "distal_femur"
    physis = Input(
        name="physis",
        label="growth plate guided",
        kind="choice",
        choices=tuple(ANGLES),
        value=usual,
        origin="protocol",
        sources=("guided_growth_knee_page",),
        note="the plate of the short bone",
    )
    only = {name: text for name, text in settings.items() if name == "physis"}
    chosen = set_by_hand(KIND, [physis], only).text("physis")
    finding, goal = ANGLES[chosen]
    measured = from_finding(case, finding, name="measured_deg", optional=True)
    wanted = from_rule(case, goal, "target angle", name="goal_deg")
    start = case.stage.date if case.stage is not None and case.stage.date is not None else case.on
    items = [
        physis,
        measured,
        wanted,
        blank(case, "guided_growth_angle_deg", "angle_deg", "angle to correct"),
        blank(case, "guided_growth_physis_width_mm", "width_mm", "width of the growth plate on the film"),
        blank(
            case,
            "guided_growth_yearly_mm",
            "yearly_mm",
            "yearly growth of the plate",
            optional=True,
            note="from the child's own projection if not given",
        ),
        Input(
            name="start_on",
            label="plate inserted on",
            kind="day",
            value=start,
            origin="plan" if case.stage is not None and case.stage.date is not None else "none",
        ),
        from_rule(case, "guided_growth_over_deg", "allowance for rebound", name="over_deg"),
        from_rule(case, "guided_growth_window_months", "half width of the window", name="window_months"),
    ]
    inputs = set_by_hand(KIND, items, settings)
    inputs = _angle(inputs)
    return _allowance(case, inputs)


def _angle(inputs: Inputs) -> Inputs:
    """Return the inputs with the angle worked out from the measured and the wanted one where it was not set."""
    measured, bounds = inputs.maybe("measured_deg"), inputs.item("angle_deg").plausible
    if inputs.item("angle_deg").value is not None or measured is None or bounds is None:
        return inputs
    off = abs(measured - inputs.number("goal_deg"))
    if not bounds[0] <= off <= bounds[1]:
        found = f"{off:g} deg between measured and target"
        raise problem(
            KIND,
            "angle_deg",
            found,
            f"{bounds[0]:g} to {bounds[1]:g} deg",
            "a smaller angle needs no plate; a larger one is for an osteotomy",
        )
    item = inputs.item("measured_deg")
    worked = {"value": off, "origin": item.origin, "measured_on": item.measured_on, "method": "measured minus target"}
    return inputs.having("angle_deg", **worked)


def _allowance(case: Case, inputs: Inputs) -> Inputs:
    """Return the inputs without an allowance for rebound where the child is older than the protocol asks for it."""
    until = case.protocol.value("guided_growth_over_until_years")
    age = age_years(case.record.child.date_of_birth, inputs.day("start_on"))
    if inputs.item("over_deg").origin == "by_hand" or age < until.value:
        return inputs
    return inputs.having("over_deg", value=0.0, sources=until.sources, note=f"none from {until.value:g} years on")


def _window(of: _Made) -> Section:
    middle, quick, slow = of.months
    half = of.inputs.number("window_months")
    miss = of.case.protocol.value("guided_growth_miss_months")
    first_year = of.growing.grown(12)
    lines = [
        Line(label="Growth of the plate in the first year", value=first_year, unit="mm", places=1),
        Line(
            label="Correction per month",
            value=rate_deg_per_month(first_year, of.width),
            unit="deg",
            places=2,
            note="arctangent of a year's growth over the width, divided by twelve",
        ),
    ]
    if middle is not None:
        low = max(min(middle - half, quick if quick is not None else middle), 0.0)
        high = max(middle + half, slow if slow is not None else middle)
        lines += [
            Line(
                label="Months until corrected",
                value=middle,
                spread=(low, high),
                unit="months",
                places=1,
                note=f"individual cases are off by {miss.value:g} months on average: {miss.because}",
                sources=miss.sources,
                strong=True,
            ),
            Line(label="Remove the plate about", value=of.day(middle), spread=(of.day(low), of.day(high)), strong=True),
        ]
    last = of.growing.last_age_for(growth_for(of.angle, of.width))
    lines.append(
        Line(
            label="Last useful age",
            value="past" if last is None else age_words(last),
            note="after this, too little growth is left for the whole angle",
            strong=True,
        )
    )
    return Section(title="When", lines=tuple(lines))


def _schedule(of: _Made) -> Section:
    rule = next((item for item in of.case.protocol.follow_ups if role_of(item.stage, of.case.protocol) == ROLE), None)
    middle, _, slow = of.months
    end = middle if slow is None else slow
    if rule is None or rule.every_months is None or end is None or middle is None:
        return Section(title="Visits")
    rows: list[tuple[datetime.date, float, float, str]] = []
    count = math.ceil((max(end, middle) + of.inputs.number("window_months")) / rule.every_months)
    for k in range(1, count + 1):
        months = float(k * rule.every_months)
        turned = min(math.degrees(math.atan(of.growing.grown(months) / of.width)), of.angle + of.over)
        near = abs(months - middle) <= of.inputs.number("window_months")
        rows.append((of.day(months), turned, of.angle - turned, "remove plate?" if near else ""))
    columns = (
        Column(title="film"),
        Column(title="corrected", unit="deg", places=1),
        Column(title="left", unit="deg", places=1),
        Column(title=""),
    )
    note = "The film, not the date, decides when the plate is removed. Below 0 in the column left: the allowance."
    table = Table(title=rule.text, columns=columns, rows=tuple(rows), note=note, sources=rule.sources)
    return Section(title="Visits", tables=(table,))


def _measured(of: _Made) -> Section:
    ids = [RATES[of.physis]]
    if of.physis == "distal_femur":
        ids.append("guided_growth_small_child_deg_per_month")
    rows = []
    sources: list[str] = []
    for id in ids:
        value = of.case.protocol.value(id)
        low, high = value.low or value.value, value.high or value.value
        rows.append((value.because, value.value, of.angle / value.value, of.angle / high, of.angle / low))
        sources += value.sources
    columns = (
        Column(title="measured in series"),
        Column(title="deg/month", places=1),
        Column(title="months", places=0),
        Column(title="quick", places=0),
        Column(title="slow", places=0),
    )
    sick = of.case.protocol.value("guided_growth_sick_plate_times")
    line = Line(
        label="Time factor for a diseased growth plate",
        value=sick.value,
        places=1,
        note=sick.because,
        sources=sick.sources,
    )
    table = Table(
        title=f"{of.angle:g} deg at published rates", columns=columns, rows=tuple(rows), sources=tuple(sources)
    )
    return Section(title="For comparison", lines=(line,), tables=(table,))


def _afterwards(of: _Made) -> Section:
    lines = []
    for id, label in (
        ("guided_growth_rebound_deficiency_percent", "Recurrence of valgus, congenital deficiency"),
        ("guided_growth_rebound_percent", "Rebound after removal, all causes"),
    ):
        value = of.case.protocol.value(id)
        spread = None if value.low is None or value.high is None else (value.low, value.high)
        lines.append(
            Line(
                label=label, value=value.value, unit="of 100", spread=spread, note=value.because, sources=value.sources
            )
        )
    words = ("Keep checking after removal: a repeat is likely while the child grows.",)
    return Section(title="After removal", words=words, lines=tuple(lines))


def _warnings(of: _Made) -> Iterator[Warning]:
    middle, _, slow = of.months
    if middle is None:
        turned = math.degrees(math.atan(float(of.growing.middle[-1]) / of.width))
        text = f"Too late for {of.angle + of.over:g} deg: the remaining growth corrects about {turned:.0f} deg."
        yield Warning(text=text, stop=True)
    elif slow is None:
        yield Warning(text="In some possible futures of this child growth ends before the angle is reached.")
    measured = of.inputs.maybe("measured_deg")
    if measured is not None:
        valgus = (measured < of.inputs.number("goal_deg")) == (of.physis == "distal_femur")
        edge = "inner edge (valgus)" if valgus else "outer edge (varus)"
        yield Warning(text=f"The plate goes on the {edge}: check side and edge on the film.")
