"""The schematic of the osteotomy: the upper femur now and after, in the plane of the neck, from the sheet's numbers.

Viewed from the front, so that a left hip has its head to the viewer's left. Both pictures share one scale. What turns
out of that plane (extension, rotation) is named in words, not drawn; wire, blade and plate stand on the
page for the table.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

from pathway.worksheets.osteotomy import outline, shift
from pathway.worksheets.osteotomy.inputs import OsteotomyInputs
from pathway.worksheets.osteotomy.outline import Point
from pathway.worksheets.sheet import Drawing, Mark, Shape

SHAFT = 2.6
GAP = 2.6


def drawings(of: OsteotomyInputs) -> tuple[Drawing, ...]:
    """Return the schematic, or nothing where a size of the bone is missing."""
    return () if of.femur is None else (_front(of, of.femur),)


class _View:
    """Points of the femur (inward, up) put on the sheet (x to the viewer's right, y up)."""

    def __init__(self, of: OsteotomyInputs, at_mm: float) -> None:
        # Inward is to the viewer's left on a left hip.
        self.sign = -1.0 if of.side == "left" else 1.0
        self.at = at_mm

    def point(self, point: Point) -> Point:
        return round(self.at + self.sign * point[0], 3), round(point[1], 3)

    def shape(self, role: str, points: Iterable[Point], closed: bool = False, dashed: bool = False) -> Shape:
        return Shape(role=role, points=tuple(self.point(point) for point in points), closed=closed, dashed=dashed)

    def mark(self, text: str, at: Point, inward: bool | None = None) -> Mark:
        """Return words that start at a point and run inward or outward; None sets them about it."""
        if inward is None:
            return Mark(text=text, at=self.point(at), anchor="middle")
        return Mark(text=text, at=self.point(at), anchor="start" if inward == (self.sign > 0) else "end")


def _front(of: OsteotomyInputs, bone: shift.Femur) -> Drawing:
    change, move = of.change_deg, shift.neck_base_shift_mm(bone.cut_mm, of.change_deg)
    apart = bone.neck_mm + GAP * bone.width_mm + abs(move)
    # Now stands on the viewer's left, after on the right, on either side.
    now, after = _View(of, 0.0), _View(of, 2 * apart)
    shapes = [*_now_shapes(of, bone, now), *_after_shapes(of, bone, after, move)]
    marks = [*_now_marks(of, bone, now), *_after_marks(of, bone, after, move)]
    before_deg, after_deg = of.before.neck_shaft_deg, of.after.neck_shaft_deg
    way = "lateral" if move >= 0 else "medial"
    words = (
        f"Front view of the {of.side} hip in the plane of the neck. Now the neck stands at {before_deg:.0f} deg to the"
        f" shaft, after {'valgus' if change >= 0 else 'varus'} of {abs(change):.0f} deg at {after_deg:.0f}. The cut"
        f" lies {bone.cut_mm:.0f} mm below the intersection of the axes; the shaft goes {abs(move):.0f} mm {way}"
        f" on a bone {bone.width_mm:.0f} mm wide."
    )
    return Drawing(title="Now and after", shapes=tuple(shapes), marks=tuple(marks), alternative=words)


def _bottom(bone: shift.Femur) -> float:
    return -bone.cut_mm - SHAFT * bone.width_mm


def _shaft(bone: shift.Femur, inward_mm: float) -> tuple[Point, ...]:
    half, top, bottom = bone.width_mm / 2, -bone.cut_mm, _bottom(bone)
    return outline.moved(((half, bottom), (half, top), (-half, top), (-half, bottom)), inward_mm)


def _now_shapes(of: OsteotomyInputs, bone: shift.Femur, view: _View) -> Iterator[Shape]:
    nx, ny = outline.direction(of.before.neck_shaft_deg)
    half, cut = bone.width_mm / 2, bone.cut_mm
    piece = outline.upper_piece(of.before.neck_shaft_deg, bone.neck_mm, bone.width_mm, cut)
    yield view.shape("bone", piece[:-1] + piece[-1:] + (piece[0],))
    yield view.shape("bone", _shaft(bone, 0.0))
    yield view.shape("axis", ((0.0, _bottom(bone)), (0.0, 0.35 * bone.width_mm)), dashed=True)
    yield view.shape(
        "axis", ((-0.9 * bone.width_mm * nx, -0.9 * bone.width_mm * ny), (bone.neck_mm * nx, bone.neck_mm * ny))
    )
    yield view.shape("cut", ((-1.5 * half, -cut), (1.5 * half, -cut)))
    yield view.shape("wedge", _wedge(bone, of.change_deg), closed=True, dashed=True)
    yield view.shape("angle", _angle_arc(of.before.neck_shaft_deg, 0.8 * bone.width_mm, 0.0))


def _wedge(bone: shift.Femur, change_deg: float) -> tuple[Point, ...]:
    """The half wedge that overlaps when the pieces turn about the middle of the cut: outer with valgus."""
    half, cut = bone.width_mm / 2, bone.cut_mm
    outward = -1.0 if change_deg >= 0 else 1.0
    rise = half * math.tan(math.radians(min(abs(change_deg), 80.0)))
    return ((0.0, -cut), (outward * half, -cut), (outward * half, -cut + rise))


def _angle_arc(neck_shaft_deg: float, radius: float, inward_mm: float, up_mm: float = 0.0) -> tuple[Point, ...]:
    """The arc from the shaft's lower end round the inner side to the neck: the neck-shaft angle."""
    return outline.arc((inward_mm, up_mm), radius, -90.0, -90.0 + neck_shaft_deg)


def _after_shapes(of: OsteotomyInputs, bone: shift.Femur, view: _View, move: float) -> Iterator[Shape]:
    hinge, change = (0.0, -bone.cut_mm), of.change_deg
    # The shaft is drawn where it was and the upper piece moved: the shift stands between the two axes.
    piece = outline.upper_piece(of.before.neck_shaft_deg, bone.neck_mm, bone.width_mm, bone.cut_mm)
    whole = outline.turned(piece, hinge, change)
    kept = outline.above(whole, -bone.cut_mm)
    taken = outline.below(whole, -bone.cut_mm)
    yield view.shape("bone", (*kept, kept[0]))
    if len(taken) > 2:
        yield view.shape("wedge", taken, closed=True, dashed=True)
    yield view.shape("bone", _shaft(bone, -move))
    yield view.shape("axis", ((-move, _bottom(bone)), (-move, 0.35 * bone.width_mm)), dashed=True)
    crossing = outline.turned(((0.0, 0.0),), hinge, change)[0]
    nx, ny = outline.direction(of.before.neck_shaft_deg + change)
    tip = (crossing[0] + bone.neck_mm * nx, crossing[1] + bone.neck_mm * ny)
    yield view.shape("axis", (crossing, tip))
    yield view.shape("angle", _angle_arc(of.after.neck_shaft_deg, 0.8 * bone.width_mm, *crossing))
    if abs(move) > 0.5:
        yield from _arrow(view, bone, move)


def _arrow(view: _View, bone: shift.Femur, move: float) -> Iterator[Shape]:
    """An arrow from the old axis of the shaft to the new one, under the cut."""
    level, head = _bottom(bone) - 0.35 * bone.width_mm, 0.14 * bone.width_mm
    way = -math.copysign(1.0, move)
    yield view.shape("old axis", ((0.0, _bottom(bone) - 0.6 * bone.width_mm), (0.0, -bone.cut_mm)), dashed=True)
    yield view.shape("shift", ((0.0, level), (-move, level)))
    yield view.shape("shift", ((-move - way * head, level + head), (-move, level), (-move - way * head, level - head)))


def _now_marks(of: OsteotomyInputs, bone: shift.Femur, view: _View) -> Iterator[Mark]:
    width = bone.width_mm
    yield view.mark(f"NOW, {of.side.upper()} HIP, FRONT", (0.0, _top(of, bone)), None)
    yield view.mark(
        f"{of.before.neck_shaft_deg:.0f}°", _beside(of.before.neck_shaft_deg, 1.4 * width, (0.0, 0.0)), None
    )
    yield view.mark(f"cut {bone.cut_mm:.0f} mm", (-0.95 * width, -bone.cut_mm), False)
    yield view.mark(f"{width:.0f} mm wide", (-0.7 * width, _bottom(bone) + 0.5 * width), False)


def _after_marks(of: OsteotomyInputs, bone: shift.Femur, view: _View, move: float) -> Iterator[Mark]:
    width, change = bone.width_mm, of.change_deg
    crossing = outline.turned(((0.0, 0.0),), (0.0, -bone.cut_mm), change)[0]
    yield view.mark("AFTER", (-move, _top(of, bone)), None)
    yield view.mark(f"{of.after.neck_shaft_deg:.0f}°", _beside(of.after.neck_shaft_deg, 1.4 * width, crossing), None)
    if abs(move) > 0.5:
        way = "lateral" if move > 0 else "medial"
        yield view.mark(f"shift {abs(move):.0f} mm {way}", (-move / 2, _bottom(bone) - 0.95 * width), None)
    left = max(0.0, 1 - abs(move) / width)
    yield view.mark(f"contact left {100 * left:.0f} %", (-move - 0.75 * width, _bottom(bone) + 0.3 * width), False)
    base = width / 2 * math.tan(math.radians(min(abs(change), 80.0)))
    yield view.mark(f"wedge {base:.0f} mm", (-move - 0.75 * width, -bone.cut_mm - 0.2 * width), False)


def _top(of: OsteotomyInputs, bone: shift.Femur) -> float:
    """Above both pictures: the higher of the heads and the trochanter."""
    highest = bone.width_mm
    for angle in (of.before.neck_shaft_deg, of.after.neck_shaft_deg):
        highest = max(highest, bone.neck_mm * outline.direction(angle)[1] + outline.HEAD_RADIUS * bone.width_mm)
    return highest + 0.6 * bone.width_mm


def _beside(neck_shaft_deg: float, radius: float, centre: Point) -> Point:
    """A point in the middle of the angle between shaft and neck."""
    return outline.arc(centre, radius, -90.0, -90.0 + neck_shaft_deg, 2)[1]
