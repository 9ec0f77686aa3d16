"""One model of the upper femur in space: bone, wire, implant and cut, and everything that follows from them.

The frame lies in the shaft as it is before the cut: origin where the axes of neck and shaft cross, m inward (medial),
a forward, u up along the distal shaft's axis, the line along the back of the knee's condyles along m. All is worked out
in (m, a, u) as though left, so that a mirror image has the same numbers; only the axis of the whole turn, told by the
right hand in the body, changes its sign with the side. Angles in degrees, lengths in mm.

Flexion of the upper piece is how far the shaft must stand turned backward, seen along f, to be free of it: f is the
axis across the shaft (`shaft_side`) or the line square to the shaft in the plane of neck and shaft (`neck_plane`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pathway.record import Side

Vector = NDArray[np.float64]
Frame = Literal["shaft_side", "neck_plane"]
Base = Literal["shaft", "upper"]
Refusal = Literal[
    "no_correction_reaches",
    "over_90",
    "wire_misses_shaft",
    "wire_along_physis",
    "blade_leaves_neck",
    "blade_crosses_physis_margin",
    "wedge_meets_blade",
    "bridge_too_small",
    "wedge_too_large",
    "rotation_exceeds_turn",
]
M: Vector = np.array([1.0, 0.0, 0.0])
A: Vector = np.array([0.0, 1.0, 0.0])
U: Vector = np.array([0.0, 0.0, 1.0])
STRAIGHT_DEG, LEVEL_DEG = 180.0, 90.0
TOUCH_MM, NO_TURN_DEG = 1e-6, 0.05
"""Rounding of margins, and of turns: a smaller turn has no axis."""
SQUARE = 1e-9
"""Cosine below which the shaft stands square to itself before: no place along it touches."""
NO_PLANE = 1e-12
"""Sine below which a neck lies in line with its shaft, so that the two have no plane for the wire."""
HALVINGS = 45
"""So many bring a quarter turn to the rounding of a float."""


@dataclass(frozen=True, slots=True)
class Femur:
    """The bone as measured. `epiphyseal_deg` is None where the growth plate's slope is not known.

    The shaft is a round cylinder, the neck an elliptical one, and the normal of the growth plate lies in the plane of
    neck and shaft: one film cannot tell more.
    """

    side: Side
    neck_shaft_deg: float
    version_deg: float
    flexion_deg: float
    flexion_frame: Frame
    epiphyseal_deg: float | None
    neck_mm: float
    shaft_width_mm: float
    neck_width_mm: float
    neck_depth_mm: float
    neck_wire_mm: float
    length_mm: float


@dataclass(frozen=True, slots=True)
class Plan:
    """What is wanted and used: targets, implant, cut, wedge, margins, the film's position, a wire found at the table.

    `wire_through_mm` is where the wire passes the neck's axis, from the crossing; `proud_mm` how far the implant's
    corner stands outside, `offset_mm` how far its plate lies inward of the corner; `blade_mm` None: the longest that
    keeps the margin.
    """

    neck_shaft_deg: float
    version_deg: float
    implant_deg: float
    wire_through_mm: float
    cut_below_corner_mm: float
    proud_mm: float = 0.0
    offset_mm: float = 0.0
    blade_width_mm: float = 0.0
    blade_thickness_mm: float = 0.0
    blade_mm: float | None = None
    blade_margin_mm: float = 0.0
    cortex_margin_mm: float = 0.0
    bridge_least_mm: float = 0.0
    wedge_mm: float = 0.0
    wedge_from: Base = "shaft"
    film_rotation_deg: float = 0.0
    film_flexion_deg: float = 0.0
    adduction_left_deg: float = 0.0
    found_wire: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Settings:
    """What is done at the table: the wire in two views, the turn of the slot, rotation, implant, cut and blade."""

    wire_front_deg: float
    wire_side_deg: float
    slot_deg: float
    rotation_deg: float
    implant_deg: float
    cut_below_corner_mm: float
    blade_mm: float | None
    view_deg: float
    """By how much the axes of the surgeon's views are turned about the shaft: 0, or the version as it was measured."""


class NotPossible(ValueError):
    """Nothing can be worked out; the reason stands in `reason`."""

    def __init__(self, reason: Refusal) -> None:
        super().__init__(reason)
        self.reason: Refusal = reason


