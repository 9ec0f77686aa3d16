"""The upper femur before and after in three views, one mm on paper for one mm of bone."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from pathway.upper_femur.model import Femur, Plan, Settings, Vector, result
from pathway.upper_femur.points import Scene, View, in_view, outline, scenes
from pathway.views.drawings.drawing import FAINT, INK, PAPER, RULE, SOFT, Drawing, Shape, Sheet, text_width_mm

VIEWS: tuple[View, ...] = ("front", "side", "end")
WIDE_MM = 182.0
"""The width between the margins of the team's page, so that the page takes the drawing as it is."""
EDGE_MM, GAP_MM, TITLE_MM, FOOT_MM = 3.0, 2.0, 9.0, 13.5
LABEL_PT, LABEL_STEP_MM = 6.5, 3.4
LEADER_MM, HALF_LETTER_MM = 2.0, 0.8
"""How long the level end of a leader is with the gap before its words, and how far above their foot it runs."""
SCALE_MM = 20.0
ARC_MM = 9.0
TITLES = {
    "front": "Front view, kneecap forward, hip seen from in front",
    "side": "Side view, seen from the outer side",
    "end": "End view along the shaft, seen from the knee, front upward",
}
UNDRAWN = "Head and trochanter are not measured and not drawn; shaft and plate are cut short."
STATES = {"before": "before", "after": "after, at the plate"}
VIEWED_ONCE = ("lower_rotation_wire", "upper_rotation_wire", "new_shaft")
"""What is shown only where its angle can be read."""
Numbers = Mapping[str, float | None]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Label:
    text: str
    at: Point


def femur_drawings(bone: Femur, plan: Plan, settings: Settings) -> tuple[Drawing, ...]:
    """Return front, side and end view, each before and after; raises NotPossible where the wire cannot be placed."""
    straight = replace(plan, film_rotation_deg=0.0, film_flexion_deg=0.0)
    # In the views drawn here the kneecap looks forward and the hip is straight, whatever the film was.
    numbers = result(bone, straight, settings).numbers
    return tuple(_view(view, bone, scenes(bone, plan, settings), numbers) for view in VIEWS)


def _view(view: View, bone: Femur, states: tuple[Scene, Scene], numbers: Numbers) -> Drawing:
    halves = [_Half(view, bone, scene, numbers) for scene in states]
    abreast = sum(half.wide_mm for half in halves) + GAP_MM <= WIDE_MM
    sheet, top, left = Sheet(), TITLE_MM, 0.0
    sheet.words(EDGE_MM, 4.2, f"{bone.side.capitalize()} femur. {TITLES[view]}{_front(view, bone)}", 8.5, strong=True)
    low = top
    for half in halves:
        half.draw(sheet, left, top)
        low = max(low, top + half.high_mm)
        if abreast:
            left = WIDE_MM - halves[-1].wide_mm
        else:
            top = low + GAP_MM
    foot = low + 4.0
    sheet.run([(EDGE_MM, foot), (EDGE_MM + SCALE_MM, foot)], INK, 0.5, part="scale")
    for x in (EDGE_MM, EDGE_MM + SCALE_MM):
        sheet.line(x, foot - 1.2, x, foot + 1.2, INK, 0.3)
    told = f"{SCALE_MM:g} mm. Life size if this bar measures {SCALE_MM:g} mm: print at 100 %."
    sheet.words(EDGE_MM, foot + 4.6, told, LABEL_PT, tone=SOFT)
    sheet.words(EDGE_MM, foot + 7.8, UNDRAWN, LABEL_PT, tone=SOFT)
    words = [f"{STATES[half.scene.state]}: {'; '.join(label.text for label in half.labels)}" for half in halves]
    title = f"{bone.side.capitalize()} femur, {view} view"
    return sheet.drawing(WIDE_MM, foot + FOOT_MM - 4.0, title, f"{title}. {'. '.join(words)}.")


