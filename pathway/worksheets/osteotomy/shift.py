"""Where the shaft goes: how far it is moved on the upper piece, what contact is left, and what length is gained.

Lengths mm, angles degrees. The shaft is moved laterally with valgus (positive here) and medially with varus. The
hinge lies on the shaft's axis at the cut. `d` of the formulas is the distance of the cut below the crossing of the
axes of neck and shaft: the neck's base comes back onto the shaft's axis by a shift of d sin(correction).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pathway.record import Side
from pathway.worksheets.osteotomy.frames import (
    STRAIGHT_DEG,
    UP,
    Matrix,
    NeckAngles,
    Vector,
    medial,
    neck_axis,
)


@dataclass(frozen=True, slots=True)
class Femur:
    """Lengths of the thigh bone (mm): neck to the head's centre, cut and knee below the crossing, width at the cut."""

    neck_mm: float
    cut_mm: float
    knee_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True)
class Placed:
    """The shaft placed under the upper piece: how far it was moved, and what comes of it.

    `contact` is the share of the bone's width that still meets (0 to 1), `axis_deg` the angle between shaft and the
    line from head to knee on the front view, `gain_mm` what the leg gains in length from head to knee, `offset_mm`
    how far the head stands inward of the shaft's axis.
    """

    lateral_mm: float
    anterior_mm: float
    contact: float
    axis_deg: float
    gain_mm: float
    offset_mm: float

    @property
    def size_mm(self) -> float:
        """Return the whole length of the shift."""
        return math.hypot(self.lateral_mm, self.anterior_mm)


@dataclass(frozen=True, slots=True)
class WaysOut:
    """What keeps the contact: a cut this far below the crossing at most, this much correction, or so many steps."""

    highest_cut_mm: float | None
    most_correction_deg: float | None
    steps: int


def knee_below_crossing_mm(femur_mm: float, before: NeckAngles, neck_mm: float) -> float:
    """Return how far the knee lies below the crossing of the axes, from the length of the bone (head to knee).

    Raises ValueError where the neck alone would be longer than the bone.
    """
    lean = math.radians(STRAIGHT_DEG - before.neck_shaft_deg)
    rest = femur_mm**2 - (neck_mm * math.sin(lean)) ** 2
    knee = math.sqrt(rest) - neck_mm * math.cos(lean) if rest > 0 else -1.0
    if knee <= 0:
        raise ValueError("the neck is longer than the bone")
    return knee


def cut_below_crossing_mm(before: NeckAngles, width_mm: float, below_implant_mm: float) -> float:
    """Return how far below the crossing of the axes a transverse cut lies that keeps its distance to the implant.

    A blade along the neck enters the outer cortex (width / 2) cot b below the crossing, or above it where the neck
    points down; then the cut counts from the crossing, so that it stays below the base of the neck.
    """
    lean = math.radians(STRAIGHT_DEG - before.neck_shaft_deg)
    up, across = math.cos(lean), math.sin(lean)
    # A neck nearly in line with the shaft meets the outer cortex nowhere near: a shaft's width below is far enough.
    entry = width_mm if across <= up / 2 else width_mm / 2 * up / across
    return max(entry, 0.0) + below_implant_mm


def neck_base_shift_mm(cut_mm: float, correction_deg: float) -> float:
    """Return the shift that brings the neck's base back onto the shaft's axis, in one plane: d sin(correction)."""
    return cut_mm * math.sin(math.radians(correction_deg))


def axis_before_deg(before: NeckAngles, femur: Femur, side: Side) -> float:
    """Return the angle between shaft and the line from head to knee on the front view before the correction."""
    return _axis_deg(femur.neck_mm * neck_axis(before, side) + femur.knee_mm * UP, side)


def unmoved(before: NeckAngles, turn: Matrix, femur: Femur, side: Side) -> Placed:
    """Return the shaft left where it is: nothing moved."""
    return _placed(before, turn, femur, side, 0.0, 0.0)


