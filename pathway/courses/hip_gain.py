"""The length that straightening the upper femur gains: the same number as on the sheet of the operation."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import NamedTuple

from pathway.growth import Posterior, Step
from pathway.protocol.model import Protocol
from pathway.record import Side
from pathway.rule_engine.findings import Findings, Known
from pathway.rule_engine.graph import ChildGraph
from pathway.timing.windows import Timeline
from pathway.upper_femur.model import Femur, Plan, nearest_implant_deg, solved
from pathway.upper_femur.targets import neck_shaft_for_epiphyseal, version_at_deg

STRAIGHT_DEG = 180
LIMIT = "osteotomy_epiphyseal_limit_middle_deg"


class HipGain(NamedTuple):
    """The gain of an osteotomy that is planned: as growth counts it, and whether the bone's model gives it."""

    step: Step
    from_the_model: bool


def length_gained_mm(before_deg: float, after_deg: float, neck_mm: float) -> float:
    """Return the length gained by a turn of the neck about its foot: the head's height after less that before, mm."""
    return neck_mm * (
        math.cos(math.radians(STRAIGHT_DEG - after_deg)) - math.cos(math.radians(STRAIGHT_DEG - before_deg))
    )


def expected_gain(
    graph: ChildGraph, timeline: Timeline, findings: Findings, protocol: Protocol, side: Side
) -> HipGain | None:
    """Return the gain of an osteotomy that is planned, None where it cannot be told.

    It is that of the sheet with nothing set by hand, where neck-shaft angle, version, lengths of neck and femur and
    the width of the shaft are measured. With angle and length of the neck alone it is the rise of the head.
    """
    item = next((item for item in graph.of_role("neck_shaft_correction") if item.state == "planned"), None)
    window = timeline.start(item.id) if item is not None else None
    if item is None or window is None or item.stage.gains_in is None:
        return None
    age = window.earliest_day / 365.25
    found = _gain_mm(findings, protocol, side, age)
    if found is None or found[0] <= 0:
        return None
    step = Step("short", item.stage.gains_in, age, adds_mm=found[0], by_distraction=False)
    return HipGain(step, found[1])


def with_hip_gain(posterior: Posterior, hip_gain: HipGain | None) -> Posterior:
    """Return the growth that a course starts from: with the gain at the hip, where one is expected."""
    return posterior.expecting(hip_gain.step) if hip_gain else posterior


def gain_words(gain: HipGain) -> str:
    """Return what a plan says of an expected gain."""
    told = f"Straightening the upper femur is expected to add {gain.step.adds_mm:.0f} mm of length, "
    if gain.from_the_model:
        return f"{told}as its worksheet works out from head to knee; the film afterwards will show the gain."
    return (
        f"{told}from neck length and angles alone; with version, shaft width and femur length its worksheet gives the "
        "gain from head to knee. The film afterwards will show it."
    )


def _gain_mm(findings: Findings, protocol: Protocol, side: Side, age_years: float) -> tuple[float, bool] | None:
    """Return the gain of an operation at an age, and whether the model gives it."""
    now, neck = _known(findings, "neck_shaft_angle_deg"), _known(findings, "femoral_neck_length_mm")
    if now is None or neck is None:
        return None
    target, limit = protocol.number("osteotomy_neck_shaft_target_deg"), protocol.number(LIMIT)
    slope = _known(findings, "hilgenreiner_epiphyseal_angle_deg")
    width, length = _known(findings, "femoral_shaft_width_mm"), _known(findings, "femur_length_mm")
    version = _known(findings, "femoral_version_deg")
    if width is not None and length is not None and version is not None and length > neck:
        bone = Femur(
            side=side,
            neck_shaft_deg=now,
            version_deg=version,
            flexion_deg=_known(findings, "proximal_femur_flexion_deg") or 0.0,
            flexion_frame="shaft_side",
            epiphyseal_deg=slope,
            neck_mm=neck,
            shaft_width_mm=width,
            neck_width_mm=neck,
            neck_depth_mm=neck,
            neck_wire_mm=neck,
            length_mm=length,
        )
        found = solved(bone, _plan(bone, target, limit, protocol, age_years)).numbers.get("length_gain_mm")
        if found is not None:
            return found, True
    flat = target if slope is None else max(target, now + slope - limit)
    return (length_gained_mm(now, flat, neck), False) if flat < STRAIGHT_DEG else None


def _plan(bone: Femur, target_deg: float, limit_deg: float, protocol: Protocol, age_years: float) -> Plan:
    """Return what the sheet plans with nothing set by hand: the larger of the two wishes."""
    birth, adult, until = (
        protocol.number(f"osteotomy_version_{name}") for name in ("at_birth_deg", "target_deg", "as_adult_years")
    )
    plan = Plan(
        neck_shaft_deg=target_deg,
        version_deg=float(round(version_at_deg(age_years, birth, adult, until))),
        implant_deg=target_deg,
        wire_through_mm=bone.neck_mm / 2,
        cut_below_corner_mm=protocol.number("osteotomy_cut_below_implant_mm"),
        blade_mm=0.0,
    )
    wished = neck_shaft_for_epiphyseal(bone, plan, limit_deg)
    aim = target_deg if wished is None else max(target_deg, wished)
    implant = nearest_implant_deg((item.angle_deg for item in protocol.implants), aim)
    return replace(plan, neck_shaft_deg=aim, implant_deg=implant)


def _known(findings: Findings, name: str) -> float | None:
    found = findings.get((name, "affected"))
    return float(found.value) if isinstance(found, Known) else None
