"""The inputs of guided growth, in the order in which they are shown, with the angle judged by the child's age."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, replace

from pathway.days import age_on, age_words, age_years
from pathway.worksheets.case import Case, Inputs, blank, from_finding, from_rule, set_by_hand
from pathway.worksheets.joint_angles import (
    Angle,
    AngleNorm,
    Place,
    known_from_years,
    norms_ahead,
    place,
    reading_error,
)
from pathway.worksheets.sheet import Input, Kind, problem

KIND: Kind = "guided-growth"
ANGLES: Mapping[str, tuple[Angle, str]] = {
    "distal_femur": ("lateral_distal_femoral_angle_deg", "distal_femoral_angle_goal_deg"),
    "proximal_tibia": ("medial_proximal_tibial_angle_deg", "proximal_tibial_angle_goal_deg"),
}
"""The growth plates that may be steered: the angle measured there, and the protocol's goal for it."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A measured angle beside what is normal at the age of the film.

    `band` (deg, low to high) is what needs no plate: the band of that age and those that the child grows into. `norm`,
    `band` and `place` are None below `known_from` (years); `error_deg` is the reading error of one film.
    """

    angle: Angle
    measured_deg: float
    age_years: float
    norm: AngleNorm | None
    band: tuple[float, float] | None
    place: Place | None
    known_from: float
    error_deg: float

    @property
    def off_deg(self) -> float:
        """Return by how much the angle lies outside the band (deg, never negative); 0 where none is known."""
        low, high = self.band or (self.measured_deg, self.measured_deg)
        return max(low - self.measured_deg, self.measured_deg - high, 0.0)

    @property
    def band_words(self) -> str:
        """Return the band that decides in words; empty where none is known."""
        if self.norm is None or self.band is None:
            return ""
        own = self.band == (self.norm.low_deg, self.norm.high_deg)
        whose = f"at {age_words(self.age_years)}" + ("" if own else " and in the years to come")
        return f"{self.band[0]:.1f} to {self.band[1]:.1f} deg, normal {whose}"


@dataclass(frozen=True, slots=True)
class GuidedInputs:
    """The inputs with the angle worked out, and the judgement by age where an angle was measured."""

    inputs: Inputs
    judged: Judged | None

    @property
    def valgus(self) -> bool | None:
        """Return whether the knee leans inward at this plate (valgus); None where no angle was measured."""
        if self.judged is None:
            return None
        femur = self.inputs.text("physis") == "distal_femur"
        return (self.judged.measured_deg < self.inputs.number("goal_deg")) == femur


def read_inputs(case: Case, settings: Mapping[str, str]) -> GuidedInputs:
    """Return the inputs of the sheet with those given by hand put in.

    Raises Refused for what cannot be, and where no plate is needed: an angle inside the band of the age, or not told
    from it (or from the target) by one reading. An angle to correct that was set by hand is not refused for that.
    """
    inputs = set_by_hand(KIND, _items(case, settings), settings)
    _start_can_be(case, inputs)
    judged = _judged(case, inputs)
    if inputs.item("angle_deg").value is None and judged is not None:
        _needs_a_plate(case, judged, inputs.number("goal_deg"))
        inputs = _angle(inputs, judged)
    return GuidedInputs(_allowance(case, inputs, judged), judged)


def _items(case: Case, settings: Mapping[str, str]) -> list[Input]:
    physis = _physis(case)
    only = {name: text for name, text in settings.items() if name == "physis"}
    finding, goal = ANGLES[set_by_hand(KIND, [physis], only).text("physis")]
    planned = case.stage.date if case.stage is not None else None
    # A stage under way began before the day of the sheet: the film of today starts the count.
    start = case.on if planned is None else max(planned, case.on)
    own = "from the child's own projection if not given"
    return [
        physis,
        from_finding(case, finding, name="measured_deg", optional=True),
        from_rule(case, goal, "target angle", name="goal_deg"),
        blank(case, "guided_growth_angle_deg", "angle_deg", "angle to correct"),
        blank(case, "guided_growth_physis_width_mm", "width_mm", "width of the growth plate on the film"),
        blank(case, "guided_growth_yearly_mm", "yearly_mm", "yearly growth of the plate", optional=True, note=own),
        Input(
            name="start_on",
            label="plate inserted on",
            kind="day",
            value=start,
            origin="plan" if planned is not None and planned >= case.on else "none",
        ),
        from_rule(case, "guided_growth_over_deg", "allowance for rebound", name="over_deg"),
        from_rule(case, "guided_growth_window_months", "half width of the window", name="window_months"),
    ]


def _physis(case: Case) -> Input:
    """Return the choice of the growth plate: that of the short bone, unless only the other one's angle was measured."""
    bones = case.protocol.diagnosis(case.record.child.diagnosis).bones
    usual = "proximal_tibia" if bones and bones[0] == "tibia" else "distal_femur"
    known = [name for name, (finding, _) in ANGLES.items() if from_finding(case, finding).value is not None]
    chosen = known[0] if len(known) == 1 else usual
    return Input(
        name="physis",
        label="growth plate guided",
        kind="choice",
        choices=tuple(ANGLES),
        value=chosen,
        origin="protocol",
        sources=("guided_growth_knee_page",) if chosen == usual else ("own_judgement",),
        note="the plate of the short bone" if chosen == usual else "the only plate whose angle was measured",
    )