def _size(of: Vector) -> float:
    return math.sqrt(float(of @ of))


def _unit(of: Vector) -> Vector:
    whole: Vector = of / _size(of)
    return whole


def _cross(one: Vector, other: Vector) -> Vector:
    """Return the product square to both: the library's serves any shape and takes thirty times as long."""
    (a, b, c), (x, y, z) = one.tolist(), other.tolist()
    return np.array([b * z - c * y, c * x - a * z, a * y - b * x])


def _square_to(of: Vector, axis: Vector) -> Vector:
    """Return the part of a vector that is square to a unit vector."""
    part: Vector = of - (of @ axis) * axis
    return part


def _deg(y: float, x: float) -> float:
    return math.degrees(math.atan2(y, x))


def _between_deg(one: Vector, other: Vector) -> float:
    return _deg(_size(_cross(one, other)), float(one @ other))


def _wrap(angle_deg: float) -> float:
    return (angle_deg + STRAIGHT_DEG) % 360.0 - STRAIGHT_DEG


def _cos_sin(angle_deg: float) -> tuple[float, float]:
    return math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))


def nearest_implant_deg(listed_deg: Iterable[float], aim_deg: float) -> float:
    """Return the implant's angle that is nearest to the one aimed at, the smaller of two; that one where none is."""
    return min(listed_deg, key=lambda angle: (abs(angle - aim_deg), angle), default=aim_deg)


def neck_axis(bone: Femur) -> Vector:
    """Return the unit vector along the neck to the head."""
    (down, across), (inward, forward) = _cos_sin(STRAIGHT_DEG - bone.neck_shaft_deg), _cos_sin(bone.version_deg)
    return np.array([across * inward, across * forward, down])


def neck_section(bone: Femur) -> tuple[Vector, Vector]:
    """Return the unit vectors along which the neck's width and depth are measured, square to its axis."""
    (up, out), (c, s) = _cos_sin(STRAIGHT_DEG - bone.neck_shaft_deg), _cos_sin(bone.version_deg)
    # The part of u square to the neck, written so that it has a direction for a neck in line with the shaft too.
    return np.array([-up * c, -up * s, out]), np.array([-s, c, 0.0])


def plate_normal(bone: Femur) -> Vector:
    """Return the normal of the growth plate: in the plane of neck and shaft; the neck's axis where it is not known."""
    if bone.epiphyseal_deg is None:
        return neck_axis(bone)
    (up, out), (inward, forward) = _cos_sin(bone.epiphyseal_deg), _cos_sin(bone.version_deg)
    # On the film it slopes as measured; written without a tangent, so that a range may pass a version of a right angle.
    return _unit(np.array([out * inward, out * forward, up * inward]))


def _views(view_deg: float) -> tuple[Vector, Vector]:
    """Return f, along which one looks in the side view, and g, along which one looks in the front view."""
    c, s = _cos_sin(view_deg)
    return np.array([c, s, 0.0]), np.array([-s, c, 0.0])


def _view_deg(bone: Femur) -> float:
    return bone.version_deg if bone.flexion_frame == "neck_plane" else 0.0


def _shaft_to(y: Vector, angle_deg: float, flexion_deg: float, view_deg: float) -> Vector:
    """Return the shaft's downward direction at an angle to `y`, turned backward by the flexion in the side view.

    Raises NotPossible.
    """
    f, g = _views(view_deg)
    c, s = _cos_sin(flexion_deg)
    k = -c * U - s * g
    along, across = float(y @ k), -float(y @ f)
    size, wanted = math.hypot(along, across), math.cos(math.radians(angle_deg))
    if abs(wanted) > size:
        raise NotPossible("no_correction_reaches")
    theta = _wrap(_deg(across, along) + math.degrees(math.acos(wanted / size)))
    if abs(theta) >= LEVEL_DEG:
        raise NotPossible("over_90")
    c, s = _cos_sin(theta)
    down: Vector = c * k - s * f
    return down


def _wire(front_deg: float, side_deg: float) -> Vector:
    (cf, sf), (cs, ss) = _cos_sin(front_deg), _cos_sin(side_deg)
    return np.array([cs * sf, ss, -cs * cf])


