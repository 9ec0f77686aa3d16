"""The knee from the front with its angle, growth plate and steering plate: now, and at the target.

As the viewer faces the child: the lateral side of a left knee is on the viewer's right. The bone whose growth plate is
steered stands upright; the other one is drawn at right angles to the joint line, whatever its own angle is.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from pathway.worksheets.guided_growth.worked import Worked
from pathway.worksheets.sheet import Drawing, Mark, Shape

Point = tuple[float, float]
EPIPHYSIS, FLARE, SHAFT, CORTEX = 0.3, 0.95, 1.8, 0.22
GAP, APART, ARC_POINTS = 0.06, 3.4, 12


def drawings_of(of: Worked) -> tuple[Drawing, ...]:
    """Return the drawing; none where no angle was measured, since then nobody knows to which side the knee leans."""
    if of.judged is None:
        return ()
    side = of.case.side
    outward = 1.0 if side == "left" else -1.0
    femur = of.physis == "distal_femur"
    now = _Knee(of.judged.measured_deg, of.width, femur, outward, 0.0)
    straight = _Knee(of.goal, of.width, femur, outward, APART * of.width)
    medial = bool(of.given.valgus)
    shapes = [*now.shapes(), *now.plate(medial), *straight.shapes()]
    top = 1.25 * SHAFT * of.width
    marks = [
        Mark(text=f"NOW, {side.upper()} KNEE, FRONT", at=(0.0, top), anchor="middle"),
        Mark(text="AT THE TARGET", at=(APART * of.width, top), anchor="middle"),
        *now.marks(),
        *straight.marks(),
        now.plate_mark(medial),
    ]
    bone, edge = ("femur" if femur else "tibia"), ("medial" if medial else "lateral")
    words = (
        f"Front view of the {side} knee. Now the joint line stands at {of.judged.measured_deg:g} deg to the axis of the"
        f" {bone}, at the target at {of.goal:g} deg. The plate bridges the growth plate on its {edge} side, so that the"
        f" other side grows on. The growth plate is {of.width:g} mm wide."
    )
    return (Drawing(title="Now and at the target", shapes=tuple(shapes), marks=tuple(marks), alternative=words),)


@dataclass(frozen=True, slots=True)
class _Knee:
    """A knee whose joint line stands at an angle to the upright bone, on the lateral side (femur) or medial (tibia)."""

    angle_deg: float
    width: float
    femur: bool
    outward: float
    at_mm: float

    def point(self, along: float, away: float) -> Point:
        """Return a point so far outward along the joint line and so far from it towards the upright bone, in widths."""
        lean = math.radians(self.angle_deg)
        up = 1.0 if self.femur else -1.0
        x = along * math.sin(lean) - up * away * math.cos(lean)
        y = along * math.cos(lean) + up * away * math.sin(lean)
        return self.upright(x, y)

    def upright(self, x: float, y: float) -> Point:
        """Return a point so far outward and upward of the middle of the joint, in widths."""
        return round(self.at_mm + self.outward * x * self.width, 3), round(y * self.width, 3)

    def shapes(self) -> Iterator[Shape]:
        """Yield both bones, growth plate, joint line, axis and angle."""
        up = 1.0 if self.femur else -1.0
        half = 0.5
        yield Shape(role="bone", points=self._block(half, GAP, EPIPHYSIS), closed=True)
        shaft = [self.upright(s * CORTEX, up * SHAFT) for s in (1, -1)]
        flare = [self.upright(s * CORTEX, up * FLARE) for s in (1, -1)]
        ends = (self.point(half, EPIPHYSIS), self.point(-half, EPIPHYSIS))
        yield Shape(role="bone", points=(shaft[0], flare[0], ends[0], ends[1], flare[1], shaft[1]))
        yield Shape(role="bone", points=self._block(half, -GAP, -EPIPHYSIS), closed=True)
        other = [self.point(a, b) for a, b in ((half, -EPIPHYSIS), (CORTEX, -FLARE), (CORTEX, -SHAFT))]
        back = [self.point(a, b) for a, b in ((-CORTEX, -SHAFT), (-CORTEX, -FLARE), (-half, -EPIPHYSIS))]
        yield Shape(role="bone", points=(*other, *back))
        yield Shape(role="cut", points=(self.point(-0.5, EPIPHYSIS), self.point(0.5, EPIPHYSIS)), dashed=True)
        yield Shape(role="axis", points=(self.upright(0, 0), self.upright(0, up * SHAFT)), dashed=True)
        yield Shape(role="axis", points=(self.point(-0.75, 0), self.point(0.75, 0)))
        yield Shape(role="angle", points=tuple(self._arc(0.6)))

    def _block(self, half: float, near: float, far: float) -> tuple[Point, ...]:
        corners: Iterable[Point] = ((half, near), (half, far), (-half, far), (-half, near))
        return tuple(self.point(*corner) for corner in corners)

    def _arc(self, radius: float) -> Iterator[Point]:
        # From the upright axis to the joint line, on the side on which the angle is measured.
        up = 1.0 if self.femur else -1.0
        for k in range(ARC_POINTS + 1):
            lean = math.radians(self.angle_deg * k / ARC_POINTS)
            yield self.upright(up * radius * math.sin(lean), up * radius * math.cos(lean))

    def plate(self, medial: bool) -> Iterator[Shape]:
        """Yield the plate over the growth plate at one edge, and its two screws."""
        edge, near, far = (-1.0 if medial else 1.0), 0.5 * EPIPHYSIS, 1.6 * EPIPHYSIS
        over = 0.56 * edge
        yield Shape(role="shift", points=(self.point(over, near - 0.08), self.point(over, far + 0.08)))
        for away in (near, far):
            yield Shape(role="shift", points=(self.point(over, away), self.point(0.25 * edge, away)))

    def plate_mark(self, medial: bool) -> Mark:
        """Return the word beside the plate."""
        edge = -1.0 if medial else 1.0
        anchor = "start" if edge * self.outward > 0 else "end"
        return Mark(text="plate", at=self.point(0.7 * edge, 1.6 * EPIPHYSIS), anchor=anchor)

    def marks(self) -> Iterator[Mark]:
        """Yield the angle and the names of the sides."""
        up = 1.0 if self.femur else -1.0
        half = math.radians(self.angle_deg / 2)
        at = self.upright(up * 0.95 * math.sin(half), up * 0.95 * math.cos(half))
        yield Mark(text=f"{self.angle_deg:g}°", at=at, anchor="middle")
        foot = -SHAFT * 1.15
        for word, way in (("medial", -1.0), ("lateral", 1.0)):
            yield Mark(text=word, at=self.upright(0.8 * way, foot), anchor="middle")
