"""What may go wrong in one lengthening, by visit, amount, gain before and state of the joints, for a programme."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone
from pathway.protocol.question import Question
from pathway.risk.step_risks import StepRisks, step_risks
from pathway.risk.steps import HipCover, Step
from pathway.rule_engine.facts import facts_on
from pathway.rule_engine.findings import Known

Exact = npt.NDArray[np.float64]
Level = Literal["centre", "low", "high"]
JOINTS = ("sound", "hip slipped", "knee slipped", "stiff")
"""States of the joints; what has happened stays for the rest of the programme."""
SOUND, HIP, KNEE, STIFF = range(len(JOINTS))


@dataclass(frozen=True, slots=True, eq=False)
class Risks:
    """Tables of T visits, X amounts, G gains before and S states of the joints.

    `unplanned` operations and lasting `harm` (T, X, G, S) are expected numbers, `short` (T, X, G) the chance to end
    short of the goal, `joints` (T, X, G, S, S) the chances from each state to each. `stopping` is the chance that
    family or team stops a treatment, `outside` (T, X, G) where published counts do not reach.
    """

    unplanned: Floats
    harm: Floats
    short: Floats
    joints: Floats
    stopping: float
    outside: np.ndarray


def hip_cover(question: Question) -> HipCover:
    """Return how the hip is covered, from the last centre-edge angle and the border of the rules."""
    facts = facts_on(question, None)
    found = facts.findings.get(("center_edge_angle_deg", "affected"))
    if not isinstance(found, Known) or not isinstance(found.value, int | float):
        return "unknown"
    return "poor" if float(found.value) <= question.protocol.number("poor_cover_centre_edge_deg") else "good"


def risks_of(
    question: Question,
    bone: Bone,
    percent: Exact,
    amounts_mm: Exact,
    ages_years: Exact,
    *,
    level: Level = "centre",
    slope: float | None = None,
) -> Risks:
    """Return the tables for lengthenings of a bone by `percent` (T, X, G) of its length.

    A shallow socket counts as prepared, since the gates ask for it before a femur is lengthened. With the hip or the
    knee slipped before, the hip counts as poorly covered again, and a joint that slipped or stiffened needs an
    operation more.
    """
    protocol, number = question.protocol, question.protocol.number
    found = hip_cover(question)
    cover: HipCover = "prepared" if found == "poor" else found
    shape = np.broadcast_shapes(percent.shape, (1, len(amounts_mm), 1))
    mm = np.broadcast_to(amounts_mm[None, :, None], shape)
    age = np.broadcast_to(ages_years[:, None, None], shape)
    by_cover = {
        each: step_risks(
            protocol,
            Step(bone, mm, percent, age, rod=bone == "femur", hip_cover=each, congenital=_congenital(question)),
            slope=slope,
            level=level,
        )
        for each in dict.fromkeys((cover, "poor"))
    }
    states = [by_cover[cover], by_cover["poor"], by_cover["poor"], by_cover[cover]]
    again = [0.0, *[number("joint_again_operations")] * 3]
    unplanned = np.stack([of.unplanned_operations + more for of, more in zip(states, again, strict=True)], axis=3)
    harm = np.stack([_harm(of, number("slip_lasting_share")) for of in states], axis=3)
    return Risks(
        unplanned=unplanned,
        harm=np.minimum(harm, 1.0),
        short=states[SOUND].short_of_goal,
        joints=_joints(states[SOUND]),
        stopping=states[SOUND].stopping,
        outside=states[SOUND].outside,
    )


def _congenital(question: Question) -> bool:
    record, protocol = question.record, question.protocol
    pattern = record.child.growth_pattern or protocol.diagnosis(record.child.diagnosis).growth_pattern
    return pattern == "congenital"


def _harm(of: StepRisks, slip_share: float) -> Floats:
    harm: Floats = of.lasting_harm + slip_share * (of.hip_slip + of.knee_slip)
    return harm


def _joints(of: StepRisks) -> Floats:
    """Return the chances (T, X, G, S, S): a sound child stays so or slips or stiffens, others stay as they are."""
    chances = np.stack((of.hip_slip, of.knee_slip, of.motion_lost), axis=3)
    whole = np.maximum(chances.sum(axis=3, keepdims=True), 1.0)
    chances = chances / whole
    table = np.zeros((*chances.shape[:3], len(JOINTS), len(JOINTS)))
    table[..., range(len(JOINTS)), range(len(JOINTS))] = 1.0
    table[..., SOUND, 1:] = chances
    table[..., SOUND, SOUND] = np.maximum(1.0 - chances.sum(axis=3), 0.0)
    return table
