"""Rates in plain words for a family: the same hundred throughout, whole numbers, the range beside each."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pathway.protocol.model import Bone
from pathway.risk.rates import HUNDRED, Rate

HAPPENED: Mapping[str, str] = {
    "unplanned_operation": "at least one operation that was not planned was needed",
    "shortfall": "the leg ended shorter than planned",
    "stopped_early": "the lengthening was stopped before the goal",
    "premature_consolidation": "the bone joined too early",
    "new_bone": "the new bone was weak or slow",
    "fracture": "the new bone broke or bent",
    "axis": "the bone ended up bent or turned",
    "hip": "the hip became unstable",
    "knee": "the knee slipped",
    "knee_contracture": "the knee became stiff and was treated for it",
    "knee_lasting": "the knee stayed stiffer or was operated for it",
    "nerve": "there were signs of a stretched nerve",
    "deep_infection": "there was a deep infection",
    "lasting_harm": "some harm stayed",
    "major": "there was serious trouble",
    "any": "there was trouble of some kind",
}
BONES: Mapping[Bone, str] = {"femur": "thigh bone", "tibia": "shin bone"}


def of_hundred(events_per_hundred: float) -> int:
    """Return in how many of a hundred there is at least one event, as a whole number."""
    return round(HUNDRED * -float(np.expm1(-events_per_hundred / HUNDRED)))


def family_words(found: Rate, bone: Bone) -> str:
    """Return one or two sentences that tell a family how often something happened, or why that is not told."""
    what = HAPPENED[found.outcome]
    if found.centre is None or found.low is None or found.high is None:
        if found.why_not.startswith("seen"):
            return f"That {what} has been seen; how often is not known."
        return f"How often {what} cannot be told here: {found.why_not}."
    often, least, most = (of_hundred(value) for value in (found.centre, found.low, found.high))
    such = f"one such lengthening of the {BONES[bone]}" if "lengthenings" in found.per else "such lengthenings"
    return (
        f"Estimated from published groups: of 100 children who have {such}, in about {often} {what}. "
        f"From team to team it could be anything from {least} to {most}."
    )
