"""What part a stage plays: a lengthening, the growth arrest, the prosthetic road, what follows a lengthening."""

from __future__ import annotations

from collections.abc import Mapping

from pathway.protocol.model import Bone, Protocol, Stage

LENGTHENING: Mapping[Bone, str] = {"femur": "femoral_lengthening", "tibia": "tibial_lengthening"}
ARREST = "contralateral_growth_arrest"
PROSTHETIC = "prosthetic_road"


def follows(kind: Stage, protocol: Protocol) -> Stage | None:
    """Return the lengthening whose end starts this stage (device removal, surveillance), or None."""
    for rule in protocol.intervals:
        if rule.at_most_months == 0 and rule.later_stage == kind.id and rule.earlier.endswith(".end"):
            earlier = protocol.stage(rule.earlier_stage)
            if earlier.bone is not None:
                return earlier
    return None
