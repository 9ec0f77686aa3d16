"""The upper femur at life size: what stands on the paper is measured, and is what the model says."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import pytest

from pathway.upper_femur.model import Femur, Plan, Result, result, solved
from pathway.views.drawings.drawing import Drawing
from pathway.views.drawings.femur import femur_drawings
from tests.upper_femur.test_model import EXAMPLES, given
from tests.views.drawings.measured import elements, outside, overlaps, texts

MM, DEG = 0.1, 0.1
WORKED = [example for example in EXAMPLES if solved(*given(example["inputs"])).settings is not None]
CASES = [
    pytest.param(example, side, id=f"{example['name'].split()[0]}-{side}")
    for example in WORKED
    for side in ("left", "right")
]


@dataclass(frozen=True)
class Drawn:
    bone: Femur
    plan: Plan
    found: Result
    front: Drawing
    side: Drawing
    end: Drawing

    @property
    def all(self) -> tuple[Drawing, ...]:
        return self.front, self.side, self.end

    @property
    def inward(self) -> int:
        """Which way on the paper is inward in the front view: the viewer faces the patient."""
        return -1 if self.bone.side == "left" else 1

    def number(self, name: str) -> float:
        value = self.found.numbers[name]
        assert value is not None
        return value


def drawn(example: dict[str, Any], side: str) -> Drawn:
    bone, plan = given(example["inputs"])
    bone = replace(bone, side=side)
    found = solved(bone, plan)
    assert found.settings is not None
    return Drawn(bone, plan, found, *femur_drawings(bone, plan, found.settings))


def corners(of: Drawing, part: str) -> list[tuple[float, float]]:
    found = [element for element in elements(of, "path") if element.attrib.get("data-part") == part]
    assert len(found) == 1, part
    return [(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", found[0].attrib["d"])]


def ends(of: Drawing, part: str) -> tuple[float, float]:
    """The way from the first corner to the last."""
    (x0, y0), *_, (x1, y1) = corners(of, part)
    return x1 - x0, y1 - y0


def spot(of: Drawing, part: str) -> tuple[float, float]:
    (x0, y0), (x1, y1), *_ = corners(of, part)
    return (x0 + x1) / 2, (y0 + y1) / 2


def between_deg(one: tuple[float, float], other: tuple[float, float]) -> float:
    cross, dot = one[0] * other[1] - one[1] * other[0], one[0] * other[0] + one[1] * other[1]
    return math.degrees(math.atan2(cross, dot))


def space_mm(of: Drawn, part: str) -> float:
    """The length of a line in space, put together from two views as from two films."""
    (across, down), (forward, again) = ends(of.front, part), ends(of.side, part)
    assert down == pytest.approx(again, abs=0.03)
    return math.hypot(across, down, forward)


def shared_mm(one: list[tuple[float, float]], other: list[tuple[float, float]]) -> float:
    """How deep two convex outlines lie in each other: the least over the directions square to their edges."""
    depths = []
    for outline in (one, other):
        for (x0, y0), (x1, y1) in pairwise([*outline, outline[0]]):
            size = math.hypot(x1 - x0, y1 - y0)
            if size < 0.05:
                continue
            nx, ny = (y1 - y0) / size, (x0 - x1) / size
            mine, its = ([x * nx + y * ny for x, y in points] for points in (one, other))
            depths.append(min(max(mine), max(its)) - max(min(mine), min(its)))
    return min(depths)


def leaders(of: Drawing) -> list[list[tuple[float, float]]]:
    names = [element.attrib.get("data-part", "") for element in elements(of, "path")]
    return [corners(of, name) for name in names if "-leader-" in name]


def cross(one: Any, other: Any) -> bool:
    """Whether two stretches cross, their ends left out."""

    def turn(a: Any, b: Any, c: Any) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    (a, b), (c, d) = one, other
    return turn(a, b, c) * turn(a, b, d) < -1e-6 and turn(c, d, a) * turn(c, d, b) < -1e-6


@pytest.mark.parametrize(("example", "side"), CASES)
class TestOnPaper:
    def test_a_mm_is_a_mm(self, example, side) -> None:
        for view in drawn(example, side).all:
            assert f'viewBox="0 0 182 {view.height_mm:.2f}'.rstrip("0").rstrip(".") in view.svg()
            assert 'width="182mm"' in view.svg()
            assert math.hypot(*ends(view, "scale")) == pytest.approx(20.0, abs=MM)
            assert any("20 mm" in words for _, words in texts(view))

    def test_wire_to_shaft_in_the_front_view(self, example, side) -> None:
        of = drawn(example, side)
        (ax, ay), wire = ends(of.front, "before-shaft_axis"), ends(of.front, "before-wire")
        angle = between_deg(wire, (-ax, -ay)) * of.inward
        assert angle == pytest.approx(of.number("wire_front_deg"), abs=DEG)

    def test_neck_to_shaft_as_a_film_shows_it(self, example, side) -> None:
        of = drawn(example, side)
        straight = replace(of.plan, film_rotation_deg=0.0, film_flexion_deg=0.0)
        assert of.found.settings is not None
        numbers = result(of.bone, straight, of.found.settings).numbers
        for state in ("before", "after"):
            (ax, ay), neck = ends(of.front, f"{state}-shaft_axis"), ends(of.front, f"{state}-neck_axis")
            angle = between_deg(neck, (-ax, -ay)) * of.inward
            assert angle == pytest.approx(numbers[f"film_neck_shaft_{state}_deg"], abs=DEG)
            if not (of.plan.film_rotation_deg or of.plan.film_flexion_deg):
                assert angle == pytest.approx(example["numbers"][f"film_neck_shaft_{state}_deg"], abs=DEG)

    def test_neck_length_and_true_angle_from_two_views(self, example, side) -> None:
        of = drawn(example, side)
        for state in ("before", "after"):
            assert space_mm(of, f"{state}-neck_axis") == pytest.approx(of.bone.neck_mm, abs=MM)
            rise = -ends(of.front, f"{state}-neck_axis")[1] / of.bone.neck_mm
            true = 180.0 - math.degrees(math.acos(max(-1.0, min(1.0, rise))))
            assert true == pytest.approx(of.number(f"neck_shaft_{state}_deg"), abs=0.3)

    def test_version_and_rotation_in_the_end_view(self, example, side) -> None:
        of = drawn(example, side)
        for state in ("before", "after"):
            x, y = ends(of.end, f"{state}-neck_axis")
            version = math.degrees(math.atan2(-y, x * of.inward))
            assert version == pytest.approx(of.number(f"version_{state}_deg"), abs=DEG)
        below, above = ends(of.end, "after-lower_rotation_wire"), ends(of.end, "after-upper_rotation_wire")
        turned = between_deg(above, below) * of.inward
        # Inward is toward the other leg: the lower wire, pointing forward, goes to the inner side of the upper one.
        assert turned == pytest.approx(of.number("rotation_deg"), abs=DEG)
        before = [ends(of.end, f"before-{one}_rotation_wire") for one in ("lower", "upper")]
        assert between_deg(*before) == pytest.approx(0.0, abs=DEG)

    def test_valgus_and_extension_of_the_new_shaft(self, example, side) -> None:
        of = drawn(example, side)
        if of.bone.flexion_frame == "neck_plane":
            # Its views are turned by the version: here the angles are neither seen nor told.
            words = [words for view in of.all for _, words in texts(view)]
            assert "new shaft" in words
            assert not any("valgus" in one or "extension" in one for one in words)
            return
        x, y = ends(of.front, "before-new_shaft")
        assert math.degrees(math.atan2(-x * of.inward, y)) == pytest.approx(of.number("valgus_deg"), abs=DEG)
        x, y = ends(of.side, "before-new_shaft")
        assert math.degrees(math.atan2(-x * of.inward, y)) == pytest.approx(of.number("extension_deg"), abs=DEG)

    def test_cut_below_the_corner(self, example, side) -> None:
        of = drawn(example, side)
        for view in (of.front, of.side):
            below = spot(view, "before-lower_cut_centre")[1] - spot(view, "before-corner")[1]
            assert below == pytest.approx(of.plan.cut_below_corner_mm, abs=MM)

    def test_shift_of_the_shaft(self, example, side) -> None:
        of = drawn(example, side)
        upper, lower = (spot(of.front, f"after-{one}_cut_centre")[0] for one in ("upper", "lower"))
        assert (upper - lower) * of.inward == pytest.approx(of.number("plate_shift_mm"), abs=MM)
        upper, lower = (spot(of.side, f"after-{one}_cut_centre")[0] for one in ("upper", "lower"))
        assert (lower - upper) * of.inward == pytest.approx(of.number("plate_shift_forward_mm"), abs=MM)

    def test_blade_and_its_margins(self, example, side) -> None:
        of = drawn(example, side)
        for state in ("before", "after"):
            assert space_mm(of, f"{state}-blade_axis") == pytest.approx(of.number("blade_mm"), abs=MM)
            for part, name in (("tip_margin", "physis"), ("cortex_margin", "cortex")):
                margin = abs(of.number(f"blade_margin_{name}_mm"))
                assert space_mm(of, f"{state}-{part}") == pytest.approx(margin, abs=MM)

    def test_the_implant_holds_blade_and_plate_at_its_angle(self, example, side) -> None:
        of = drawn(example, side)
        # The plate lies along the shaft, downward on the paper: the blade's fall is the cosine of the implant.
        fall = ends(of.front, "after-blade_axis")[1] / space_mm(of, "after-blade_axis")
        assert math.degrees(math.acos(fall)) == pytest.approx(of.plan.implant_deg, abs=DEG)
        (x0, _), (x1, _) = corners(of.front, "after-plate")[-2:]
        assert x0 == pytest.approx(x1, abs=0.02)

    def test_the_faces_do_not_lie_in_each_other_once_the_wedge_is_taken(self, example, side) -> None:
        of = drawn(example, side)
        lower, upper = (corners(of.front, f"after-{one}_shaft") for one in ("lower", "upper"))
        # Seen from in front of a turn in the front plane alone the outlines are the pieces themselves.
        if abs(of.number("extension_deg")) < DEG and abs(of.number("rotation_deg")) < DEG:
            assert shared_mm(lower, upper) <= MM

    def test_a_wedge_in_the_front_plane_brings_the_faces_onto_each_other(self, example, side) -> None:
        flat = {
            **example["inputs"],
            **dict.fromkeys(("femoral_version_deg", "proximal_femur_flexion_deg", "target_version_deg"), 0.0),
            "wedge_mm": 3.0,
        }
        if solved(*given(flat)).settings is None or "found_wire_front_deg" in flat:
            return
        of = drawn({**example, "inputs": flat}, side)
        lower, upper = (corners(of.front, f"after-{one}_shaft") for one in ("lower", "upper"))
        assert shared_mm(lower, upper) <= MM

    def test_the_wedge_is_shown_before_and_at_least_as_high_as_the_shaft_moves(self, example, side) -> None:
        of = drawn(example, side)
        if of.plan.wedge_mm == 0.0:
            assert "before-wedge" not in of.front.svg()
            return
        heights = [y for _, y in corners(of.front, "before-wedge")]
        high = max(heights) - min(heights)
        assert high >= of.plan.wedge_mm - MM
        if of.plan.wedge_from == "upper":
            # Its base is as high as the way up the new shaft, which leans against the upper piece's own axis.
            assert high * math.cos(math.radians(of.number("tilt_deg"))) == pytest.approx(of.plan.wedge_mm, abs=MM)

    def test_no_words_on_words_and_nothing_off_the_sheet(self, example, side) -> None:
        for view in drawn(example, side).all:
            assert overlaps(view) == []
            assert outside(view) == []

    def test_no_leader_crosses_another_or_runs_over_words(self, example, side) -> None:
        for view in drawn(example, side).all:
            lines = leaders(view)
            assert len(lines) >= 4
            for number, one in enumerate(lines):
                for other in lines[number + 1 :]:
                    assert not any(cross(a, b) for a in pairwise(one) for b in pairwise(other)), (one, other)
                for box, words in texts(view):
                    rim = [(box.left, box.top), (box.right, box.top), (box.right, box.low), (box.left, box.low)]
                    edges = list(pairwise([*rim, rim[0]]))
                    assert not any(cross(a, edge) for edge in edges for a in pairwise(one)), words

    def test_only_greys(self, example, side) -> None:
        for view in drawn(example, side).all:
            for colour in re.findall(r"#([0-9a-f]{6})", view.svg()):
                tones = [int(colour[k : k + 2], 16) for k in (0, 2, 4)]
                assert max(tones) - min(tones) <= 24, colour


@pytest.mark.parametrize("example", WORKED, ids=lambda example: example["name"].split()[0])
def test_left_is_the_mirror_image_of_right(example) -> None:
    left, right = drawn(example, "left"), drawn(example, "right")
    for mine, other in zip(left.all, right.all, strict=True):
        for state in ("before", "after"):
            for part in ("neck_axis", "wire", "blade_axis"):
                x, y = ends(mine, f"{state}-{part}")
                assert ends(other, f"{state}-{part}") == pytest.approx((-x, y), abs=0.03)


def test_the_right_hip_lies_on_the_viewers_left_with_its_head_toward_the_middle() -> None:
    right = drawn(WORKED[0], "right")
    assert ends(right.front, "before-neck_axis")[0] > 0


def test_every_spot_of_a_part_is_named_once() -> None:
    names = [element.attrib.get("data-part") for element in elements(drawn(WORKED[0], "left").front, "path")]
    named = sorted(name for name in names if name)
    assert all(one != other for one, other in pairwise(named))
