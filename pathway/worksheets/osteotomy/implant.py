"""Which implant, which wire, which length: what each choice makes of the neck-shaft angle, best first.

A wire off the neck's axis by n degrees changes the result by n: positive where the neck stands steeper than the
wire (the wire lies under the neck), which adds. Screws of a plate count as a blade. Angles degrees, lengths mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from pathway.protocol.model import Implant
from pathway.record import Side
from pathway.worksheets.osteotomy.frames import (
    STRAIGHT_DEG,
    UP,
    Matrix,
    NeckAngles,
    inward,
    medial,
    neck_axis,
)


@dataclass(frozen=True, slots=True)
class Choice:
    """An implant with a wire, the neck-shaft angle that comes of it, and its longest blade that fits (None: none)."""

    implant: Implant
    offset_deg: float
    neck_shaft_deg: float
    length_mm: float | None


@dataclass(frozen=True, slots=True)
class Slot:
    """How the slot of the blade is set: its plate `out_of_plane_deg` behind the plane of neck and shaft.

    `about_blade_deg` is the same setting as a turn about the blade itself, which is larger the less square the
    shaft comes to stand to the blade.
    """

    out_of_plane_deg: float
    about_blade_deg: float


def neck_shaft_after(implant_deg: float, off_front_deg: float = 0.0, off_side_deg: float = 0.0) -> float:
    """Return the neck-shaft angle that an implant makes of a wire off the neck's axis.

    `off_front_deg` is how much steeper the neck stands than the wire, in the plane of the plate: it is added.
    `off_side_deg` is how far the neck leaves that plane.
    """
    lean, out = math.radians(STRAIGHT_DEG - implant_deg - off_front_deg), math.radians(off_side_deg)
    if out == 0.0:
        return implant_deg + off_front_deg
    up, across = math.cos(out) * math.cos(lean), math.hypot(math.cos(out) * math.sin(lean), math.sin(out))
    return STRAIGHT_DEG - math.degrees(math.atan2(across, up))


def wire_to_shaft_deg(implant_deg: float, correction_deg: float) -> float:
    """Return the angle between wire and present shaft, medial side, that makes the correction with this implant."""
    return implant_deg - correction_deg


def offsets(step_deg: float, most_deg: float, triangle_deg: float) -> tuple[float, ...]:
    """Return the offsets of the wire that are tried: 0, steps to both sides, the triangle at both ends."""
    steps = [step_deg * k for k in range(1, math.floor(most_deg / step_deg + 1e-9) + 1)] if step_deg > 0 else []
    one_side = sorted({*steps, triangle_deg} - {0.0})
    return (*(-offset for offset in reversed(one_side)), 0.0, *one_side)


def fitting_length_mm(lengths_mm: Iterable[float], wire_mm: float, margin_mm: float) -> float | None:
    """Return the longest blade that keeps the margin to the growth plate, None where every one is too long."""
    return max((length for length in lengths_mm if length <= wire_mm - margin_mm + 1e-9), default=None)


def choices(
    implants: Sequence[Implant],
    wire_offsets: Sequence[float],
    target_deg: float,
    wire_mm: float | None,
    margin_mm: float,
) -> tuple[Choice, ...]:
    """Return every implant with every wire, those nearest the target first, then those nearest the neck's axis.

    An implant without a blade that fits comes after all others. Without a neck length (None) no blade is chosen.
    """
    found = []
    for implant in implants:
        length = None if wire_mm is None else fitting_length_mm(implant.lengths_mm, wire_mm, margin_mm)
        for offset in wire_offsets:
            result = neck_shaft_after(implant.angle_deg, offset)
            if 0 < result < STRAIGHT_DEG:
                found.append(Choice(implant, offset, result, length))

    def rank(choice: Choice) -> tuple[bool, float, float, float]:
        refused = wire_mm is not None and choice.length_mm is None
        miss = round(abs(choice.neck_shaft_deg - target_deg), 6)
        return refused, miss, abs(choice.offset_deg), abs(choice.implant.angle_deg - target_deg)

    return tuple(sorted(found, key=rank))


def slot_of(before: NeckAngles, turn: Matrix, side: Side) -> Slot:
    """Return how the slot of a blade along the neck is set, so that the shaft brought to the plate makes the turn.

    With the neck in the front plane the setting is the extension itself: 20 set, 20 degrees of extension.
    """
    neck = neck_axis(before, side)
    shaft, new = -UP, turn.T @ -UP
    backward = inward(before.version_deg, side) @ np.array([0.0, -1.0, 0.0])
    out = math.degrees(math.asin(max(-1.0, min(1.0, float(new @ backward)))))
    seen = [line - (line @ neck) * neck for line in (shaft, new)]
    if min(float(np.linalg.norm(line)) for line in seen) < 1e-9:
        return Slot(out, 0.0)
    across = -medial(side) * float(np.cross(seen[0], seen[1]) @ neck)
    about = math.degrees(math.atan2(across, float(seen[0] @ seen[1])))
    # Rounded so far that the noise of the rotations never shows as a sign.
    return Slot(round(out, 9) + 0.0, round(about, 9) + 0.0)
