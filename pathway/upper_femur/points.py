"""The upper femur before and after as bodies and lines in space: what a drawing of the plan is made of.

Both states stand in the frame of the lower piece (m, a, u of `model`): the shaft below the cut is the same in
both, and the upper piece moves. Nothing is drawn that is not measured: head and trochanter have no outline.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from pathway.record import Side
from pathway.upper_femur.model import (
    A,
    Femur,
    M,
    Placement,
    Plan,
    Settings,
    U,
    Vector,
    neck_section,
    placement,
)

State = Literal["before", "after"]
View = Literal["front", "side", "end"]
Spot = tuple[float, float]
Points = tuple[Vector, ...]
RING = 180
"""Corners of a drawn circle: its flats lie less than a hundredth of a mm inside it."""
SEEN_WIDTHS = 2.0
"""How much of the shaft is drawn below the cut, in widths of the shaft."""


@dataclass(frozen=True, slots=True)
class Scene:
    """One state in space. `bodies` are convex: their outline in a view is the hull of their points.

    `lines` run through their points; `rings` are closed; `spots` are single points. Names are the same in both states.
    """

    state: State
    bodies: dict[str, Points]
    lines: dict[str, Points]
    rings: dict[str, Points]
    spots: dict[str, Vector]


def scenes(bone: Femur, plan: Plan, settings: Settings, ring: int = RING) -> tuple[Scene, Scene]:
    """Return the bone before and after; raises NotPossible where the wire cannot be placed.

    `ring` is how many corners a circle has.
    """
    at = placement(bone, plan, settings)
    return (
        _scene(bone, plan, at, settings, "before", lambda point: point, ring),
        _scene(bone, plan, at, settings, "after", carried(at), ring),
    )


def in_view(view: View, side: Side, point: Vector) -> Spot:
    """Return where a point of a scene lies in a view (to the viewer's right, upward), mm.

    The viewer faces the patient, stands at the outer side of the hip, or at the knee with the front upward.
    """
    medial = -1.0 if side == "left" else 1.0
    match view:
        case "front":
            return medial * float(point @ M), float(point @ U)
        case "side":
            return medial * float(point @ A), float(point @ U)
        case "end":
            return medial * float(point @ M), float(point @ A)


def outline(points: Iterable[Spot]) -> list[Spot]:
    """Return the corners of what a convex body covers in a view, in order."""
    ordered = sorted({(round(x, 4), round(y, 4)) for x, y in points})
    if len(ordered) < 3:
        return ordered
    sides = []
    for way in (ordered, ordered[::-1]):
        side: list[Spot] = []
        for point in way:
            while len(side) >= 2 and _bend(side[-2], side[-1], point) <= 0:
                side.pop()
            side.append(point)
        sides.append(side[:-1])
    return [*sides[0], *sides[1]]


def _bend(a: Spot, b: Spot, c: Spot) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def carried(at: Placement) -> Callable[[Vector], Vector]:
    """Return what takes a point of the upper piece into the frame of the lower piece at the plate."""

    def carry(point: Vector) -> Vector:
        there: Vector = at.turn.T @ (point - at.face) + at.level_mm * U
        return there

    return carry


def _scene(
    bone: Femur,
    plan: Plan,
    at: Placement,
    settings: Settings,
    state: State,
    carry: Callable[[Vector], Vector],
    ring: int,
) -> Scene:
    def upper(points: Points) -> Points:
        return tuple(carry(point) for point in points)

    radius = bone.shaft_width_mm / 2
    foot = at.level_mm - SEEN_WIDTHS * bone.shaft_width_mm
    top = max(at.level_mm, float(at.entry @ U), 0.0) + radius
    plate_rim = _neck_rim(bone, at.plate_at, at.plate_normal, at.neck, ring)
    face = _disc(at.level_mm * U, radius, ring)
    taken = _taken(plan, at, face)
    lower_face, upper_face = (taken, face) if plan.wedge_from == "shaft" else (face, taken)
    if state == "before":
        # The wedge is still there: it is shown on the bone that it will be taken from.
        lower_face = upper_face = face
    bodies = {
        "lower_shaft": _disc(foot * U, radius, ring) + lower_face,
        "upper_shaft": upper(upper_face + _disc(top * U, radius, ring)),
        "neck": upper(_neck_rim(bone, at.neck_from_mm * at.neck, at.neck, at.neck, ring) + plate_rim),
        "blade": upper(tuple(end + edge for end in (at.corner, at.tip) for edge in at.edges)),
    }
    lines: dict[str, Points] = {
        "shaft_axis": (foot * U, (0.0 if state == "before" else at.level_mm) * U),
        "neck_axis": upper((np.zeros(3), bone.neck_mm * at.neck)),
        "wire": upper((at.corner - radius * at.wire, at.tip)),
        "blade_axis": upper((at.corner, at.tip)),
        "tip_margin": upper(_tip_margin(at)),
        "cortex_margin": upper((at.near_cortex, _wall_point(bone, at.near_cortex, at.neck))),
    }
    rings = {
        "growth_plate": upper(plate_rim),
        "upper_cut": upper(upper_face),
        "lower_cut": lower_face,
    }
    spots = {
        "corner": carry(at.corner),
        "corner_level": carry(float(at.corner @ U) * U),
        "upper_cut_centre": carry(at.level_mm * U),
        "lower_cut_centre": at.level_mm * U,
        "entry": carry(at.entry),
        "tip": carry(at.tip),
        "head_centre": carry(bone.neck_mm * at.neck),
        "crossing": carry(np.zeros(3)),
    }
    seen = math.radians(settings.view_deg)
    across = (math.cos(seen) * A - math.sin(seen) * M) * bone.shaft_width_mm
    middle = at.level_mm * U
    # Both are shown through the middle of the lower piece: seen along its shaft, their angle is what counts.
    above = middle + carry(across) - carry(np.zeros(3))
    lines |= {"lower_rotation_wire": (middle, middle + across), "upper_rotation_wire": (middle, above)}
    if state == "before":
        lines["new_shaft"] = (middle, middle - bone.shaft_width_mm * at.up)
    if state == "after":
        spots |= {"old_axis_foot": carry((at.level_mm - bone.shaft_width_mm) * U)}
        along = carry(at.corner)
        on_plate = along + float((-radius * (at.turn.T @ at.inward) - along) @ (at.turn.T @ at.inward)) * (
            at.turn.T @ at.inward
        )
        lines["plate"] = (along, on_plate, on_plate + (foot - float(on_plate @ U)) * U)
        bodies["gap"] = lower_face + upper(upper_face)
    elif plan.wedge_mm > 0:
        bodies["wedge"] = face + taken
    return Scene(state, bodies, lines, rings, spots)


def _taken(plan: Plan, at: Placement, face: Points) -> Points:
    """Return the rim of the cut face that the wedge is taken from, once it is taken; the rim itself without a wedge.

    What is taken is what lies beyond the plane of the other piece's face, so that the two faces come to lie on each
    other. Where the shaft is shifted to the side, that is a little more than the way it moves up.
    """
    if plan.wedge_mm <= 0:
        return face
    if plan.wedge_from == "shaft":
        # In the frame of the lower piece, where the upper face's normal is the old shaft's axis carried along.
        middle, normal, way = carried(at)(at.level_mm * U), at.turn.T @ U, -1.0
    else:
        middle, normal, way = at.face, -at.up, 1.0
    found = []
    for point in face:
        over = max(0.0, float((point - middle) @ normal))
        found.append(point + way * over / abs(float(normal @ U)) * U)
    return tuple(found)


def _disc(centre: Vector, radius: float, ring: int) -> Points:
    angles = np.linspace(0.0, 2 * math.pi, ring, endpoint=False)
    return tuple(centre + radius * (math.cos(t) * M + math.sin(t) * A) for t in angles)


def _neck_rim(bone: Femur, at: Vector, normal: Vector, neck: Vector, ring: int) -> Points:
    """Return where a plane cuts the wall of the neck."""
    inside, across = neck_section(bone)
    found = []
    for t in np.linspace(0.0, 2 * math.pi, ring, endpoint=False):
        side = bone.neck_width_mm / 2 * math.cos(t) * inside + bone.neck_depth_mm / 2 * math.sin(t) * across
        found.append(side + float((at - side) @ normal) / float(neck @ normal) * neck)
    return tuple(found)


def _tip_margin(at: Placement) -> Points:
    """Return the way from the edge of the blade's tip that is nearest the growth plate, square to it."""
    rooms = [(float((at.plate_at - at.tip - edge) @ at.plate_normal), number) for number, edge in enumerate(at.edges)]
    room, number = min(rooms)
    start = at.tip + at.edges[number]
    return start, start + room * at.plate_normal


def _wall_point(bone: Femur, near: Vector, neck: Vector) -> Vector:
    """Return the point of the neck's wall that lies nearest, at the same station."""
    inside, across = neck_section(bone)
    t = np.linspace(0.0, 2 * math.pi, 7200, endpoint=False)
    x, y = bone.neck_width_mm / 2 * np.cos(t), bone.neck_depth_mm / 2 * np.sin(t)
    best = int(np.argmin(np.hypot(x - float(near @ inside), y - float(near @ across))))
    wall: Vector = float(near @ neck) * neck + float(x[best]) * inside + float(y[best]) * across
    return wall