def neck_base_on_axis(before: NeckAngles, turn: Matrix, femur: Femur, side: Side) -> Placed:
    """Return the shaft moved until the neck's base stands on its axis again."""
    base = turn @ (femur.cut_mm * UP)
    return _placed(before, turn, femur, side, -medial(side) * float(base[0]), float(base[1]))


def with_axis_angle(before: NeckAngles, turn: Matrix, femur: Femur, side: Side, axis_deg: float) -> Placed:
    """Return the shaft moved until its axis stands at a wanted angle to the line from head to knee, front view."""
    head = _head(before, turn, femur, side)
    lateral = float(head[2]) * math.tan(math.radians(axis_deg)) - medial(side) * float(head[0])
    base = turn @ (femur.cut_mm * UP)
    return _placed(before, turn, femur, side, lateral, float(base[1]))


def ways_out(femur: Femur, angulation_deg: float, least_contact: float) -> WaysOut:
    """Return what would keep the contact for the neck's base on the axis; None where nothing has to change.

    A cut no lower than (1 - contact) width / sin A, or an angle no larger than asin((1 - contact) width / d), or
    the correction in so many steps of their own.
    """
    room = (1 - least_contact) * femur.width_mm
    needed = abs(neck_base_shift_mm(femur.cut_mm, angulation_deg))
    if needed <= room + 1e-9:
        return WaysOut(None, None, 1)
    sine = math.sin(math.radians(angulation_deg))
    steps = math.ceil(needed / room - 1e-9) if room > 0 else 0
    return WaysOut(room / sine, math.degrees(math.asin(min(1.0, room / femur.cut_mm))), steps)


def wedge_base_mm(width_mm: float, angle_deg: float) -> float:
    """Return the base of a right-angled wedge, one of whose faces is square to the shaft: w tan A."""
    return width_mm * math.tan(math.radians(angle_deg))


def symmetrical_wedge_mm(width_mm: float, angle_deg: float) -> float:
    """Return the base of a wedge halved by the transverse plane: 2 w tan(A / 2)."""
    return 2 * width_mm * math.tan(math.radians(angle_deg) / 2)


def chord_mm(width_mm: float, angle_deg: float) -> float:
    """Return the straight gap at the open edge when the pieces hinge at the other one: 2 w sin(A / 2)."""
    return 2 * width_mm * math.sin(math.radians(angle_deg) / 2)


def hinge_rise_mm(width_mm: float, angle_deg: float) -> float:
    """Return by how much the axis of the bone lengthens when the pieces hinge at one edge: w / 2 sin A."""
    return width_mm / 2 * math.sin(math.radians(angle_deg))


def arc_mm(width_mm: float, angle_deg: float) -> float:
    """Return the way of the open edge along its arc: w A."""
    return width_mm * math.radians(angle_deg)


def _head(before: NeckAngles, turn: Matrix, femur: Femur, side: Side) -> Vector:
    """Return the head's centre seen from the knee, nothing moved."""
    piece = femur.cut_mm * UP + femur.neck_mm * neck_axis(before, side)
    return (femur.knee_mm - femur.cut_mm) * UP + turn @ piece


def _placed(
    before: NeckAngles, turn: Matrix, femur: Femur, side: Side, lateral_mm: float, anterior_mm: float
) -> Placed:
    head = _head(before, turn, femur, side) + np.array([medial(side) * lateral_mm, -anterior_mm, 0.0])
    old = femur.neck_mm * neck_axis(before, side) + femur.knee_mm * UP
    contact = max(0.0, 1 - math.hypot(lateral_mm, anterior_mm) / femur.width_mm)
    gain = float(np.linalg.norm(head) - np.linalg.norm(old))
    offset = medial(side) * float(head[0])
    return Placed(lateral_mm, anterior_mm, contact, _axis_deg(head, side), gain, offset)


def _axis_deg(head: Vector, side: Side) -> float:
    return math.degrees(math.atan2(medial(side) * float(head[0]), float(head[2])))
