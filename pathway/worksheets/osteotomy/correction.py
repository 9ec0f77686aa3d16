"""The correction in one plane and by one cut. Degrees throughout."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pathway.worksheets.osteotomy.frames import Matrix, axis_and_angle

LEVEL_DEG = 90.0


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


def one_cut(turn: Matrix) -> OneCut | None:
    """Return the single cut for a rotation told along inward, forward and up, None where there is nothing to turn.

    The cut lies square to the axis of the rotation: for an angulation A with a torsion T its tilt against a
    transverse cut is tan i = tan(A / 2) / sin(T / 2), and the direction of the tilt stands T / 2 off.
    """
    whole = axis_and_angle(turn)
    if whole.angle_deg < 1e-9:
        return None
    x, y, z = whole.axis if whole.axis[2] >= 0 else tuple(-part for part in whole.axis)
    tilt = math.degrees(math.atan2(math.hypot(x, y), z))
    # The plane square to (x, y, z) rises where the axis leans away.
    rises = math.degrees(math.atan2(-y, -x)) if tilt > 1e-9 else 0.0
    return OneCut(tilt, rises, whole.angle_deg)