class _Half:
    """One state in one view: what it shows, its labels, and how much paper it takes."""

    def __init__(self, view: View, bone: Femur, scene: Scene, numbers: Numbers) -> None:
        self.view, self.bone, self.scene = view, bone, scene
        self.labels = sorted(self._labels(numbers), key=lambda label: label.at[1])
        points = [self.on(p) for body in scene.bodies.values() for p in body]
        points += [self.on(p) for name, line in scene.lines.items() if self._shown(name) for p in line]
        xs, ys = [x for x, _ in points], [y for _, y in points]
        self.left, self.top = min(xs) - EDGE_MM, min(ys) - EDGE_MM
        self.body_mm = max(xs) + EDGE_MM - self.left
        text = max(text_width_mm(label.text, LABEL_PT) for label in self.labels)
        self.wide_mm = self.body_mm + GAP_MM + text + 1.0
        self.high_mm = max(max(ys) + EDGE_MM - self.top, (len(self.labels) + 1) * LABEL_STEP_MM) + 4.0

    def on(self, point: Vector) -> Point:
        """Return where a point comes to lie; the patient's right is on the left, as the viewer faces the patient."""
        x, up = in_view(self.view, self.bone.side, point)
        return x, -up

    def _shown(self, name: str) -> bool:
        return (self.view == "end") == name.endswith("rotation_wire") or name not in VIEWED_ONCE

    def draw(self, sheet: Sheet, x: float, y: float) -> None:
        """Draw it with its upper left corner there."""
        sheet.words(x + EDGE_MM, y, STATES[self.scene.state], 7.5, strong=True, tone=SOFT)
        dx, dy = x - self.left, y + 2.0 - self.top

        def there(points: list[Point]) -> list[Point]:
            return [(px + dx, py + dy) for px, py in points]

        def name(what: str) -> str:
            return f"{self.scene.state}-{what}"

        seen, after = self.scene, self.scene.state == "after"
        if after:
            edge = there(outline([self.on(p) for p in seen.bodies["gap"]]))
            sheet.area(edge, PAPER, SOFT, 0.2, "0.8 0.6", name("gap"))
        for body, fill in (("lower_shaft", FAINT), ("upper_shaft", "#eef1f1"), ("neck", "#eef1f1")):
            sheet.area(there(outline([self.on(p) for p in seen.bodies[body]])), fill, INK, 0.35, part=name(body))
        if "wedge" in seen.bodies:
            taken = there(outline([self.on(p) for p in seen.bodies["wedge"]]))
            sheet.area(taken, RULE, INK, 0.3, "0.8 0.6", name("wedge"))
        for ring, wide in (("growth_plate", 0.7), ("upper_cut", 0.5), ("lower_cut", 0.5)):
            sheet.area(there([self.on(p) for p in seen.rings[ring]]), "none", INK, wide, part=name(ring))
        blade = there(outline([self.on(p) for p in seen.bodies["blade"]]))
        sheet.area(blade, "none", INK, 0.3, part=name("blade"))
        for line, wide, dash in (
            ("shaft_axis", 0.2, "3 0.8 0.6 0.8"),
            ("neck_axis", 0.2, "3 0.8 0.6 0.8"),
            ("wire", 0.35, ""),
            ("blade_axis", 0.2, ""),
            ("plate", 1.2, ""),
            ("new_shaft", 0.3, "1.6 1"),
            ("tip_margin", 0.5, ""),
            ("cortex_margin", 0.5, ""),
            ("lower_rotation_wire", 0.5, ""),
            ("upper_rotation_wire", 0.5, "1.2 0.8"),
        ):
            if line in seen.lines and self._shown(line):
                sheet.run(there([self.on(p) for p in seen.lines[line]]), INK, wide, dash, name(line))
        self._arcs(sheet, dx, dy)
        for spot in ("corner", "tip", "head_centre", "upper_cut_centre", "lower_cut_centre", "corner_level"):
            (px, py), arm = there([self.on(seen.spots[spot])])[0], 0.8
            cross = f"M{px - arm:.2f} {py:.2f}L{px + arm:.2f} {py:.2f}M{px:.2f} {py - arm:.2f}L{px:.2f} {py + arm:.2f}"
            sheet.parts.append(Shape(cross, stroke=INK, width_mm=0.25, part=name(spot)))
        self._write(sheet, x, y, dx, dy)

    def _arcs(self, sheet: Sheet, dx: float, dy: float) -> None:
        if self.view != "front":
            return
        centre = self.on(self.scene.spots["crossing"])
        wire, neck = self.scene.lines["blade_axis"], self.scene.lines["neck_axis"]
        for about, line in ((centre, neck), (self.on(wire[0]), wire)):
            (x0, y0), (x1, y1) = self.on(line[0]), self.on(line[1])
            down, to = math.pi / 2, math.atan2(y1 - y0, x1 - x0)
            if self.bone.side == "left" and to < -math.pi / 2:
                to += 2 * math.pi
            steps = [down + (to - down) * k / 24 for k in range(25)]
            arc = [(about[0] + dx + ARC_MM * math.cos(t), about[1] + dy + ARC_MM * math.sin(t)) for t in steps]
            sheet.run(arc, SOFT, 0.2)

    def _write(self, sheet: Sheet, x: float, y: float, dx: float, dy: float) -> None:
        column = x + self.body_mm + GAP_MM
        lowest = y + self.high_mm - 1.0
        places: list[float] = []
        for label in self.labels:
            places.append(max(label.at[1] + dy, (places[-1] + LABEL_STEP_MM) if places else y + 2.0))
        over = places[-1] - lowest
        if over > 0:
            places[-1] -= over
            for k in range(len(places) - 2, -1, -1):
                places[k] = min(places[k], places[k + 1] - LABEL_STEP_MM)
        starts = [(label.at[0] + dx, label.at[1] + dy) for label in self.labels]
        bend = column - LEADER_MM
        order = _uncrossed(starts, [(bend, place - HALF_LETTER_MM) for place in places])
        for number, place in enumerate(places):
            label, level = self.labels[order[number]], place - HALF_LETTER_MM
            leader = [starts[order[number]], (bend, level), (column - HALF_LETTER_MM, level)]
            sheet.run(leader, RULE, 0.15, part=f"{self.scene.state}-leader-{number}")
            sheet.words(column, place, label.text, LABEL_PT)

    def _turned(self, name: str, angle: str) -> str:
        """Return what stands at the new shaft: its angle only in the frame that these views are those of."""
        return "new shaft" if self.bone.flexion_frame == "neck_plane" else f"new shaft, {name} {angle}"

    def _labels(self, numbers: Numbers) -> Iterator[_Label]:
        state, seen = self.scene.state, self.scene

        def spot(name: str) -> Point:
            return self.on(seen.spots[name])

        def middle(name: str) -> Point:
            (x0, y0), (x1, y1) = (self.on(p) for p in (seen.lines[name][0], seen.lines[name][-1]))
            return (x0 + x1) / 2, (y0 + y1) / 2

        def of(name: str, unit: str = "deg") -> str:
            value = numbers[name]
            return "" if value is None else f"{value + 0.0:.1f} {unit}".replace("-0.0 ", "0.0 ")

        yield _Label("centre of head", spot("head_centre"))
        yield _Label("corner", spot("corner"))
        if self.view == "front":
            yield _Label(f"neck to shaft, here {of(f'film_neck_shaft_{state}_deg')}", middle("neck_axis"))
            yield _Label(f"true in space {of(f'neck_shaft_{state}_deg')}", _lower(middle("neck_axis")))
            slope = of(f"epiphyseal_{state}_deg")
            rim = [self.on(p) for p in seen.rings["growth_plate"]]
            yield _Label(f"growth plate {slope} to level" if slope else "growth plate, slope not known", max(rim))
            yield _Label(f"edge to cortex {of('blade_margin_cortex_mm', 'mm')}", middle("cortex_margin"))
            yield _Label(f"tip to growth plate {of('blade_margin_physis_mm', 'mm')}", middle("tip_margin"))
            if state == "before":
                yield _Label(f"wire to shaft, here {of('wire_front_deg')}", self.on(seen.lines["wire"][0]))
                if "wedge" in seen.bodies:
                    yield _Label(
                        f"wedge, shaft up {of('wedge_mm', 'mm')}", max(self.on(p) for p in seen.bodies["wedge"])
                    )
                yield _Label(self._turned("valgus", of("valgus_deg")), self.on(seen.lines["new_shaft"][-1]))
                yield _Label(f"cut {of('cut_below_corner_mm', 'mm')} below corner", spot("lower_cut_centre"))
            else:
                yield _Label(f"faces over each other {_share(numbers)}", spot("upper_cut_centre"))
                yield _Label(_shift(numbers["plate_shift_mm"], "outward", "inward"), spot("lower_cut_centre"))
                yield _Label("plate", self.on(seen.lines["plate"][-1]))
        elif self.view == "side":
            if state == "before":
                wire = _turned(numbers["wire_side_deg"], "to the front", "to the back")
                yield _Label(f"wire {wire}, in the view square to it", spot("tip"))
                yield _Label("cut", spot("lower_cut_centre"))
                yield _Label(self._turned("extension", of("extension_deg")), self.on(seen.lines["new_shaft"][-1]))
            else:
                yield _Label("cut of the upper piece", spot("upper_cut_centre"))
                moved = _shift(numbers["plate_shift_forward_mm"], "forward", "backward")
                yield _Label(moved, spot("lower_cut_centre"))
        else:
            yield _Label(f"version (forward +) {of(f'version_{state}_deg')}", middle("neck_axis"))
            if state == "after":
                low = self.on(seen.lines["lower_rotation_wire"][-1])
                turned = _turned(numbers["rotation_deg"], "inward", "outward")
                yield _Label(f"between wires {turned}", low)
                same = abs(numbers["rotation_deg"] or 0.0) < 0.05
                name = "upper wire, under the lower" if same else "upper wire (broken line)"
                yield _Label(name, self.on(seen.lines["upper_rotation_wire"][-1]))