def _wire_angles(wire: Vector) -> tuple[float, float]:
    """Return the wire's angle in the front view and in the side view."""
    return _deg(float(wire[0]), -float(wire[2])), math.degrees(math.asin(max(-1.0, min(1.0, float(wire[1])))))


def _slot_deg(wire: Vector, down: Vector) -> float:
    """Return the turn of the implant about its blade, lower end backward positive."""
    p, t = _unit(_square_to(-U, wire)), _unit(_square_to(down, wire))
    return -_deg(float(_cross(p, t) @ wire), float(p @ t))


def _plate_down(wire: Vector, implant_deg: float, slot_deg: float) -> Vector:
    p = _unit(_square_to(-U, wire))
    (cx, sx), (cs, ss) = _cos_sin(implant_deg), _cos_sin(slot_deg)
    down: Vector = cx * wire + sx * (cs * p - ss * _cross(wire, p))
    return down


@dataclass(frozen=True, slots=True)
class _After:
    """The distal piece's frame after the correction, by settings alone; `f` and `g` are its views."""

    down: Vector
    m: Vector
    a: Vector
    u: Vector
    turn: NDArray[np.float64]


def _after(settings: Settings) -> _After:
    wire = _wire(settings.wire_front_deg, settings.wire_side_deg)
    down = _plate_down(wire, settings.implant_deg, settings.slot_deg)
    _, g = _views(settings.view_deg)
    up: Vector = -down
    g0 = _unit(_square_to(g, up))
    f0 = _cross(g0, up)
    c, s = _cos_sin(settings.rotation_deg)
    g1, f1 = c * g0 + s * f0, c * f0 - s * g0
    c, s = _cos_sin(settings.view_deg)
    m, a = c * f1 - s * g1, s * f1 + c * g1
    # Columns are where m, a and u of the old shaft go.
    return _After(down, m, a, up, np.column_stack((m, a, up)))


def settings_of(bone: Femur, plan: Plan) -> Settings:
    """Return what is set at the table to reach the targets, or to make the best of a wire found; raises NotPossible."""
    view = _view_deg(bone)
    n = neck_axis(bone)
    down = _shaft_to(n, plan.neck_shaft_deg, bone.flexion_deg, view)
    c, s = _cos_sin(plan.implant_deg)
    aside = _square_to(n, down)
    if _size(aside) < NO_PLANE:
        raise NotPossible("no_correction_reaches")
    wire = c * down + s * _unit(aside)
    front, side = _wire_angles(wire)
    bare = Settings(front, side, _slot_deg(wire, down), 0.0, plan.implant_deg, plan.cut_below_corner_mm, 0.0, view)
    there = _after(bare)
    rotation = _wrap(plan.version_deg - _deg(float(n @ there.a), float(n @ there.m)))
    if plan.found_wire is not None:
        front, side = plan.found_wire
        wire = _wire(front, side)
        down = _shaft_to(wire, plan.implant_deg, bone.flexion_deg, view)
    slot = _slot_deg(wire, down)
    blade = plan.blade_mm
    if blade is None:
        blade = _Placed(bone, plan, wire, down).longest_mm()
    return Settings(front, side, slot, rotation, plan.implant_deg, plan.cut_below_corner_mm, blade, view)


