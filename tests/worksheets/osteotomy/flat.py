"""The formulas of the front plane alone: an independent reference for a femur without version and flexion.

Neck and shaft cross at the origin, the cut lies `cut_mm` below, the shaft is turned outward by `valgus_deg`.
"""

from __future__ import annotations

import math


def neck_base_shift_mm(cut_mm: float, valgus_deg: float) -> float:
    """Return the shift that brings the neck's base back onto the shaft's axis."""
    return cut_mm * math.sin(math.radians(valgus_deg))


def full_wedge_mm(width_mm: float, valgus_deg: float) -> float:
    """Return the base of a right-angled wedge that closes fully."""
    return width_mm * math.tan(math.radians(valgus_deg))


def entry_below_crossing_mm(neck_shaft_deg: float, width_mm: float) -> float:
    """Return how far below the crossing a blade along the neck enters the outer cortex."""
    lean = math.radians(180 - neck_shaft_deg)
    return width_mm / 2 * math.cos(lean) / math.sin(lean)


def axes_deg(neck_shaft_deg: float, neck_mm: float, knee_mm: float) -> float:
    """Return the angle between the shaft and the line from head to knee of a bone that was not cut."""
    lean = math.radians(180 - neck_shaft_deg)
    return math.degrees(math.atan2(neck_mm * math.sin(lean), neck_mm * math.cos(lean) + knee_mm))


def length_mm(neck_shaft_deg: float, neck_mm: float, knee_mm: float) -> float:
    """Return the length of the bone from head to knee."""
    lean = math.radians(180 - neck_shaft_deg)
    return math.hypot(neck_mm * math.sin(lean), neck_mm * math.cos(lean) + knee_mm)
