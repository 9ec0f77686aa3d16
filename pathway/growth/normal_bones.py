"""The normal length of one bone at an age, as published: for legs that cannot be compared with each other."""

from __future__ import annotations

from dataclasses import dataclass

from pathway.growth.reference_curves import plural, table_at
from pathway.protocol.model import Bone, Protocol
from pathway.record import Sex

MM_PER_CM = 10.0


@dataclass(frozen=True, slots=True)
class NormalBone:
    """Mean and SD (mm) of a normal bone at an age."""

    mean_mm: float
    sd_mm: float


def normal_bone(protocol: Protocol, sex: Sex, bone: Bone, age_years: float) -> NormalBone | None:
    """Return the published normal length of a bone, between the ages of its table; None outside them.

    From the table `amg_1964_…` of the rules: both epiphyses included, read along straight lines between its ages.
    """
    table = protocol.table(f"amg_1964_{bone}_{plural(sex)}")
    ages = table.column("age_years")
    if not ages[0] <= age_years <= ages[-1]:
        return None
    mean, sd = (table_at(ages, table.column(name), age_years) for name in ("mean", "sd"))
    return NormalBone(MM_PER_CM * mean, MM_PER_CM * sd)