class _Placed:
    """The implant on the bone: the wire through the neck, its entry, the corner, the blade's edges."""

    def __init__(self, bone: Femur, plan: Plan, wire: Vector, down: Vector) -> None:
        self.bone, self.plan, self.wire = bone, plan, wire
        self.neck, self.radius = neck_axis(bone), bone.shaft_width_mm / 2
        through = plan.wire_through_mm * self.neck
        flat, at = wire[:2], through[:2]
        a, b, c = float(flat @ flat), float(flat @ at), float(at @ at) - self.radius**2
        if a < 1e-15 or b * b < a * c:
            raise NotPossible("wire_misses_shaft")
        self.entry: Vector = through + ((-b - math.sqrt(b * b - a * c)) / a) * wire
        self.corner: Vector = self.entry - plan.proud_mm * wire
        self.out_mm = self.radius / math.sin(math.radians(bone.neck_shaft_deg))
        self.plate: Vector = (bone.neck_wire_mm - self.out_mm) * self.neck
        self.normal = plate_normal(bone)
        across = _unit(_cross(wire, down))
        in_plane = _cross(wire, across)
        self.edges = [
            one * plan.blade_width_mm * across + other * plan.blade_thickness_mm * in_plane
            for one in (-0.5, 0.5)
            for other in (-0.5, 0.5)
        ]

    def longest_mm(self) -> float:
        """Return the longest blade that keeps its margin to the growth plate; raises NotPossible."""
        along = float(self.wire @ self.normal)
        if along <= 0:
            raise NotPossible("wire_along_physis")
        rooms = [float((self.plate - self.corner - edge) @ self.normal) for edge in self.edges]
        return (min(rooms) - self.plan.blade_margin_mm) / along

    def margin_physis_mm(self, blade_mm: float) -> float:
        """Return the least distance of an edge's tip to the growth plate; negative: through it."""
        tips = (self.corner + edge + blade_mm * self.wire for edge in self.edges)
        return min(float((self.plate - tip) @ self.normal) for tip in tips)

    def margin_cortex_mm(self, blade_mm: float) -> float:
        """Return the least distance of an edge to the wall of the neck, inside positive.

        The distance is concave along a line, so the two ends of the way through the neck are enough.
        """
        return self.nearest_cortex(blade_mm)[0]

    def nearest_cortex(self, blade_mm: float) -> tuple[float, Vector]:
        """Return the least distance of an edge to the wall of the neck, and where the edge is when it is so near."""
        inside, across = neck_section(self.bone)
        width, depth = self.bone.neck_width_mm / 2, self.bone.neck_depth_mm / 2
        found: list[tuple[float, Vector]] = []
        for edge in self.edges:
            start = self.corner + edge
            tip = float((start + blade_mm * self.wire) @ self.neck)
            for station in (self.out_mm, max(self.out_mm, tip)):
                along = float(self.wire @ self.neck)
                at = start + ((station - float(start @ self.neck)) / along) * self.wire
                found.append((_to_ellipse(float(at @ inside), float(at @ across), width, depth), at))
        return min(found, key=lambda item: item[0])


def _to_ellipse(x: float, y: float, a: float, b: float) -> float:
    """Return the signed distance of a point to an ellipse of half axes a and b, inside positive."""
    x, y = abs(x), abs(y)
    inside = (x / a) ** 2 + (y / b) ** 2 <= 1.0
    if a == b:
        return a - math.hypot(x, y)

    def nearest(t: float) -> tuple[float, float]:
        return a * math.cos(t), b * math.sin(t)

    def slope(t: float) -> float:
        c, s = math.cos(t), math.sin(t)
        return (a * c - x) * -a * s + (b * s - y) * b * c

    # In the first quarter the derivative of the squared distance changes its sign from - to + once; for a point on an
    # axis it may keep one sign, and an end of the quarter is the nearest.
    low, high = 0.0, math.pi / 2
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if slope(middle) <= 0 else (low, middle)
    best = min(math.hypot(p[0] - x, p[1] - y) for p in map(nearest, (0.0, low, math.pi / 2)))
    return best if inside else -best


Numbers = dict[str, float | None]


@dataclass(frozen=True, slots=True)
class Result:
    """What the settings lead to: `numbers` by name, the axis of the whole turn in the body, and why it is refused."""

    numbers: Numbers
    axis: tuple[float, float, float] | None
    refused: tuple[Refusal, ...]
    settings: Settings | None


def result(bone: Femur, plan: Plan, settings: Settings) -> Result:
    """Return what settings held at the table make of a bone; raises NotPossible where the wire cannot be placed."""
    return _result(bone, plan, settings, _after(settings))


