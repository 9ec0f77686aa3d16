"""The version that is aimed at: that of the child's age at the operation, the adult value named beside it."""

from __future__ import annotations

from pathway.days import age_words, age_years
from pathway.upper_femur.targets import version_at_deg
from pathway.worksheets.case import Case, Inputs, from_rule
from pathway.worksheets.sheet import Input

ADULT, AT_BIRTH, AS_ADULT = (f"osteotomy_version_{name}" for name in ("target_deg", "at_birth_deg", "as_adult_years"))

VERSION, UNKNOWN = "femoral_version_deg", "osteotomy_version_unknown_deg"


def age_at_operation(case: Case) -> float:
    """Return the child's age in years on the day of the plan's stage, or on the day of the sheet without one."""
    day = case.stage.date if case.stage is not None and case.stage.date is not None else case.on
    return age_years(case.record.child.date_of_birth, day)


def target_version(case: Case) -> Input:
    """Return the input of the version aimed at, in whole degrees; its note names age and adult value."""
    given = from_rule(case, ADULT, "target version", name="target_version_deg")
    birth, until = case.protocol.value(AT_BIRTH), case.protocol.value(AS_ADULT)
    adult, age = case.protocol.number(ADULT), age_at_operation(case)
    if age >= until.value:
        return given.model_copy(update={"note": f"adult value, aimed at from {until.value:g} years on; {given.note}"})
    value = float(round(version_at_deg(age, birth.value, adult, until.value)))
    note = (
        f"for {age_words(age)} at the operation, on a straight line from {birth.value:g} deg at birth to the adult "
        f"value of {adult:g} deg from {until.value:g} years on"
    )
    sources = tuple(dict.fromkeys((*given.sources, *birth.sources, *until.sources, "own_judgement")))
    local = given.local or birth.local or until.local
    return given.model_copy(update={"value": value, "note": note, "sources": sources, "local": local})


def with_version(case: Case, inputs: Inputs) -> tuple[Inputs, tuple[float, float] | None]:
    """Return the inputs with a version where nobody measured it, and between which versions all is then told.

    The one that is aimed at stands in, so that no rotation is planned; None for the range where it was measured.
    """
    if inputs.maybe(VERSION) is not None:
        return inputs, None
    rule = case.protocol.value(UNKNOWN)
    low, high = (rule.value if end is None else end for end in (rule.low, rule.high))
    middle = inputs.number("target_version_deg")
    note = f"NOT MEASURED: {middle:g} stands in, ranges hold from {low:g} to {high:g} deg"
    return inputs.having(VERSION, value=middle, note=note, sources=rule.sources), (low, high)
