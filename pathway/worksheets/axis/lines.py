"""Lines and signed angles in the plane of a film, for many readings of one film at once.

Points and directions are arrays (n, 2), one row a reading: x inward (medial) on a front film, forward on a side film,
y up, so that left and right legs have the same numbers. Angles in degrees, lengths in mm. A turn is positive where the
distal piece goes inward (varus) or forward (recurvatum).
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
REACH_95, REACH_99 = (NormalDist().inv_cdf(1 - beyond / 2) for beyond in (0.05, 0.01))
"""So many SD to either side hold 95 and 99 of 100 readings."""
PARALLEL = 1e-9
"""Sine of an angle below which two lines do not meet."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line through `point` along the unit vector `down`, which points distally; arrays (n, 2)."""

    point: Floats
    down: Floats


def unit(of: Floats) -> Floats:
    """Return vectors (n, 2) of length 1; not a number where two points are the same."""
    with np.errstate(invalid="ignore", divide="ignore"):
        whole: Floats = of / np.linalg.norm(of, axis=-1, keepdims=True)
    return whole


def cross(one: Floats, other: Floats) -> Floats:
    """Return one x other (n,): positive where `other` lies counter-clockwise of `one`."""
    made: Floats = one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0]
    return made


def dot(one: Floats, other: Floats) -> Floats:
    """Return the inner product (n,)."""
    made: Floats = (one * other).sum(axis=-1)
    return made


def turn_deg(one: Floats, other: Floats) -> Floats:
    """Return the turn (n,) from one direction to another, -180 to 180; of distal pieces varus is positive."""
    made: Floats = np.degrees(np.arctan2(cross(one, other), dot(one, other)))
    return made


def between_deg(one: Floats, other: Floats) -> Floats:
    """Return the angle (n,) between two directions, 0 to 180."""
    return np.abs(turn_deg(one, other))


def turned(of: Floats, angle_deg: Floats | float) -> Floats:
    """Return directions (n, 2) turned counter-clockwise, the way of a positive turn."""
    angle = np.radians(angle_deg)
    c, s = np.cos(angle), np.sin(angle)
    return np.stack((c * of[..., 0] - s * of[..., 1], s * of[..., 0] + c * of[..., 1]), axis=-1)


def meet(one: Line, other: Line) -> Floats:
    """Return where two lines meet (n, 2); not a number where they are parallel."""
    sine = cross(one.down, other.down)
    with np.errstate(invalid="ignore", divide="ignore"):
        along = np.where(np.abs(sine) > PARALLEL, cross(other.point - one.point, other.down) / sine, np.nan)
    made: Floats = one.point + along[..., None] * one.down
    return made


def middle(one: Floats, other: Floats) -> Floats:
    """Return the middle (n, 2) of two points."""
    made: Floats = (one + other) / 2
    return made


def sd_of_readings(values: Floats) -> float:
    """Return one SD of the readings (n,) beside the first, which is the film as it was read; 0 where there are none."""
    return float(np.std(values[1:])) if len(values) > 1 else 0.0


def reach_95(values: Floats) -> float:
    """Return how far 95 of 100 readings lie from the middle one, in their unit."""
    return REACH_95 * sd_of_readings(values)
