"""Legs built with known bends, apart from the sheet: complex numbers, x inward, y up, varus counter-clockwise."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, field

import numpy as np

from pathway.worksheets.axis.bends import Normal, Normals
from pathway.worksheets.axis.landmarks import Leg

BAND = 3.0
MLDFA, MPTA, LDTA, MLPFA, SHAFT = 87.5, 88.0, 89.0, 90.0, 7.0
NORMALS = Normals(*(Normal(value, value - BAND, value + BAND) for value in (MLDFA, MPTA, LDTA, MLPFA, SHAFT)))
FEMUR_MM, TIBIA_MM, WIDE_MM = 240.0, 200.0, 60.0


def way(angle_deg: float) -> complex:
    """Return the unit vector that points down, turned by so many degrees of varus."""
    return cmath.rect(1, math.radians(angle_deg - 90))


@dataclass
class Built:
    """A straight leg of usual joint angles whose parts below an apex are turned about it, from below upward."""

    points: dict[str, complex] = field(default_factory=dict)
    femur: list[complex] = field(default_factory=list)
    tibia: list[complex] = field(default_factory=list)

    def turn(self, apex: complex, angle_deg: float, names: list[str], femur_from: int, tibia_from: int) -> None:
        """Turn the named points, and the points of the shafts from these on, about an apex; varus positive."""
        by = cmath.rect(1, math.radians(angle_deg))
        for name in names:
            self.points[name] = apex + (self.points[name] - apex) * by
        for shaft, first in ((self.femur, femur_from), (self.tibia, tibia_from)):
            shaft[first:] = [apex + (point - apex) * by for point in shaft[first:]]


def straight(femur_at: tuple[float, ...] = (), tibia_at: tuple[float, ...] = ()) -> Built:
    """Return a straight leg; points of the shafts lie at these shares of the bones from above."""
    knee = -1j * FEMUR_MM
    slope = cmath.rect(1, math.radians(MLDFA - 90))
    shin = way(MLDFA - MPTA)
    ankle = knee - 2j + shin * TIBIA_MM
    surface = cmath.rect(1, math.radians(LDTA - 90 + MLDFA - MPTA))
    half = WIDE_MM / 2
    built = Built(
        {
            "hip_centre": 0j,
            "trochanter_tip": -40 * cmath.rect(1, math.radians(90 - MLPFA)),
            "femoral_condyle_lateral": knee - half * slope,
            "femoral_condyle_medial": knee + half * slope,
            "tibial_plateau_lateral": knee - 2j - half * slope,
            "tibial_plateau_medial": knee - 2j + half * slope,
            "ankle_lateral": ankle - 20 * surface,
            "ankle_medial": ankle + 20 * surface,
        }
    )
    shaft = way(SHAFT)
    built.femur = [knee + 5 - shaft * FEMUR_MM * (1 - share) for share in femur_at]
    built.tibia = [knee - 2j + shin * TIBIA_MM * share for share in tibia_at]
    return built


BELOW_FEMUR = [
    "femoral_condyle_lateral",
    "femoral_condyle_medial",
    "tibial_plateau_lateral",
    "tibial_plateau_medial",
    "ankle_lateral",
    "ankle_medial",
]
BELOW_TIBIA = BELOW_FEMUR[4:]


def xy(point: complex) -> list[float]:
    return [point.real, point.imag]


def leg_of(built: Built, side: dict[str, list[complex]] | None = None) -> Leg:
    """Return the built leg as the sheet reads it, in mm, one reading of each point."""

    def pieces(points: list[complex]) -> tuple[tuple[np.ndarray, np.ndarray], ...]:
        made = [np.array([xy(point)]) for point in points]
        return tuple(zip(made[::2], made[1::2], strict=True))

    return Leg(
        {name: np.array([xy(point)]) for name, point in built.points.items()},
        {"femur": pieces(built.femur), "tibia": pieces(built.tibia)},
        {bone: pieces(points) for bone, points in (side or {}).items()},
    )
