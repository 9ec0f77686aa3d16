"""Which neck-shaft angle and version are aimed at, and what comes of them: angles alone, no length of the bone."""

from __future__ import annotations

from dataclasses import replace

from pathway.upper_femur.model import Femur, NotPossible, Numbers, Plan, angles_of, settings_of

CLOSE_DEG = 1e-7
MOST_STEPS = 12


def angles_for(bone: Femur, plan: Plan, neck_shaft_deg: float) -> Numbers | None:
    """Return every angle of the plan with another target neck-shaft angle; None where no correction reaches it."""
    aimed = replace(plan, neck_shaft_deg=neck_shaft_deg, found_wire=None, blade_mm=0.0)
    try:
        return angles_of(bone, aimed, settings_of(bone, aimed))
    except NotPossible:
        return None


def neck_shaft_for_epiphyseal(bone: Femur, plan: Plan, wanted_deg: float) -> float | None:
    """Return the neck-shaft angle with which the growth plate comes to slope as wanted; None where none does.

    Flat, each degree of one is a degree of the other; in space the version that is aimed at has its part.
    """
    if bone.epiphyseal_deg is None:
        return None
    aim = bone.neck_shaft_deg + bone.epiphyseal_deg - wanted_deg
    slope = -1.0
    before: tuple[float, float] | None = None
    for _ in range(MOST_STEPS):
        found = angles_for(bone, plan, aim) if 0 < aim < 180 else None
        if found is None or found["epiphyseal_after_deg"] is None:
            return None
        off = found["epiphyseal_after_deg"] - wanted_deg
        if abs(off) < CLOSE_DEG:
            return aim
        if before is not None and abs(aim - before[0]) > CLOSE_DEG:
            slope = (off - before[1]) / (aim - before[0])
        if abs(slope) < 1e-3:
            return None
        before, aim = (aim, off), aim - off / slope
    return None


def version_at_deg(age: float, at_birth_deg: float, adult_deg: float, as_adult_years: float) -> float:
    """Return the version of an age in years: a straight line from birth to the age from which it is the adult's."""
    if age >= as_adult_years:
        return adult_deg
    return at_birth_deg + (adult_deg - at_birth_deg) * max(age, 0.0) / as_adult_years
