"""The length that straightening the upper femur gains: a steeper neck lifts the head above the shaft."""

from __future__ import annotations

import math

from pathway.growth import Step
from pathway.protocol.model import Protocol
from pathway.rule_engine.findings import Findings, Known
from pathway.rule_engine.staging import StageGraph
from pathway.timing.schedule import Timeline

OSTEOTOMY = "proximal_femoral_osteotomy"
STRAIGHT_DEG = 180


def length_gained_mm(before_deg: float, after_deg: float, neck_mm: float) -> float:
    """Return the length gained by a turn of the neck about its foot: the head's height after less that before, mm."""
    return neck_mm * (
        math.cos(math.radians(STRAIGHT_DEG - after_deg)) - math.cos(math.radians(STRAIGHT_DEG - before_deg))
    )


def expected_gain(graph: StageGraph, timeline: Timeline, findings: Findings, protocol: Protocol) -> Step | None:
    """Return the gain of an osteotomy that is planned, as growth counts it; None where it cannot be told.

    It needs the neck-shaft angle and the neck's length as measured; the angle aimed at is the protocol's.
    """
    need = next((need for need in graph.of_kind(OSTEOTOMY) if need.need == "planned"), None)
    window = timeline.start(need.id) if need is not None else None
    if need is None or window is None or need.stage.gains_in is None:
        return None
    angle, neck = (findings.get((name, "affected")) for name in ("neck_shaft_angle_deg", "femoral_neck_length_mm"))
    if not isinstance(angle, Known) or not isinstance(neck, Known):
        return None
    target = protocol.number("osteotomy_neck_shaft_target_deg")
    gain = length_gained_mm(float(angle.value), target, float(neck.value))
    return (
        Step("short", need.stage.gains_in, window.earliest_day / 365.25, adds_mm=gain, by_distraction=False)
        if gain > 0
        else None
    )


def gain_words(step: Step) -> str:
    """Return what a plan says of an expected gain."""
    return (
        f"Straightening the upper femur is expected to add {step.adds_mm:.0f} mm of length, from neck length and "
        "angles; the film afterwards will show the gain."
    )
