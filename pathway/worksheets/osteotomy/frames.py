"""Rotations in the frame of the thigh bone, for the right and the left side.

The frame lies in the shaft below the cut, with the kneecap to the front: x to the child's right, y to the front,
z up along the shaft. It is right-handed on both sides. What is medial is +x on the left and -x on the right, so
the right side is the left one with x mirrored. Angles in degrees; anteversion is positive.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathway.record import Side

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]
STRAIGHT_DEG = 180.0
UP: Vector = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True)
class NeckAngles:
    """Direction of the neck against the shaft: the angle on the medial side, and the version; degrees."""

    neck_shaft_deg: float
    version_deg: float


@dataclass(frozen=True, slots=True)
class AxisAngle:
    """A rotation as one turn: unit axis in the frame of the shaft, angle in degrees (0 to 180)."""

    axis: tuple[float, float, float]
    angle_deg: float


def medial(side: Side) -> int:
    """Return the sign of x on the medial side: +1 on the left, -1 on the right."""
    return 1 if side == "left" else -1


def neck_axis(angles: NeckAngles, side: Side) -> Vector:
    """Return the unit vector from the shaft along the neck to the head."""
    lean, version = math.radians(STRAIGHT_DEG - angles.neck_shaft_deg), math.radians(angles.version_deg)
    across = math.sin(lean)
    return np.array([medial(side) * across * math.cos(version), across * math.sin(version), math.cos(lean)])


def about(axis: Vector, angle_deg: float) -> Matrix:
    """Return the rotation by `angle_deg` about a unit axis, by the right hand."""
    angle = math.radians(angle_deg)
    x, y, z = (float(part) for part in axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    turn: Matrix = np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * (cross @ cross)
    return turn


def extension(angle_deg: float) -> Matrix:
    """Return a turn into extension (the head goes backward), about the axis across the shaft; alike on both sides."""
    return about(np.array([1.0, 0.0, 0.0]), angle_deg)


def inward(angle_deg: float, side: Side) -> Matrix:
    """Return the turn that raises the version: the shaft turns inward under the head-and-neck piece."""
    return about(UP, medial(side) * angle_deg)


def axis_and_angle(turn: Matrix) -> AxisAngle:
    """Return a rotation as one axis and angle; no rotation has the axis of the shaft and 0 degrees."""
    # By the largest part of the quaternion, so that neither small turns nor half turns lose digits.
    (a, b, c), (d, e, f), (g, h, i) = turn.tolist()
    candidates = (
        (1 + a + e + i, h - f, c - g, d - b),
        (h - f, 1 + a - e - i, b + d, c + g),
        (c - g, b + d, 1 - a + e - i, f + h),
        (d - b, c + g, f + h, 1 - a - e + i),
    )
    best = max(range(4), key=lambda k: candidates[k][k])
    w, x, y, z = candidates[best]
    if w < 0:
        w, x, y, z = -w, -x, -y, -z
    size = math.sqrt(x * x + y * y + z * z)
    if size < 1e-12 * max(abs(w), 1.0):
        return AxisAngle((0.0, 0.0, 1.0), 0.0)
    return AxisAngle((x / size, y / size, z / size), 2 * math.degrees(math.atan2(size, w)))