def _result(bone: Femur, plan: Plan, settings: Settings, after: _After) -> Result:
    """Return the result where the frame that the settings give is known, as for many readings of one bone."""
    wire = _wire(settings.wire_front_deg, settings.wire_side_deg)
    placed = _Placed(bone, plan, wire, after.down)
    blade = placed.longest_mm() if settings.blade_mm is None else settings.blade_mm
    turned = _angles(bone, plan, settings, after)
    numbers: Numbers = {
        **turned,
        "blade_mm": blade,
        "blade_margin_physis_mm": placed.margin_physis_mm(blade),
        "blade_margin_cortex_mm": placed.margin_cortex_mm(blade),
        "cut_below_corner_mm": settings.cut_below_corner_mm,
        "wedge_mm": plan.wedge_mm,
        **_rest(bone, plan, settings, placed, after),
    }
    axis = _axis(after.turn, turned["total_turn_deg"] or 0.0, bone.side)
    return Result(numbers, axis, tuple(_refusals(numbers, plan)), settings)


def angles_of(bone: Femur, plan: Plan, settings: Settings) -> Numbers:
    """Return every angle of a result: those numbers that hang on no length of the bone."""
    return _angles(bone, plan, settings, _after(settings))


def _angles(bone: Femur, plan: Plan, settings: Settings, after: _After) -> Numbers:
    n, wire = neck_axis(bone), _wire(settings.wire_front_deg, settings.wire_side_deg)
    d = after.down
    f, g = _views(settings.view_deg)
    normal = None if bone.epiphyseal_deg is None else plate_normal(bone)
    extension, front = _deg(-float(d @ g), -float(d @ U)), _deg(-float(d @ M), -float(d @ U))
    return {
        "neck_shaft_before_deg": bone.neck_shaft_deg,
        "version_before_deg": bone.version_deg,
        "flexion_before_deg": bone.flexion_deg,
        "neck_shaft_after_deg": _between_deg(n, d),
        "version_after_deg": _deg(float(n @ after.a), float(n @ after.m)),
        "film_neck_shaft_before_deg": _film_deg(n, plan),
        "film_neck_shaft_after_deg": _film_deg(after.turn.T @ n, plan),
        "epiphyseal_before_deg": bone.epiphyseal_deg,
        "epiphyseal_after_deg": None if normal is None else _deg(float(normal @ after.m), float(normal @ after.u)),
        "valgus_deg": _deg(-float(d @ f), -float(d @ U)),
        "front_valgus_deg": front,
        "extension_deg": extension,
        "rotation_deg": settings.rotation_deg,
        "total_turn_deg": _between_turn_deg(after.turn),
        "wire_front_deg": settings.wire_front_deg,
        "wire_side_deg": settings.wire_side_deg,
        "slot_deg": settings.slot_deg,
        "implant_deg": settings.implant_deg,
        "adduction_needed_deg": max(0.0, front) + plan.adduction_left_deg,
        "flexion_after_deg": bone.flexion_deg - extension,
        "tilt_deg": _between_deg(U, after.u),
        "wire_to_shaft_deg": _between_deg(wire, -U),
        "wire_to_neck_deg": _between_deg(wire, n),
    }


def turn_of(settings: Settings) -> NDArray[np.float64]:
    """Return the whole turn of the lower piece: columns are where m, a and u of the shaft before the cut go."""
    return _after(settings).turn


def neck_shaft_along(bone: Femur, implant_deg: float, front_deg: float, side_deg: float) -> float:
    """Return the neck-shaft angle that an implant makes along a wire, extension kept full; raises NotPossible."""
    wire = _wire(front_deg, side_deg)
    return _between_deg(neck_axis(bone), _shaft_to(wire, implant_deg, bone.flexion_deg, _view_deg(bone)))


def knee_below_crossing_mm(bone: Femur) -> float:
    """Return how far the knee lies below the crossing of the axes; not above 0 where the bone is too short for it."""
    lean = math.radians(STRAIGHT_DEG - bone.neck_shaft_deg)
    # A femur hardly longer than its neck has no knee below it once its neck is taken a little longer.
    below = max(bone.length_mm**2 - (bone.neck_mm * math.sin(lean)) ** 2, 0.0)
    return math.sqrt(below) - bone.neck_mm * math.cos(lean)


