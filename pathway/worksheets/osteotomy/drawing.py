"""The sketches of the osteotomy: the upper femur now and after in three views, from the one model's points.

Viewed from the front a left hip has its head to the viewer's left. Both states of a view share one scale. Only what is
measured is drawn; the same points stand at life size on the page for the table.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.upper_femur.points import Scene, Spot, View, in_view, outline, scenes
from pathway.worksheets.osteotomy.frames import NeckAngles
from pathway.worksheets.osteotomy.inputs import OsteotomyInputs
from pathway.worksheets.sheet import Drawing, Mark, Shape

CORNERS = 24
"""Corners of a drawn circle: a sketch in cells shows no more."""
APART, LINE = 1.6, 0.45
"""Between now and after, and between a drawing and its words, in widths of the shaft."""
NAMES: dict[View, str] = {"front": "FRONT", "side": "OUTER SIDE", "end": "FROM KNEE"}
TITLES: dict[View, str] = {
    "front": "Now and after, front view",
    "side": "Now and after, side view",
    "end": "Now and after, along the shaft",
}
LINES = (
    ("shaft_axis", "axis", True),
    ("neck_axis", "axis", False),
    ("blade_axis", "blade", False),
    ("plate", "plate", False),
)
TURNED = (("lower_rotation_wire", "wire", False), ("upper_rotation_wire", "old axis", True))


def drawings(of: OsteotomyInputs) -> tuple[Drawing, ...]:
    """Return the three views, or nothing where neck or shaft is not measured or nothing can be worked out."""
    settings, after = of.model.found.settings, of.after
    if settings is None or after is None or not {"neck", "width"} <= of.model.known:
        return ()
    both = scenes(of.model.bone, of.model.plan, settings, CORNERS)
    return tuple(_view(of, view, both, after) for view in TITLES)


class _Half:
    """One state in one view, moved sideways so that now and after stand beside each other."""

    def __init__(self, of: OsteotomyInputs, view: View, scene: Scene) -> None:
        self.of, self.view, self.scene, self.by_mm = of, view, scene, 0.0
        self.shapes = tuple(self._shapes())
        points = [point for shape in self.shapes for point in shape.points]
        self.left, self.right = min(x for x, _ in points), max(x for x, _ in points)
        self.low, self.high = min(y for _, y in points), max(y for _, y in points)

    def moved(self, by_mm: float) -> Iterator[Shape]:
        self.by_mm = by_mm
        for shape in self.shapes:
            points = tuple((round(x + by_mm, 3), round(y, 3)) for x, y in shape.points)
            yield shape.model_copy(update={"points": points})

    def middle(self) -> float:
        return (self.left + self.right) / 2 + self.by_mm

    def spot(self, name: str) -> Spot:
        x, y = in_view(self.view, self.of.side, self.scene.spots[name])
        return x + self.by_mm, y

    def _shapes(self) -> Iterator[Shape]:
        known, scene = self.of.model.known, self.scene

        def flat(points: Sequence[object]) -> list[Spot]:
            return [in_view(self.view, self.of.side, point) for point in points]  # type: ignore[arg-type]

        def shape(role: str, points: list[Spot], closed: bool = False, dashed: bool = False) -> Shape:
            return Shape(role=role, points=tuple(points), closed=closed, dashed=dashed)

        bodies = ["lower_shaft", "upper_shaft", *(["neck"] if {"wire", "neck_width"} <= known else [])]
        for body in bodies:
            yield shape("bone", outline(flat(scene.bodies[body])), closed=True)
        if "wedge" in scene.bodies:
            yield shape("wedge", outline(flat(scene.bodies["wedge"])), closed=True, dashed=True)
        for ring in ("upper_cut", "lower_cut"):
            yield shape("cut", flat(scene.rings[ring]), closed=True)
        lines = (*LINES, *(TURNED if self.view == "end" else ()))
        for name, role, dashed in lines:
            if name in scene.lines and (name != "blade_axis" or "wire" in known):
                yield shape(role, flat(scene.lines[name]), dashed=dashed)


def _view(of: OsteotomyInputs, view: View, both: tuple[Scene, Scene], after: NeckAngles) -> Drawing:
    width = of.model.bone.shaft_width_mm
    now, then = (_Half(of, view, scene) for scene in both)
    shapes = [*now.moved(-now.right - APART * width), *then.moved(-then.left + APART * width)]
    low, high = min(now.low, then.low), max(now.high, then.high)
    marks: list[Mark] = []
    for half, words in ((now, _words_now(of, view)), (then, _words_after(of, view))):
        for k, text in enumerate(words):
            level = high + LINE * width if k == 0 else low - 2 * LINE * width * k
            marks.append(Mark(text=text, at=(round(half.middle(), 3), round(level, 3)), anchor="middle"))
    return Drawing(title=TITLES[view], shapes=tuple(shapes), marks=tuple(marks), alternative=_said(of, view, after))


def _words_now(of: OsteotomyInputs, view: View) -> tuple[str, ...]:
    """Return the words of now: short, for cells are wide beside a small picture."""
    title = f"NOW, {of.side.upper()} HIP, {NAMES[view]}"
    if view == "end":
        return title, f"version {of.before.version_deg:.0f}°"
    return title, f"neck-shaft {of.before.neck_shaft_deg:.0f}°", f"cut {of.model.plan.cut_below_corner_mm:.0f} mm"


def _words_after(of: OsteotomyInputs, view: View) -> tuple[str, ...]:
    def told(name: str) -> float:
        return of.model.told(name) or 0.0

    if view == "end":
        turned = _signed(told("rotation_deg"), "°", "inward", "outward")
        return "AFTER", f"version {told('version_after_deg'):.0f}°", f"wires {turned}"
    name, plus, minus = (
        ("plate_shift_mm", "outward", "inward")
        if view == "front"
        else ("plate_shift_forward_mm", "forward", "backward")
    )
    contact = (f"overlap {100 * told('contact_share'):.0f} %",) if view == "front" else ()
    shift = f"shift {_signed(told(name), ' mm', plus, minus)}"
    return "AFTER", f"neck-shaft {told('neck_shaft_after_deg'):.0f}°", shift, *contact


def _signed(value: float, unit: str, plus: str, minus: str) -> str:
    """Return a signed number with the way in a word; one that is shown as 0 has none."""
    shown = round(abs(value))
    return f"{shown}{unit}" if shown == 0 else f"{shown}{unit} {plus if value > 0 else minus}"


def _said(of: OsteotomyInputs, view: View, after: NeckAngles) -> str:
    now, last = of.before, ", ".join(_words_after(of, view)[2:]).replace("°", " deg")
    if view == "end":
        return (
            f"The {of.side} femur seen from the knee, front upward. Version is {now.version_deg:.0f} deg now and"
            f" {after.version_deg:.0f} after; {last}."
        )
    seen = "from in front, kneecap forward" if view == "front" else "from its outer side"
    return (
        f"The {of.side} hip seen {seen}. Now the neck stands at {now.neck_shaft_deg:.0f} deg to the shaft, after at"
        f" {after.neck_shaft_deg:.0f}, both in space. The cut lies {of.model.plan.cut_below_corner_mm:.0f} mm below the"
        f" implant's corner; {last}, on a bone {of.model.bone.shaft_width_mm:.0f} mm wide."
    )
