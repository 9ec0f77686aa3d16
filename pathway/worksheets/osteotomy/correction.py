"""The correction: steps in their order, the one rotation they add up to, one cut.

Steps turn about axes that stay with the shaft: first valgus or varus in the plane of the neck (the leg turned until
the neck lies in the picture), then extension or flexion, then rotation of the shaft. Turning by the steps backward
undoes them. Degrees throughout; signs as in `frames`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pathway.record import Side
from pathway.worksheets.osteotomy.frames import (
    STRAIGHT_DEG,
    Matrix,
    NeckAngles,
    axis_and_angle,
    extension,
    inward,
    medial,
    neck_angles,
    neck_axis,
    signed_deg,
    valgus,
)

Step = Literal["valgus", "extension", "rotation"]
ORDER: tuple[Step, ...] = ("valgus", "extension", "rotation")
LEVEL_DEG = 90.0


@dataclass(frozen=True, slots=True)
class Steps:
    """How far each step turns; `plane_deg` is the version of the plane that the first one turns in."""

    valgus_deg: float
    extension_deg: float
    rotation_deg: float
    plane_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Found:
    """The steps towards a wanted neck, and the neck they lead to; `reached` says whether it is the wanted one."""

    steps: Steps
    after: NeckAngles
    reached: bool


@dataclass(frozen=True, slots=True)
class OnePlane:
    """A deformity seen in two planes as one: its angle and the plane it lies in, from the front plane on."""

    exact_deg: float
    graphical_deg: float
    plane_deg: float


@dataclass(frozen=True, slots=True)
class OneCut:
    """One cut in which turning the pieces on each other makes the whole correction.

    `tilt_deg` is the slope of the cut against a transverse one; `rises_deg` the direction in which it rises, from
    medial (0) by the front (90); `turn_deg` how far the pieces turn on each other in the plane of the cut.
    """

    tilt_deg: float
    rises_deg: float
    turn_deg: float


def turn_of(steps: Steps, side: Side, order: tuple[Step, ...] = ORDER) -> Matrix:
    """Return the one rotation that the steps make when done in this order."""
    turns = {
        "valgus": valgus(steps.valgus_deg, side, steps.plane_deg),
        "extension": extension(steps.extension_deg),
        "rotation": inward(steps.rotation_deg, side),
    }
    whole = np.eye(3)
    for step in order:
        whole = turns[step] @ whole
    return whole


def turned(before: NeckAngles, turn: Matrix, side: Side) -> NeckAngles:
    """Return the angles of the neck after a rotation of the head-and-neck piece."""
    return neck_angles(turn @ neck_axis(before, side), side)


def steps_to(before: NeckAngles, wanted: NeckAngles, extension_deg: float, side: Side) -> Found:
    """Return the steps that bring the neck to the wanted angles with a given extension.

    The extension also changes angle and version, so valgus and rotation are worked out with it in view. Where no
    turn in the plane of the neck reaches the wanted angle, the steps come as near as can be.
    """
    lean, version = math.radians(STRAIGHT_DEG - before.neck_shaft_deg), math.radians(before.version_deg)
    back = math.radians(extension_deg)
    # Height of the neck's end after valgus and extension, as a function of its lean b: size * cos(b - offset).
    up, front = math.cos(back), math.sin(version) * math.sin(back)
    size, offset = math.hypot(up, front), math.atan2(front, up)
    height = math.cos(math.radians(STRAIGHT_DEG - wanted.neck_shaft_deg))
    reached = abs(height) <= size + 1e-12
    part = math.acos(max(-1.0, min(1.0, height / size))) if size > 1e-12 else abs(lean - offset)
    # Two leans give the height: the one that needs the smaller turn.
    new = min((offset + part, offset - part), key=lambda b: (abs(_half_turn(lean - b)), b))
    by_valgus = math.degrees(_half_turn(lean - new))
    partly = Steps(by_valgus, extension_deg, 0.0, before.version_deg)
    there = turned(before, turn_of(partly, side), side)
    steps = Steps(by_valgus, extension_deg, signed_deg(wanted.version_deg - there.version_deg), before.version_deg)
    return Found(steps, turned(before, turn_of(steps, side), side), reached)


def angulation_deg(turn: Matrix) -> float:
    """Return the angle between the two faces of a transverse cut after the rotation: what a wedge has to fill."""
    return math.degrees(math.atan2(math.hypot(float(turn[0, 2]), float(turn[1, 2])), float(turn[2, 2])))


def one_plane(front_deg: float, side_deg: float) -> OnePlane:
    """Return the deformity whose shadow is one angle on the front film and another on the side film.

    Exact: tan A = sqrt(tan^2 front + tan^2 side), plane atan(tan side / tan front) from the front plane; beside it
    the graphical sqrt(front^2 + side^2). Both films within 90 degrees (ValueError else). Source: geometry as printed
    in Orthop Rev, article 120302.
    """
    if max(abs(front_deg), abs(side_deg)) >= LEVEL_DEG:
        raise ValueError("an angle of 90 degrees or more has no shadow to reckon with")
    across, front = math.tan(math.radians(front_deg)), math.tan(math.radians(side_deg))
    exact = math.degrees(math.atan(math.hypot(across, front)))
    return OnePlane(exact, math.hypot(front_deg, side_deg), math.degrees(math.atan2(front, across)))


def one_cut(turn: Matrix, side: Side) -> OneCut | None:
    """Return the single cut for a rotation, None where there is nothing to turn.

    The cut lies square to the axis of the rotation: for an angulation A with a torsion T its tilt against a
    transverse cut is tan i = tan(A / 2) / sin(T / 2), and the direction of the tilt stands T / 2 off.
    """
    whole = axis_and_angle(turn)
    if whole.angle_deg < 1e-9:
        return None
    x, y, z = whole.axis if whole.axis[2] >= 0 else tuple(-part for part in whole.axis)
    tilt = math.degrees(math.atan2(math.hypot(x, y), z))
    # The plane square to (x, y, z) rises where the axis leans away.
    rises = math.degrees(math.atan2(-y, -medial(side) * x)) if tilt > 1e-9 else 0.0
    return OneCut(tilt, rises, whole.angle_deg)


def _half_turn(angle: float) -> float:
    return math.radians(signed_deg(math.degrees(angle)))