def _rest(bone: Femur, plan: Plan, settings: Settings, placed: _Placed, after: _After) -> Numbers:
    """Return shift, contact, length, bridge and wedge: what the plate makes of the shaft below the cut."""
    n, d, up = placed.neck, after.down, after.u
    tilt = math.radians(_between_deg(U, up))
    level, face, _ = _cut_faces(plan, settings, placed, after)
    shift = _square_to(face - level * U, up)
    part = min(1.0, _size(shift) / bone.shaft_width_mm)
    knee = knee_below_crossing_mm(bone)
    gained = _size(bone.neck_mm * n - (face + (level + knee) * d)) - bone.length_mm
    steep = math.sin(math.radians(_between_deg(placed.wire, U)))
    bridge = float(placed.entry @ U) - level - plan.blade_thickness_mm / 2 / steep
    base, at = -_square_to(up, U), _square_to(placed.entry, U)
    size = _size(base) * _size(at)
    share = float(base @ at) / size if size > 1e-12 else 1.0
    return {
        "plate_shift_mm": -float(shift @ after.m),
        "contact_share": 2 / math.pi * (math.acos(part) - part * math.sqrt(1 - part * part)),
        "length_gain_mm": gained,
        "plate_shift_forward_mm": float(shift @ after.a),
        "bridge_mm": bridge,
        "wedge_at_entry_mm": plan.wedge_mm * (1 + share) / 2,
        "wedge_full_mm": bone.shaft_width_mm * math.tan(tilt),
    }


def _cut_faces(plan: Plan, settings: Settings, placed: _Placed, after: _After) -> tuple[float, Vector, Vector]:
    """Return the level of the cut, the middle of the lower piece's face once at the plate, the plate's inward side."""
    r, up = placed.radius, after.u
    if abs(float(U @ up)) < SQUARE:
        raise NotPossible("over_90")
    level = float(placed.corner @ U) - settings.cut_below_corner_mm
    inward = _unit(_square_to(placed.wire, up))
    along = placed.corner + (plan.offset_mm + r) * inward
    tilt = math.radians(_between_deg(U, up))
    first = (level - r * math.sin(tilt) - float(along @ U)) / float(up @ U)
    second = level * float(U @ up) - r * math.sin(tilt) - float(along @ up)
    return level, along + (max(first, second) + plan.wedge_mm) * up, inward


@dataclass(frozen=True, slots=True)
class Placement:
    """Where implant and cut lie, in the frame of the shaft before the cut; `turn` takes that frame to the new one.

    `edges` are the blade's four edges beside its axis; `plate_at` and `plate_normal` the growth plate; `near_cortex`
    where an edge of the blade comes nearest to the wall of the neck; `face` the middle of the lower piece's cut face
    once it lies at the plate, `level_mm` the height of the cut on the old shaft; `inward` leads from plate to shaft.
    """

    neck: Vector
    wire: Vector
    entry: Vector
    corner: Vector
    tip: Vector
    edges: tuple[Vector, ...]
    neck_from_mm: float
    plate_at: Vector
    plate_normal: Vector
    near_cortex: Vector
    level_mm: float
    face: Vector
    inward: Vector
    up: Vector
    turn: NDArray[np.float64]


def placement(bone: Femur, plan: Plan, settings: Settings) -> Placement:
    """Return where what is set at the table lies in space; raises NotPossible where the wire cannot be placed."""
    wire, after = _wire(settings.wire_front_deg, settings.wire_side_deg), _after(settings)
    placed = _Placed(bone, plan, wire, after.down)
    blade = placed.longest_mm() if settings.blade_mm is None else settings.blade_mm
    level, face, inward = _cut_faces(plan, settings, placed, after)
    return Placement(
        placed.neck,
        wire,
        placed.entry,
        placed.corner,
        placed.corner + blade * wire,
        tuple(placed.edges),
        placed.out_mm,
        placed.plate,
        placed.normal,
        placed.nearest_cortex(blade)[1],
        level,
        face,
        inward,
        after.u,
        after.turn,
    )


def _film_deg(v: Vector, plan: Plan) -> float:
    """Return the angle to the shaft that a front film shows, the leg turned outward and the hip flexed as given."""
    (cr, sr), (ct, st) = _cos_sin(plan.film_rotation_deg), _cos_sin(plan.film_flexion_deg)
    x, y = float(v[0]) * cr - float(v[1]) * sr, float(v[0]) * sr + float(v[1]) * cr
    return _deg(x, -(y * st + float(v[2]) * ct))


def _between_turn_deg(turn: NDArray[np.float64]) -> float:
    skew = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    return _deg(_size(skew), float(np.trace(turn)) - 1.0)


