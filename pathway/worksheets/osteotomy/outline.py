"""The upper femur as outlines in one plane: a schematic shape drawn to the lengths that are known.

Points are (inward, up) in mm from the crossing of the axes of neck and shaft. What no one measured (head, width of
the neck, trochanter) is drawn in proportion to the width of the shaft: it is a schematic, not a template.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

Point = tuple[float, float]
NECK_WIDTH, HEAD_RADIUS = 0.62, 0.68
TIP = (-0.40, 0.85)
HEAD_POINTS = 28


def direction(neck_shaft_deg: float) -> Point:
    """Return the unit vector along the neck."""
    lean = math.radians(180.0 - neck_shaft_deg)
    return math.sin(lean), math.cos(lean)


def upper_piece(neck_shaft_deg: float, neck_mm: float, width_mm: float, cut_mm: float) -> tuple[Point, ...]:
    """Return the outline of head, neck and trochanter down to the cut, from the outer edge of the cut round."""
    (nx, ny), half = direction(neck_shaft_deg), NECK_WIDTH * width_mm / 2
    px, py = -ny, nx
    radius = HEAD_RADIUS * width_mm
    joint = max(neck_mm - math.sqrt(radius**2 - half**2), 0.0)
    edge = (width_mm / 2 + half * px) / nx if nx > 0.2 else joint
    lower = min(max(edge, 0.0), joint)
    calcar = (nx * lower - half * px, max(ny * lower - half * py, -cut_mm))
    start = math.atan2(ny * (joint - neck_mm) + half * py, nx * (joint - neck_mm) + half * px)
    end = math.atan2(ny * (joint - neck_mm) - half * py, nx * (joint - neck_mm) - half * px)
    while end > start:
        end -= 2 * math.pi
    head = [
        (nx * neck_mm + radius * math.cos(angle), ny * neck_mm + radius * math.sin(angle))
        for angle in (start + (end - start) * k / HEAD_POINTS for k in range(HEAD_POINTS + 1))
    ]
    outer, inner = -width_mm / 2, width_mm / 2
    tip = (TIP[0] * width_mm, TIP[1] * width_mm)
    return (
        (outer, -cut_mm),
        (outer, 0.30 * width_mm),
        (outer - 0.12 * width_mm, 0.55 * width_mm),
        tip,
        (half * px, max(half * py, 0.0) + 0.04 * width_mm),
        *head,
        calcar,
        (inner, min(calcar[1], -cut_mm + 0.25 * width_mm) if calcar[0] <= inner else -cut_mm),
        (inner, -cut_mm),
    )


def turned(points: Iterable[Point], about: Point, valgus_deg: float) -> tuple[Point, ...]:
    """Return points turned into valgus about a hinge."""
    cos, sin = math.cos(math.radians(valgus_deg)), math.sin(math.radians(valgus_deg))
    ox, oy = about
    return tuple((ox + (x - ox) * cos - (y - oy) * sin, oy + (x - ox) * sin + (y - oy) * cos) for x, y in points)


def moved(points: Iterable[Point], inward_mm: float, up_mm: float = 0.0) -> tuple[Point, ...]:
    """Return points moved."""
    return tuple((x + inward_mm, y + up_mm) for x, y in points)


def above(points: Sequence[Point], level: float) -> tuple[Point, ...]:
    """Return the part of a closed outline that lies above a level line."""
    return _clipped(points, lambda point: point[1] - level)


def below(points: Sequence[Point], level: float) -> tuple[Point, ...]:
    """Return the part of a closed outline that lies below a level line."""
    return _clipped(points, lambda point: level - point[1])


def _clipped(points: Sequence[Point], inside: Callable[[Point], float]) -> tuple[Point, ...]:
    kept: list[Point] = []
    for one, other in zip(points, (*points[1:], points[0]), strict=True):
        a, b = inside(one), inside(other)
        if a >= 0:
            kept.append(one)
        if (a > 0 > b) or (a < 0 < b):
            part = a / (a - b)
            kept.append((one[0] + part * (other[0] - one[0]), one[1] + part * (other[1] - one[1])))
    return tuple(kept)


def arc(centre: Point, radius: float, from_deg: float, to_deg: float, points: int = 16) -> tuple[Point, ...]:
    """Return an arc about a centre; degrees from inward (0) by up (90)."""
    steps = (math.radians(from_deg + (to_deg - from_deg) * k / points) for k in range(points + 1))
    return tuple((centre[0] + radius * math.cos(angle), centre[1] + radius * math.sin(angle)) for angle in steps)
