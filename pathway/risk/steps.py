"""One lengthening as the pooled counts see it, and why they may not speak of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from pathway.problems import refused
from pathway.protocol.harm import OUTCOMES, Device
from pathway.protocol.model import Bone, Protocol
from pathway.risk.terms import FRAMES, INSIDE, Floats, Mix

HipCover = Literal["good", "poor", "prepared", "unknown"]


@dataclass(frozen=True, slots=True)
class Step:
    """One lengthening: bone, gain (mm) and percent of the bone's length before it, age (years), device.

    `mm`, `percent` and `age_years` are numbers, or arrays that fit together. `rod`: a rod or nail comes into the
    bone when the frame goes, or lies beside it. `hip_cover`: of the hip above a femur (`prepared`: by an operation).
    `congenital`: the bone is short from birth. `bone_disorder`: the bone itself is diseased, or its growth plate was
    closed by injury or infection.
    """

    bone: Bone
    mm: float | Floats
    percent: float | Floats
    age_years: float | Floats
    device: Device = "frame"
    rod: bool = False
    hip_cover: HipCover = "unknown"
    congenital: bool = True
    bone_disorder: bool = False

    def mix(self, protocol: Protocol) -> Mix:
        """Return the parts that the pooled coefficients are multiplied by."""
        shallow = {"poor": 1.0, "unknown": protocol.number("risk_unknown_cover")}
        return Mix(
            congenital=float(self.congenital),
            tibia=float(self.bone == "tibia"),
            nail=float(self.device == "nail"),
            frame_over_nail=float(self.device == "frame_over_nail"),
            fast_distraction=float(self.device == "fast_distraction"),
            rod=float(self.rod or self.device in INSIDE),
            poor_cover=shallow.get(self.hip_cover, 0.0),
        )


def check_outcome(outcome: str) -> None:
    """Raise Refused where the pooled counts do not distinguish an outcome, naming those that they do."""
    if outcome not in OUTCOMES:
        known = ", ".join(OUTCOMES)
        raise refused("risk", f"the outcome {outcome!r}", f"one of {known}", "name one of them")


def check_step(step: Step) -> None:
    """Raise Refused for a step that is no lengthening: a device that lengthens nothing, a number below 0 or none."""
    if step.device not in (*FRAMES, *INSIDE, "fast_distraction"):
        expected = f"one of {', '.join((*FRAMES, *INSIDE, 'fast_distraction'))}"
        raise refused("risk", f"the device {step.device!r}", expected, "name the device of this lengthening")
    for name, value in (("mm", step.mm), ("percent", step.percent), ("age_years", step.age_years)):
        values = np.asarray(value, dtype=float)
        if not np.isfinite(values).all() or (values < 0).any():
            raise refused("risk", f"{name} {value}", "numbers of 0 or more", "give the lengthening as planned")


def outside(protocol: Protocol, step: Step) -> np.ndarray:
    """Return where the published counts do not reach, by percent and age, as an array of the step's shape."""
    percent, age, _ = np.broadcast_arrays(*map(np.asarray, (step.percent, step.age_years, step.mm)))
    number = protocol.number
    few = (percent < number("risk_shown_from_percent")) | (percent > number("risk_shown_to_percent"))
    return np.asarray(
        few | (age < number("risk_shown_from_age_years")) | (age > number("risk_shown_to_age_years")), dtype=bool
    )


def why_outside(protocol: Protocol, step: Step) -> str:
    """Return in words why the published counts do not reach a step, or ""."""
    if step.bone_disorder:
        return "published counts of diseased bones are too few to be told"
    number = protocol.number
    ages = number("risk_shown_from_age_years"), number("risk_shown_to_age_years")
    percents = number("risk_shown_from_percent"), number("risk_shown_to_percent")
    age, percent = np.asarray(step.age_years), np.asarray(step.percent)
    if ((age < ages[0]) | (age > ages[1])).any():
        return f"published counts reach from {ages[0]:g} to {ages[1]:g} years of age only"
    if ((percent < percents[0]) | (percent > percents[1])).any():
        return f"published counts reach from {percents[0]:g} to {percents[1]:g} % of the bone only"
    return ""