def _axis(turn: NDArray[np.float64], total_deg: float, side: Side) -> tuple[float, float, float] | None:
    """Return the axis of the whole turn by the right hand in the body, along m, a and u; None for no turn."""
    if total_deg < NO_TURN_DEG:
        return None
    if total_deg > STRAIGHT_DEG - NO_TURN_DEG:
        values, vectors = np.linalg.eigh((turn + turn.T) / 2)
        axis = vectors[:, int(np.argmax(values))]
    else:
        axis = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    axis = _unit(axis) * (1 if side == "left" else -1)
    return float(axis[0]), float(axis[1]), float(axis[2])


def _refusals(numbers: Numbers, plan: Plan) -> Iterator[Refusal]:
    def of(name: str) -> float:
        value = numbers[name]
        assert value is not None
        return value

    if of("blade_margin_cortex_mm") < plan.cortex_margin_mm - TOUCH_MM:
        yield "blade_leaves_neck"
    if of("blade_margin_physis_mm") < plan.blade_margin_mm - TOUCH_MM:
        yield "blade_crosses_physis_margin"
    room = of("bridge_mm") - plan.bridge_least_mm
    if plan.wedge_from == "upper" and of("wedge_at_entry_mm") > room + TOUCH_MM:
        yield "wedge_meets_blade"
    if room < -TOUCH_MM:
        yield "bridge_too_small"
    if plan.wedge_mm > of("wedge_full_mm") + TOUCH_MM:
        yield "wedge_too_large"
    if abs(of("rotation_deg")) > of("total_turn_deg") + NO_TURN_DEG:
        yield "rotation_exceeds_turn"


def solved(bone: Femur, plan: Plan) -> Result:
    """Return what reaches the targets and what comes of it; with the reason alone where nothing can be worked out."""
    try:
        return result(bone, plan, settings_of(bone, plan))
    except NotPossible as error:
        before: Numbers = {
            "neck_shaft_before_deg": bone.neck_shaft_deg,
            "version_before_deg": bone.version_deg,
            "flexion_before_deg": bone.flexion_deg,
            "implant_deg": plan.implant_deg,
        }
        return Result(before, None, (error.reason,), None)


SETTING_ERRORS = ("cut_below_corner_mm", "wire_front_deg", "wire_side_deg", "slot_deg", "rotation_deg")


def ranges_of(
    bone: Femur, plan: Plan, settings: Settings, errors: Mapping[str, float], normal_reach: float
) -> dict[str, tuple[float, float]]:
    """Return between which values each number lies when bone and hand vary and the settings are held.

    `errors` are the SD of each quantity, by its name here; the change that one SD makes either way, the larger of the
    two, is added up in squares; `normal_reach` is how many SD a range reaches to either side.
    """
    held = _after(settings)
    at = _result(bone, plan, settings, held).numbers
    squares = dict.fromkeys((name for name, value in at.items() if value is not None), 0.0)
    for name, sd in errors.items():
        changes = dict.fromkeys(squares, 0.0)
        for way in (-sd, sd):
            try:
                other, set_so = _varied(bone, settings, name, way)
                there = _result(other, plan, set_so, held if set_so is settings else _after(set_so)).numbers
            except NotPossible:
                continue
            for key in squares:
                here, new = at[key], there[key]
                if here is not None and new is not None:
                    apart = _wrap(new - here) if key.endswith("_deg") else new - here
                    changes[key] = max(changes[key], abs(apart))
        for key, change in changes.items():
            squares[key] += change**2
    found = {}
    for key, square in squares.items():
        value, reach = at[key] or 0.0, normal_reach * math.sqrt(square)
        low, high = value - reach, value + reach
        found[key] = (max(low, 0.0), min(high, 1.0)) if key == "contact_share" else (low, high)
    return found


def _varied(bone: Femur, settings: Settings, name: str, by: float) -> tuple[Femur, Settings]:
    """Return the same with one quantity off: what is measured of the bone, or how the hand sets it."""
    if name in SETTING_ERRORS:
        return bone, replace(settings, **{name: getattr(settings, name) + by})
    value = getattr(bone, name)
    return (bone if value is None else replace(bone, **{name: value + by})), settings
