"""The worksheet of guided growth: how long a plate at one edge of the growth plate takes to straighten the knee."""

from __future__ import annotations

from collections.abc import Mapping

from pathway.days import age_years
from pathway.protocol.model import Role
from pathway.protocol.roles import kinds_of
from pathway.worksheets.case import Case, made
from pathway.worksheets.guided_growth.cautions import warnings_of
from pathway.worksheets.guided_growth.drawing import drawings_of
from pathway.worksheets.guided_growth.inputs import KIND, read_inputs
from pathway.worksheets.guided_growth.sections import afterwards, judged_by_age, measured, schedule, too_long, when
from pathway.worksheets.guided_growth.steering import growing, steady
from pathway.worksheets.guided_growth.worked import Worked
from pathway.worksheets.sheet import Sheet, problem

ROLE: Role = "growth_modulation"


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the worksheet of guided growth.

    Raises Refused for inputs that are missing or not plausible (the width of the growth plate is always measured on
    the film, no table by age was found), and for a measured angle that needs no plate at the child's age.
    """
    given = read_inputs(case, settings)
    inputs = given.inputs
    angle, over = inputs.number("angle_deg"), inputs.number("over_deg")
    width, physis, start = inputs.number("width_mm"), inputs.text("physis"), inputs.day("start_on")
    age, yearly = age_years(case.record.child.date_of_birth, start), inputs.maybe("yearly_mm")
    if yearly is not None:
        of = steady(yearly, age, case.protocol.number("plan_ends_at_years") - age)
    elif case.posterior is not None:
        of = growing(case.posterior, physis, age)
    else:
        expected = "a yearly growth of the plate, or leg lengths from which it is projected"
        raise problem(KIND, "yearly_mm", "neither", expected, "give it with --set yearly_mm=…")
    worked = Worked(case, given, of, start, age, angle, over, width, physis)
    title = f"Guided growth, {physis.replace('_', ' ')}, {angle:g} deg"
    parts = (
        judged_by_age(worked),
        when(worked),
        too_long(worked),
        schedule(worked),
        measured(worked),
        afterwards(worked),
    )
    told, drawn = warnings_of(worked), drawings_of(worked)
    return made(case, inputs, title, parts, told, drawn, stages=kinds_of(ROLE, case.protocol))
