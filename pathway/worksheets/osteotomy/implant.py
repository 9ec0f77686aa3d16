"""Which implant, which wire, which length: what each choice makes of the neck-shaft angle, best first.

A wire off the neck's axis by n degrees changes the result by n: positive where the neck stands steeper than the
wire (the wire lies under the neck), which adds. Screws of a plate count as a blade. Angles degrees, lengths mm.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from pathway.protocol.model import Implant
from pathway.worksheets.osteotomy.frames import STRAIGHT_DEG


@dataclass(frozen=True, slots=True)
class Choice:
    """An implant with a wire, the neck-shaft angle that comes of it, and its longest blade that fits (None: none)."""

    implant: Implant
    offset_deg: float
    neck_shaft_deg: float
    length_mm: float | None


def neck_shaft_after(implant_deg: float, off_front_deg: float = 0.0) -> float:
    """Return the neck-shaft angle that an implant makes of a wire off the neck's axis, all in one plane.

    `off_front_deg` is how much steeper the neck stands than the wire: it is added.
    """
    return implant_deg + off_front_deg


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