def _uncrossed(starts: list[Point], ends: list[Point]) -> list[int]:
    """Return which start each end belongs to so that no two straight leaders cross.

    Two that cross are longer together than the same two exchanged, so that exchanging comes to an end.
    """
    order = list(range(len(starts)))
    crossed = True
    while crossed:
        crossed = False
        for one in range(len(order)):
            for other in range(one + 1, len(order)):
                a, b = starts[order[one]], starts[order[other]]
                kept = math.dist(a, ends[one]) + math.dist(b, ends[other])
                if math.dist(b, ends[one]) + math.dist(a, ends[other]) < kept - 1e-9:
                    order[one], order[other] = order[other], order[one]
                    crossed = True
    return order


def _front(view: View, bone: Femur) -> str:
    return f", front to the {bone.side}" if view == "side" else ""


def _shift(value: float | None, plus: str, minus: str) -> str:
    shown = round(value or 0.0, 1)
    return f"shaft {plus if shown >= 0 else minus} {abs(shown):.1f} mm"


def _turned(value: float | None, plus: str, minus: str) -> str:
    """Return an angle by its size and its way: a sign beside a word is read as its opposite."""
    shown = round(value or 0.0, 1) + 0.0
    return f"{abs(shown):.1f} deg{'' if shown == 0 else f' {plus}' if shown > 0 else f' {minus}'}"


def _share(numbers: Numbers) -> str:
    return f"{100 * (numbers['contact_share'] or 0.0):.0f} %"


def _lower(point: Point) -> Point:
    return point[0], point[1] + 0.01