def _age(case: Case, day: datetime.date) -> float:
    return age_years(case.record.child.date_of_birth, day)


def _film_age(case: Case, inputs: Inputs) -> float:
    """Return the child's age on the film; an angle set by hand is of today's."""
    return _age(case, inputs.item("measured_deg").measured_on or case.on)


def _start_can_be(case: Case, inputs: Inputs) -> None:
    start, last = inputs.day("start_on"), case.protocol.number("plan_ends_at_years")
    do = "give it with --set start_on=YYYY-MM-DD"
    if start < case.on:
        raise problem(KIND, "start_on", str(start), f"{case.on} or later", do)
    if _age(case, start) >= last:
        found = f"{start}, at {age_on(case.record.child.date_of_birth, start)}"
        raise problem(KIND, "start_on", found, f"a day before {last:g} years, while the plate still grows", do)


def _judged(case: Case, inputs: Inputs) -> Judged | None:
    measured = inputs.maybe("measured_deg")
    if measured is None:
        return None
    angle, age, sex = ANGLES[inputs.text("physis")][0], _film_age(case, inputs), case.record.child.sex
    error = reading_error(case.protocol, angle).value
    from_years = known_from_years(case.protocol, angle, sex)
    norms = norms_ahead(case.protocol, angle, age, sex)
    if not norms:
        return Judged(angle, measured, age, None, None, None, from_years, error)
    # What is normal falls in the first years: no plate for an angle that the child grows into either.
    low, high = min(norm.low_deg for norm in norms), max(norm.high_deg for norm in norms)
    where = place(case.protocol, replace(norms[0], low_deg=low, high_deg=high), measured)
    return Judged(angle, measured, age, norms[0], (low, high), where, from_years, error)


def _needs_a_plate(case: Case, judged: Judged, goal_deg: float) -> None:
    """Raise Refused where the measured angle needs no plate, with when to take the next film."""
    found = f"{judged.measured_deg:g} deg at {age_words(judged.age_years)}"
    if judged.band is not None and judged.place != "outside":
        expected = f"an angle outside {judged.band_words}"
        raise problem(KIND, "measured_deg", f"{found}, {place_words(judged)}", expected, film_again(case, judged))
    off = abs(judged.measured_deg - goal_deg)
    if off <= judged.error_deg:
        found += f", {off:.1f} deg from the target of {goal_deg:g}"
        expected = f"more than the reading error of ±{judged.error_deg:g} deg"
        raise problem(KIND, "measured_deg", found, expected, film_again(case, judged))


def place_words(judged: Judged) -> str:
    """Return where the angle lies in words."""
    match judged.place:
        case "inside" if judged.norm is not None and judged.norm.off_deg(judged.measured_deg):
            return "inside the normal band of the years to come"
        case "inside":
            return "inside the normal band"
        case "within_error":
            return f"outside the normal band by less than the reading error of ±{judged.error_deg:g} deg"
        case "outside":
            return "outside the normal band"
    return f"not judged: no normal band is known before {judged.known_from:g} years"


def film_again(case: Case, judged: Judged) -> str:
    """Return what to do where no plate is needed: `no plate; take the film again in 6 months`."""
    which = "inside" if judged.place == "inside" else "edge"
    months = case.protocol.number(f"guided_growth_film_again_{which}_months")
    return f"no plate; take the film again in {months:g} months"


def _angle(inputs: Inputs, judged: Judged) -> Inputs:
    """Return the inputs with the angle worked out from the measured and the wanted one."""
    low, high = inputs.item("angle_deg").plausible or (0.0, 0.0)
    off = abs(judged.measured_deg - inputs.number("goal_deg"))
    if not low <= off <= high:
        found, expected = f"{off:g} deg between measured and target", f"{low:g} to {high:g} deg"
        do = "a smaller angle needs no plate; a larger one is for an osteotomy"
        raise problem(KIND, "angle_deg", found, expected, do)
    item = inputs.item("measured_deg")
    worked = {"value": off, "origin": item.origin, "measured_on": item.measured_on, "method": "measured minus target"}
    return inputs.having("angle_deg", **worked)


def _allowance(case: Case, inputs: Inputs, judged: Judged | None) -> Inputs:
    """Return the inputs without an allowance for rebound but from valgus, below the age of the protocol.

    It is valgus that is known to recur: beyond straight from varus the knee would go into that same valgus.
    """
    until = case.protocol.value("guided_growth_over_until_years")
    if inputs.item("over_deg").origin == "by_hand":
        return inputs
    if _age(case, inputs.day("start_on")) >= until.value:
        return inputs.having("over_deg", value=0.0, sources=until.sources, note=f"none from {until.value:g} years on")
    if GuidedInputs(inputs, judged).valgus:
        return inputs
    why = "none from varus" if judged is not None else "none while no angle is measured"
    return inputs.having("over_deg", value=0.0, note=f"{why}: the allowance is for valgus")
