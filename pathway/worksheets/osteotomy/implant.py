"""Which blade fits, and which wires are tried: lengths at hand, and degrees off the neck's axis."""

from __future__ import annotations

import math
from collections.abc import Iterable


def offsets(step_deg: float, most_deg: float, triangle_deg: float) -> tuple[float, ...]:
    """Return the offsets of the wire that are tried: 0, steps to both sides, the triangle at both ends."""
    steps = [step_deg * k for k in range(1, math.floor(most_deg / step_deg + 1e-9) + 1)] if step_deg > 0 else []
    one_side = sorted({*steps, triangle_deg} - {0.0})
    return (*(-offset for offset in reversed(one_side)), 0.0, *one_side)


def fitting_length_mm(lengths_mm: Iterable[float], most_mm: float) -> float | None:
    """Return the longest blade at hand that is not longer than the bone takes, None where every one is too long."""
    return max((length for length in lengths_mm if length <= most_mm + 1e-9), default=None)
