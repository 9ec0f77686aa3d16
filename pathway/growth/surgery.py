"""All that growth knows of surgery: a step adds length to a bone, stops growth plates, or slows growth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from pathway.protocol.model import Bone, Protocol

Leg = Literal["short", "long"]

BONES: tuple[Bone, ...] = ("femur", "tibia")

PHYSES: Mapping[str, Bone] = MappingProxyType(
    {"distal_femur": "femur", "proximal_femur": "femur", "proximal_tibia": "tibia", "distal_tibia": "tibia"}
)
"""The growth plates by their ids, with the bone that each belongs to."""


@dataclass(frozen=True, slots=True)
class Step:
    """What happens to one bone at one age.

    `leg` is `short` for the affected and `long` for the other leg; `adds_mm` length gained from that age
    on; `stops` ids of the growth plates closed; `slows` the fraction (0 to 1) of the bone's further growth
    that is lost; `overgrows` that the bone was broken and grows faster for a while, as published for fractures
    of the shaft of the femur (no figure for osteotomies was found). `by_distraction` is False for length that comes
    of an angle, as where a bent neck is straightened: it costs no growth. Raises ValueError for values that cannot be.
    """

    leg: Leg
    bone: Bone
    age_years: float
    adds_mm: float = 0.0
    stops: tuple[str, ...] = ()
    slows: float = 0.0
    overgrows: bool = False
    by_distraction: bool = True

    def __post_init__(self) -> None:
        if self.age_years < 0:
            raise ValueError(f"a step's age_years cannot be negative, found {self.age_years}")
        if self.adds_mm < 0:
            raise ValueError(f"a step's adds_mm cannot be negative, found {self.adds_mm}")
        if not 0 <= self.slows <= 1:
            raise ValueError(f"a step's slows is a fraction from 0 to 1, found {self.slows}")
        for physis in self.stops:
            if PHYSES.get(physis) != self.bone:
                raise ValueError(f"the {self.bone} has no growth plate {physis!r}")


def physis_shares(protocol: Protocol) -> Mapping[str, float]:
    """Return each growth plate's share of its bone's growth; raises KeyError where the rules lack one."""
    return {physis: protocol.number(f"{physis}_share") for physis in PHYSES}
