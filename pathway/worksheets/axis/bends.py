"""Where and how much a bone is bent: apices between its axes, in one plane and in both, and what a cut does."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pathway.protocol.model import Bone
from pathway.worksheets.axis.landmarks import (
    Leg,
    femoral_axis_from_hip,
    femoral_axis_from_knee,
    piece_axis,
    tibial_axis_from_ankle,
    tibial_axis_from_knee,
)
from pathway.worksheets.axis.lines import REACH_99, Floats, Line, dot, meet, reach_95, sd_of_readings, turn_deg


@dataclass(frozen=True, slots=True)
class Normal:
    """A joint angle that is usual at an age, and between which values it is not called crooked; degrees."""

    value: float
    low: float
    high: float

    @property
    def half_width(self) -> float:
        """Return how far from the usual value the nearer end of the band lies."""
        return min(self.value - self.low, self.high - self.value)


@dataclass(frozen=True, slots=True)
class Normals:
    """The usual joint angles of a leg, and the usual angle between the shaft of the femur and its mechanical axis."""

    mldfa: Normal
    mpta: Normal
    ldta: Normal
    mlpfa: Normal
    shaft_to_axis: Normal


@dataclass(frozen=True, slots=True)
class Bend:
    """A turn between two neighbouring axes of a bone, for every reading (n,); `least_deg` is what is called a bend.

    `from_knee_mm` is how far along the bone from the knee its apex lies, not a number where that cannot be told.
    `by_joint`: one of the axes is drawn from a joint line by its usual angle. On a front film varus is positive, on a
    side film recurvatum.
    """

    bone: Bone
    turn_deg: Floats
    point: Floats
    from_knee_mm: Floats
    least_deg: float
    by_joint: str = ""

    @property
    def reading_deg(self) -> float:
        """Return how far 95 of 100 readings of the same film lie from the first, degrees."""
        return reach_95(self.turn_deg)

    @property
    def is_bend(self) -> bool:
        """Return whether the turn is more than is usual, and than 99 of 100 readings of a straight bone would show.

        Of the several turns of a leg one in a hundred is then called a bend that is none.
        """
        return abs(float(self.turn_deg[0])) > max(REACH_99 * sd_of_readings(self.turn_deg), self.least_deg)

    @property
    def level_reading_mm(self) -> float:
        """Return how far 95 of 100 readings of the level of the apex lie from the first; not a number where none."""
        return reach_95(self.from_knee_mm)


@dataclass(frozen=True, slots=True)
class BoneAxis:
    """One bone on one film: every turn between its axes from above, and their sum where both ends are known (n,)."""

    bone: Bone
    length_mm: float
    turns: tuple[Bend, ...]
    whole_deg: Floats | None

    @property
    def bends(self) -> tuple[Bend, ...]:
        """Return the turns that are bends."""
        return tuple(one for one in self.turns if one.is_bend)

    def is_placed(self, bend: Bend) -> bool:
        """Return whether the film tells where the apex lies: better than half the length of the bone."""
        reach = bend.level_reading_mm
        return bool(np.isfinite(bend.from_knee_mm[0])) and np.isfinite(reach) and reach <= self.length_mm / 2

    def is_inside(self, bend: Bend) -> bool:
        """Return whether an apex lies within the length of the bone; where it cannot be told it counts as inside."""
        level = float(bend.from_knee_mm[0])
        return math.isnan(level) or 0 <= level <= self.length_mm


def front_axes(leg: Leg, normals: Normals, least_deg: float) -> tuple[BoneAxis, BoneAxis]:
    """Return femur and tibia on the front film; `least_deg` is the least turn between two pieces that is a bend.

    A femur with one piece of its shaft marked, or its trochanter, has one apex where the mechanical axes of its ends
    meet; with two or more pieces an apex between each two, and what is left lies at the knee. A tibia has an apex
    between each two of: the axis that the knee wants, its pieces, the axis that the ankle wants.
    """
    return _femur(leg, normals, least_deg), _tibia(leg, normals, least_deg)


def side_axes(leg: Leg, least_deg: float, knee: Floats | None) -> tuple[BoneAxis, BoneAxis]:
    """Return femur and tibia on the side film, by the pieces of their shafts; levels where the knee is marked."""
    return tuple(_side(leg, bone, least_deg, knee) for bone in ("femur", "tibia"))  # type: ignore[return-value]


def _femur(leg: Leg, normals: Normals, least_deg: float) -> BoneAxis:
    length = float(np.linalg.norm(leg.hip[0] - leg.femur_at_knee[0]))
    knee = femoral_axis_from_knee(leg, normals.mldfa.value)
    hip = femoral_axis_from_hip(leg, normals.shaft_to_axis.value, normals.mlpfa.value)
    if hip is None:
        return BoneAxis("femur", length, (), None)
    whole = turn_deg(hip.down, knee.down)
    pieces = [piece_axis(piece) for piece in leg.shafts.get("femur", ())]
    if len(pieces) < 2:
        point = meet(hip, knee)
        level = -dot(point - leg.femur_at_knee, knee.down)
        end = "hip and knee" if pieces else "trochanter and knee"
        return BoneAxis("femur", length, (Bend("femur", whole, point, level, normals.mldfa.half_width, end),), whole)
    turns = tuple(_between(pieces, "femur", least_deg, leg.femur_at_knee, -1))
    left = whole - sum(one.turn_deg for one in turns)
    nowhere = np.full_like(knee.point, np.nan)
    at_knee = Bend("femur", left, nowhere, np.full_like(left, np.nan), normals.mldfa.half_width, "knee")
    return BoneAxis("femur", length, (*turns, at_knee), whole)


def _tibia(leg: Leg, normals: Normals, least_deg: float) -> BoneAxis:
    length = float(np.linalg.norm(leg.ankle[0] - leg.tibia_at_knee[0]))
    knee = tibial_axis_from_knee(leg, normals.mpta.value)
    ankle = tibial_axis_from_ankle(leg, normals.ldta.value)
    whole = turn_deg(knee.down, ankle.down)
    pieces = [piece_axis(piece) for piece in leg.shafts.get("tibia", ())]
    if not pieces:
        least = max(normals.mpta.half_width, normals.ldta.half_width)
        (one,) = _between([knee, ankle], "tibia", least, leg.tibia_at_knee, 1, "knee and ankle")
        return BoneAxis("tibia", length, (one,), whole)
    turns = (
        *_between([knee, pieces[0]], "tibia", normals.mpta.half_width, leg.tibia_at_knee, 1, "knee"),
        *_between(pieces, "tibia", least_deg, leg.tibia_at_knee, 1),
        *_between([pieces[-1], ankle], "tibia", normals.ldta.half_width, leg.tibia_at_knee, 1, "ankle"),
    )
    return BoneAxis("tibia", length, turns, whole)


def _side(leg: Leg, bone: Bone, least_deg: float, knee: Floats | None) -> BoneAxis:
    pieces = [piece_axis(piece) for piece in leg.side_shafts.get(bone, ())]
    far = float("inf")
    if len(pieces) < 2:
        return BoneAxis(bone, far, (), None)
    way = -1 if bone == "femur" else 1
    turns = tuple(_between(pieces, bone, least_deg, knee, way))
    return BoneAxis(bone, far, turns, turn_deg(pieces[0].down, pieces[-1].down))


def _between(
    axes: Sequence[Line], bone: Bone, least_deg: float, knee: Floats | None, way: int, by_joint: str = ""
) -> Iterator[Bend]:
    """Yield the turn between each two neighbouring axes; `way` is +1 where distal is away from the knee."""
    for upper, lower in pairwise(axes):
        point = meet(upper, lower)
        # Along the bone as it goes from the knee to the apex.
        near = lower if way < 0 else upper
        level = np.full(len(point), np.nan) if knee is None else way * dot(point - knee, near.down)
        yield Bend(bone, turn_deg(upper.down, lower.down), point, level, least_deg, by_joint)


@dataclass(frozen=True, slots=True)
class Oblique:
    """One bend seen on both films: its true size and its plane, for every reading (n,).

    `plane_deg` is turned from the front plane, 0 to 90; `apart_mm` how far apart the two films show the apex, not a
    number where a level cannot be told: further than its reading means a shift of the pieces as well.
    """

    bone: Bone
    angle_deg: Floats
    plane_deg: Floats
    apart_mm: Floats


def oblique(front: Bend, side: Bend) -> Oblique:
    """Return the one bend that shows so on both films: tangents are the sides of a right angle."""
    x, y = (np.tan(np.radians(one.turn_deg)) for one in (front, side))
    return Oblique(
        front.bone,
        np.degrees(np.arctan(np.hypot(x, y))),
        np.degrees(np.arctan2(np.abs(y), np.abs(x))),
        np.abs(front.from_knee_mm - side.from_knee_mm),
    )


@dataclass(frozen=True, slots=True)
class Cut:
    """What a cut does that lies so far from the apex (mm, away from the knee positive), hinged at apex or cut.

    `shift_mm` is by how much the ends at the cut must be shifted against each other; `left_mm` how far apart the axes
    stay when all is turned: the new deformity that a wrong hinge makes.
    """

    off_mm: float
    hinge_at_apex: bool
    shift_mm: float
    left_mm: float


def cut_at(turn: float, off_mm: float, *, hinge_at_apex: bool) -> Cut:
    """Return what a cut does to a bend of `turn` degrees."""
    half = math.radians(abs(turn)) / 2
    if hinge_at_apex:
        return Cut(off_mm, True, 2 * abs(off_mm) * math.sin(half), 0.0)
    return Cut(off_mm, False, 0.0, abs(off_mm) * math.sin(2 * half))


def open_wedge_mm(turn: float, width_mm: float) -> float:
    """Return how far a wedge opens at one edge of the bone when it hinges on the other: the chord of the turn."""
    return 2 * width_mm * math.sin(math.radians(abs(turn)) / 2)
