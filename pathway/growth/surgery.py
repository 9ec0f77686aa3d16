"""All that growth knows of surgery: a step adds length to a bone, stops growth plates, or slows growth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt

from pathway.growth.reference_curves import Floats, GrowthCurve, plural
from pathway.protocol.model import Bone, Protocol

Leg = Literal["short", "long"]

BONES: tuple[Bone, ...] = ("femur", "tibia")

PHYSES: Mapping[str, Bone] = MappingProxyType(
    {"distal_femur": "femur", "proximal_femur": "femur", "proximal_tibia": "tibia", "distal_tibia": "tibia"}
)
"""The growth plates by their ids, with the bone that each belongs to."""

_OTHER_PLATE = {"proximal_femur": "distal_femur", "distal_tibia": "proximal_tibia"}


@dataclass(frozen=True, slots=True)
class Step:
    """What happens to one bone at one age.

    `leg` is `short` for the affected and `long` for the other leg; `adds_mm` length gained from that age
    on; `stops` ids of the growth plates closed (how well, and how soon, is unknown); `slows` the fraction (0 to 1)
    of the bone's further growth that is lost; `overgrows` that the bone was broken and grows faster for a while, as
    published for fractures of the shaft of the femur (no figure for osteotomies was found). `by_distraction` is False
    for length that comes of an angle, as where a bent neck is straightened: it costs no growth. Raises ValueError for
    values that cannot be.
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

    @property
    def lengthens(self) -> bool:
        """Return whether the bone was lengthened by distraction, which may cost growth afterwards."""
        return self.adds_mm > 0 and self.by_distraction


@dataclass(frozen=True, slots=True, eq=False)
class PlateShares:
    """What each growth plate makes of its bone's growth, by age.

    `ages` (n,) and per plate its share (n,) of the growth at that age and `made` (n,), the part of mature length that
    it has made by then on the reference curve.
    """

    ages: Floats
    share: Mapping[str, Floats]
    made: Mapping[str, Floats]
    curve: GrowthCurve

    def between(self, plate: str, start: npt.ArrayLike, end: npt.ArrayLike) -> Floats:
        """Return the share of a plate in the growth between two ages; at the earlier age where none is left."""
        first, last = np.asarray(start, float), np.asarray(end, float)
        grown = self.curve.fraction(last) - self.curve.fraction(first)
        own = np.interp(last, self.ages, self.made[plate]) - np.interp(first, self.ages, self.made[plate])
        some = grown > _LEAST_GROWN
        at = np.interp(first, self.ages, self.share[plate])
        result: Floats = np.where(some, own / np.where(some, grown, 1.0), at)
        return result

    def still(self, plate: str, age_years: npt.ArrayLike) -> Floats:
        """Return the part of mature length that a plate will still make after each age, on the reference curve."""
        result: Floats = self.made[plate][-1] - np.interp(np.asarray(age_years, float), self.ages, self.made[plate])
        return result


_LEAST_GROWN = 1e-9


def plate_shares(protocol: Protocol, curve: GrowthCurve) -> PlateShares:
    """Return the shares of the four growth plates by age; raises KeyError where the rules lack the table.

    Straight between the printed ages and level outside them; what the plate at the knee leaves is the other's.
    """
    table = protocol.table("physis_share_by_age")
    at = {name: table.columns.index(name) for name in table.columns}
    rows = sorted(
        (row for row in table.rows if row[at["sex"]] == plural(curve.sex)), key=lambda r: float(r[at["age_years"]])
    )
    ages = tuple(float(row[at["age_years"]]) for row in rows)
    knee = tuple((plate, tuple(float(row[at[plate]]) for row in rows)) for plate in ("distal_femur", "proximal_tibia"))
    return _plate_shares(curve, ages, knee)


@lru_cache(maxsize=16)
def _plate_shares(
    curve: GrowthCurve, ages: tuple[float, ...], knee: tuple[tuple[str, tuple[float, ...]], ...]
) -> PlateShares:
    share = {plate: np.interp(curve.ages, ages, values) for plate, values in knee}
    share |= {other: 1.0 - share[plate] for other, plate in _OTHER_PLATE.items()}
    made = {
        plate: np.concatenate(([0.0], np.cumsum(curve.rises * (of[1:] + of[:-1]) / 2))) for plate, of in share.items()
    }
    return PlateShares(curve.ages, MappingProxyType(share), MappingProxyType(made), curve)
