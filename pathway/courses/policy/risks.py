"""What may go wrong in one lengthening, by visit, amount, gain before and state of the joints, for a programme."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pathway.growth.reference_curves import Floats
from pathway.protocol.model import Bone, Device
from pathway.protocol.question import Question, pattern_of
from pathway.risk.step_risks import Level, StepRisks, step_risks
from pathway.risk.steps import HipCover, Step
from pathway.rule_engine.findings import Known, findings_on

Exact = npt.NDArray[np.float64]
JOINTS = ("sound", "hip slipped", "knee slipped", "stiff")
"""States of the joints; what has happened stays for the rest of the programme."""
SOUND = JOINTS.index("sound")
LASTING = "lasting_harm"
SLIPPED = tuple("slipped" in joint for joint in JOINTS)
LEFT_BY_EARLIER = (
    ("hip_slipped_at_lengthening", "hip slipped"),
    ("knee_slipped_at_lengthening", "knee slipped"),
    ("knee_stiff_after_lengthening", "stiff"),
)
"""What the record says of earlier lengthenings, the gravest first, and the state that the joints are in since."""


@dataclass(frozen=True, slots=True, eq=False)
class Risks:
    """Tables of T visits, X amounts, G gains before and S states of the joints.

    `unplanned` operations and lasting `harm` (T, X, G, S) are expected numbers, `short` (T, X, G) the chance to end
    short of the goal and `short_mm` by how much, `joints` (T, X, G, S, S) the chances from each state to each.
    `stopping` is the chance that family or team stops a treatment, `outside` (T, X, G) where published counts do not
    reach.
    """

    unplanned: Floats
    harm: Floats
    short: Floats
    short_mm: Floats
    joints: Floats
    stopping: float
    outside: np.ndarray


def hip_cover(question: Question) -> HipCover:
    """Return how the hip is covered, from the last centre-edge angle and the border of the rules."""
    found = findings_on(question).get(("center_edge_angle_deg", "affected"))
    if not isinstance(found, Known) or not isinstance(found.value, int | float):
        return "unknown"
    return "poor" if float(found.value) <= question.protocol.number("poor_cover_centre_edge_deg") else "good"


def joint_before(question: Question) -> int:
    """Return the state (of JOINTS) that the lengthenings of the record left the joints in."""
    found = findings_on(question)
    for finding, state in LEFT_BY_EARLIER:
        item = found.get((finding, "affected"))
        if isinstance(item, Known) and item.value is True:
            return JOINTS.index(state)
    return SOUND


def lengthening_of(
    question: Question,
    bone: Bone,
    mm: float | Exact,
    percent: float | Exact,
    age_years: float | Exact,
    cover: HipCover,
    device: Device | None = None,
    *,
    joints: int = SOUND,
) -> Step:
    """Return a lengthening as the published counts see it, with the usual device of the bone where none is named.

    A shallow socket counts as prepared, since the gates ask for it before a femur is lengthened; with the hip or the
    knee slipped before (`joints`, a state of JOINTS) it counts as poorly covered again.
    """
    prepared: HipCover = "poor" if SLIPPED[joints] else "prepared" if cover == "poor" else cover
    used = device or question.protocol.usual_device(bone)
    return Step(
        bone,
        mm,
        percent,
        age_years,
        device=used.kind,
        rod=used.rod,
        hip_cover=prepared,
        congenital=pattern_of(question) == "congenital",
    )


def risks_of(
    question: Question,
    bone: Bone,
    percent: Exact,
    amounts_mm: Exact,
    ages_years: Exact,
    cover: HipCover,
    *,
    level: Level = "centre",
    slope: float | None = None,
    device: Device | None = None,
) -> Risks:
    """Return the tables for lengthenings of a bone by `percent` (T, X, G) of its length, with a device.

    With the hip or the knee slipped before, the hip counts as poorly covered again, and a joint that slipped or
    stiffened needs an operation more.
    """
    protocol, number = question.protocol, question.protocol.number
    shape = np.broadcast_shapes(percent.shape, (1, len(amounts_mm), 1))
    mm = np.broadcast_to(amounts_mm[None, :, None], shape)
    age = np.broadcast_to(ages_years[:, None, None], shape)
    step = lengthening_of(question, bone, mm, percent, age, cover, device)
    first, slipped = (
        step_risks(protocol, one, slope=slope, level=level) for one in (step, replace(step, hip_cover="poor"))
    )
    states = [first, slipped, slipped, first]
    again = [0.0, *[number("joint_again_operations")] * 3]
    unplanned = np.stack([of.unplanned_operations + more for of, more in zip(states, again, strict=True)], axis=3)
    harm = np.stack([lasting_harm_of(of, number("slip_lasting_share")) for of in states], axis=3)
    return Risks(
        unplanned=unplanned,
        harm=harm,
        short=first.short_of_goal,
        short_mm=first.short_mean_mm,
        joints=_joints(first),
        stopping=first.stopping,
        outside=first.outside,
    )


def lasting_harm_of(of: StepRisks, slip_share: float) -> Floats:
    """Return the chance of lasting harm of a lengthening, that share of the joints that slip counted with it."""
    harm: Floats = np.minimum(of.lasting_harm + slip_share * (of.hip_slip + of.knee_slip), 1.0)
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
