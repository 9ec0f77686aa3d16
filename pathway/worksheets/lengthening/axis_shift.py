"""What lengthening a femur along its shaft does to the axis of the leg, by pure geometry."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AxisShift:
    """The angle between shaft and mechanical axis after lengthening, the valgus made (deg), and two distances, mm.

    `knee_inward_mm` is how far the knee moves towards the middle of the body square to the old mechanical axis;
    `axis_outward_mm` by how much the line from hip to ankle then passes further outward of the knee.
    """

    axes_angle_deg: float
    valgus_deg: float
    knee_inward_mm: float
    axis_outward_mm: float


def axis_shift(femur_mm: float, tibia_mm: float, axes_angle_deg: float, gain_mm: float) -> AxisShift:
    """Return the shift in a leg that was straight; `femur_mm` from hip to knee, `tibia_mm` from knee to ankle.

    AMA' = atan(F sin AMA / (F cos AMA + g)); the valgus made is AMA - AMA'; the axis moves by
    F' T sin(AMA - AMA') / (hip to ankle). Derived, and confirmed by a second route (coordinates).
    """
    angle = math.radians(axes_angle_deg)
    across, along = femur_mm * math.sin(angle), femur_mm * math.cos(angle) + gain_mm
    after = math.atan2(across, along)
    valgus = angle - after
    longer = math.hypot(across, along)
    whole = math.sqrt(longer**2 + tibia_mm**2 + 2 * longer * tibia_mm * math.cos(valgus))
    return AxisShift(
        axes_angle_deg=math.degrees(after),
        valgus_deg=math.degrees(valgus),
        knee_inward_mm=gain_mm * math.sin(angle),
        axis_outward_mm=longer * tibia_mm * math.sin(valgus) / whole,
    )
