"""Where the shaft comes to lie under the plate, how to bring it elsewhere, and what a wedge changes: by the one model.

The plate dictates the shift; what moves the shaft under the same wire, slot and cut is how far the plate lies inward of
the implant's corner. Lengths mm, angles degrees, seen in the shaft's front view with the kneecap forward.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pathway.upper_femur.model import (
    Femur,
    Numbers,
    Plan,
    Result,
    Settings,
    U,
    knee_below_crossing_mm,
    neck_axis,
    placement,
    result,
    solved,
)
from pathway.upper_femur.points import carried

LEAST_SIDEWAYS = 0.2
"""Below this share of its way seen in the front view a plate's offset does not bring the shaft inward or outward."""
ROUNDS, HALVINGS, STEP_MM = 6, 7, 1.0


@dataclass(frozen=True, slots=True)
class Goal:
    """The shaft under a plate that lies so far inward of the corner, and what comes of it.

    `axes_deg` is the angle between the shaft and the line from head to knee.
    """

    label: str
    offset_mm: float
    numbers: Numbers
    axes_deg: float


def axes_before_deg(bone: Femur) -> float:
    """Return the angle between the shaft and the line from head to knee before the correction."""
    head = bone.neck_mm * neck_axis(bone)
    return math.degrees(math.atan2(float(head[0]), float(head[2]) + knee_below_crossing_mm(bone)))


def as_planned(bone: Femur, plan: Plan, settings: Settings) -> Goal:
    """Return where the plan's own plate brings the shaft."""
    return _goal("as the plate dictates", bone, plan, settings, plan.offset_mm)


def other_goals(bone: Femur, plan: Plan, settings: Settings, axes_deg: float) -> tuple[Goal, ...]:
    """Return the plates that would bring the base of the neck onto the shaft's axis, and the axes to a wanted angle.

    Empty where the plate lies in front of the shaft or behind it, so that none does.
    """
    wanted: tuple[tuple[str, Callable[[float, float, float], float]], ...] = (
        ("base of the neck on the shaft axis", lambda base, _across, _up: base),
        (f"axes {axes_deg:g} deg apart", lambda _base, across, up: across - up * math.tan(math.radians(axes_deg))),
    )
    found = []
    for label, off in wanted:
        offset = _offset_for(bone, plan, settings, off)
        if offset is not None:
            found.append(_goal(label, bone, plan, settings, offset))
    return tuple(found)


def _offset_for(
    bone: Femur, plan: Plan, settings: Settings, off: Callable[[float, float, float], float]
) -> float | None:
    """Return the offset with which `off` of base, head across and head above the knee is 0."""
    offset = plan.offset_mm
    for _ in range(ROUNDS):
        at = placement(bone, replace(plan, offset_mm=offset), settings)
        sideways = float((at.turn.T @ at.inward)[0])
        if abs(sideways) < LEAST_SIDEWAYS:
            return None
        change = off(*_seen(bone, plan, settings, offset)) / sideways
        offset += change
        if abs(change) < 1e-9:
            break
    return offset


def _seen(bone: Femur, plan: Plan, settings: Settings, offset_mm: float) -> tuple[float, float, float]:
    """Return how far the neck's base and the head lie inward of the shaft's axis, and the head above the knee."""
    carry = carried(placement(bone, replace(plan, offset_mm=offset_mm), settings))
    base, head = carry(np.zeros(3)), carry(bone.neck_mm * neck_axis(bone))
    return float(base[0]), float(head[0]), float(head @ U) + knee_below_crossing_mm(bone)


def _goal(label: str, bone: Femur, plan: Plan, settings: Settings, offset_mm: float) -> Goal:
    _, across, up = _seen(bone, plan, settings, offset_mm)
    numbers = result(bone, replace(plan, offset_mm=offset_mm), settings).numbers
    return Goal(label, offset_mm, numbers, math.degrees(math.atan2(across, up)))


@dataclass(frozen=True, slots=True)
class WaysOut:
    """What leaves enough of the cut faces on each other: a cut so far below the corner, a neck-shaft angle so large."""

    cut_below_corner_mm: float | None
    neck_shaft_deg: float | None


def ways_out(bone: Femur, plan: Plan, settings: Settings, least_contact: float) -> WaysOut:
    """Return what would leave the contact, each by itself; None where nothing between does."""
    return WaysOut(_higher_cut(bone, plan, settings, least_contact), _nearer_angle(bone, plan, least_contact))


def _enough(found: Result, least: float) -> bool:
    share = found.numbers.get("contact_share")
    return share is not None and share >= least


def _higher_cut(bone: Femur, plan: Plan, settings: Settings, least: float) -> float | None:
    cut = settings.cut_below_corner_mm - STEP_MM
    while cut > 0:
        changed = replace(plan, cut_below_corner_mm=cut), replace(settings, cut_below_corner_mm=cut)
        if _enough(result(bone, *changed), least):
            return cut
        cut -= STEP_MM
    return None


def _nearer_angle(bone: Femur, plan: Plan, least: float) -> float | None:
    def kept(angle: float) -> bool:
        return _enough(solved(bone, replace(plan, neck_shaft_deg=angle, found_wire=None)), least)

    near, far = bone.neck_shaft_deg, plan.neck_shaft_deg
    if not kept(near):
        return None
    for _ in range(HALVINGS):
        middle = (near + far) / 2
        near, far = (middle, far) if kept(middle) else (near, middle)
    return near


def wedges(bone: Femur, plan: Plan, settings: Settings) -> tuple[tuple[str, float, Result], ...]:
    """Return what no wedge, half of a full one, a full one and the planned one make: label, base in mm, result."""
    full = result(bone, plan, settings).numbers["wedge_full_mm"] or 0.0
    options = {"no wedge": 0.0, "half of it": full / 2, "full closing wedge": full}
    if plan.wedge_mm not in options.values():
        options["as planned"] = plan.wedge_mm
    return tuple((name, mm, result(bone, replace(plan, wedge_mm=mm), settings)) for name, mm in options.items())
