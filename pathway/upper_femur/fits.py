"""What a refused plan would have to be for the model to allow it: one change each, worked out again."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from pathway.upper_femur.model import Femur, Plan, Refusal, Result, Settings, U, placement, solved

STEP_DEG = 0.5
HALVINGS = 40
REASONS: dict[Refusal, str] = {
    "no_correction_reaches": "No turn of the shaft reaches this neck-shaft angle with this flexion and version.",
    "over_90": "The shaft would have to be turned by 90 deg or more.",
    "wire_misses_shaft": "The wire does not meet the outer side of the shaft.",
    "wire_along_physis": "The wire runs along the growth plate or away from it, so that no blade length can be chosen.",
    "blade_leaves_neck": "The blade leaves the neck, or comes nearer to its cortex than allowed.",
    "blade_crosses_physis_margin": "The blade's tip comes nearer to the growth plate than allowed, or crosses it.",
    "wedge_meets_blade": "The wedge taken from the upper piece would meet the blade.",
    "bridge_too_small": "Too little bone is left between blade and cut.",
    "wedge_too_large": "The wedge is larger than one that closes fully.",
    "rotation_exceeds_turn": "The rotation between the wires is larger than the whole turn of the bone.",
}
"""Why a plan is refused, in words."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A change of the plan that answers a refusal: `plan` is the changed one, `left` what is refused then still."""

    refusal: Refusal
    plan: Plan
    result: Result

    @property
    def left(self) -> tuple[Refusal, ...]:
        """Return what the changed plan is refused for."""
        return self.result.refused


def fits(bone: Femur, plan: Plan, found: Result) -> dict[Refusal, Fit | None]:
    """Return for each refusal the nearest change that answers it, None where the model knows of none."""
    return {refusal: _fit(refusal, bone, plan, found) for refusal in found.refused}


def all_at_once(bone: Femur, plan: Plan, found: Result) -> tuple[Plan, Result] | None:
    """Return the plan with every change that answers a refusal made in turn; None where one stays unanswered."""
    changed = plan
    for _ in range(len(_CHANGES)):
        if not found.refused:
            return changed, found
        fit = _fit(found.refused[0], bone, changed, found)
        if fit is None:
            return None
        changed, found = fit.plan, fit.result
    return None if found.refused else (changed, found)


def other_implants(bone: Femur, plan: Plan, angles_deg: Sequence[float]) -> dict[float, Result]:
    """Return the implants that are not refused, with the wire that each needs and the longest blade where none is set.

    Nothing but implant and wire is changed; a wire found at the table is given up.
    """
    tried = {
        angle: solved(bone, replace(plan, implant_deg=angle, found_wire=None, blade_mm=None))
        for angle in angles_deg
        if angle != plan.implant_deg
    }
    return {angle: one for angle, one in tried.items() if not one.refused}


def least_bridge_mm(bone: Femur, plan: Plan, settings: Settings) -> float:
    """Return the least bone between blade and cut over the width of the shaft; raises NotPossible.

    The model's bridge is told at the blade's entry; a blade that falls inward comes nearer to the cut behind it.
    """
    at = placement(bone, plan, settings)
    wire, entry = (way - float(way @ U) * U for way in (at.wire, at.entry))
    across = max(0.0, -2 * float(entry @ wire) / float(wire @ wire))
    steep = math.sqrt(float(wire @ wire))
    height = float(at.entry @ U) - at.level_mm - plan.blade_thickness_mm / 2 / steep
    return min(height, height + across * float(at.wire @ U))


def _fit(refusal: Refusal, bone: Femur, plan: Plan, found: Result) -> Fit | None:
    change = _CHANGES.get(refusal)
    changed = None if change is None else change(bone, plan, found)
    if changed is None:
        return None
    again = solved(bone, changed)
    return None if refusal in again.refused else Fit(refusal, changed, again)


def _longest(bone: Femur, plan: Plan, found: Result) -> Plan | None:
    """Return the plan with the longest blade that keeps both margins."""
    most = solved(bone, replace(plan, blade_mm=None)).numbers.get("blade_mm")
    if most is None or most <= 0:
        return None

    def kept(length: float) -> bool:
        return "blade_leaves_neck" not in solved(bone, replace(plan, blade_mm=length)).refused

    if kept(most):
        return replace(plan, blade_mm=most)
    low, high = 0.0, most
    # The distance to the wall is concave along the blade: what holds for a length holds for every shorter one.
    if not kept(low):
        return None
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if kept(middle) else (low, middle)
    return replace(plan, blade_mm=low)


def _lower_cut(bone: Femur, plan: Plan, found: Result) -> Plan | None:
    lack = plan.bridge_least_mm - (found.numbers["bridge_mm"] or 0.0)
    return replace(plan, cut_below_corner_mm=plan.cut_below_corner_mm + lack)


def _smaller_wedge(bone: Femur, plan: Plan, found: Result) -> Plan | None:
    room, taken = (found.numbers["bridge_mm"] or 0.0) - plan.bridge_least_mm, found.numbers["wedge_at_entry_mm"] or 0.0
    return replace(plan, wedge_mm=plan.wedge_mm * room / taken) if 0 < room < taken else None


def _full_wedge(bone: Femur, plan: Plan, found: Result) -> Plan | None:
    return replace(plan, wedge_mm=found.numbers["wedge_full_mm"] or 0.0)


def _nearer_target(bone: Femur, plan: Plan, found: Result) -> Plan | None:
    """Return the plan with the nearest neck-shaft angle between now and the target that can be worked out."""
    way = bone.neck_shaft_deg - plan.neck_shaft_deg
    for step in range(1, int(abs(way) / STEP_DEG) + 1):
        nearer = replace(plan, neck_shaft_deg=plan.neck_shaft_deg + (STEP_DEG if way > 0 else -STEP_DEG) * step)
        if solved(bone, nearer).settings is not None:
            return nearer
    return None


_CHANGES: dict[Refusal, Callable[[Femur, Plan, Result], Plan | None]] = {
    "blade_leaves_neck": _longest,
    "blade_crosses_physis_margin": _longest,
    "bridge_too_small": _lower_cut,
    "wedge_meets_blade": _smaller_wedge,
    "wedge_too_large": _full_wedge,
    "no_correction_reaches": _nearer_target,
    "over_90": _nearer_target,
}
