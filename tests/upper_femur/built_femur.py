"""A femur built of points in the body and really turned, apart from the model: X to the right, Y forward, Z up.

A right femur is a right femur here: every turn goes from one named direction toward another, by the right hand in the
body, and every angle is read from a picture onto which points are thrown.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from pathway.upper_femur.model import Femur, Plan, Settings

Vector = NDArray[np.float64]
RIGHT, FORWARD, UP = np.eye(3)
DOWN, BACKWARD = -UP, -FORWARD
FAR_MM = 1e4
ROUND = np.linspace(0, 2 * np.pi, 7201)[:-1]


def length(of: Vector) -> float:
    return float(np.sqrt(np.sum(of**2)))


def direction(of: Vector) -> Vector:
    return of / length(of)


def turn(start: Vector, goal: Vector, angle_deg: float) -> Rotation:
    """Return the turn that carries `start` toward `goal` by an angle."""
    return Rotation.from_rotvec(direction(np.cross(start, goal)) * angle_deg, degrees=True)


def angle(one: Vector, other: Vector) -> float:
    return float(np.degrees(np.arccos(np.clip(direction(one) @ direction(other), -1, 1))))


def in_picture(start: Vector, seen: Vector, across: Vector, along: Vector) -> float:
    """Return the angle from `start` to `seen` on a picture, positive toward `across`; `along` is its other axis."""
    zero = complex(start @ along, start @ across)
    there = complex(seen @ along, seen @ across)
    return float(np.angle(there / zero, deg=True))


def shadow(of: Vector, beam: Vector) -> Vector:
    """Return what a beam throws of a vector on the picture square to it."""
    return np.cross(beam, np.cross(of, beam))


class Bone:
    """Head, neck, knee, growth plate and shaft as points and directions; the shaft upright, the kneecap forward."""

    def __init__(self, bone: Femur) -> None:
        self.bone = bone
        self.inward = RIGHT if bone.side == "left" else -RIGHT
        self.outward = -self.inward
        flat_neck = turn(DOWN, self.inward, bone.neck_shaft_deg).apply(DOWN)
        self.neck = turn(self.inward, FORWARD, bone.version_deg).apply(flat_neck)
        self.head = bone.neck_mm * self.neck
        self.radius = bone.shaft_width_mm / 2
        self.knee = brentq(lambda z: length(self.head - z * DOWN) - bone.length_mm, 0, FAR_MM, xtol=1e-10) * DOWN
        self.outer_end = self.entry_into_shaft(np.zeros(3), self.neck)
        self.neck_begins = self.entry_into_shaft(np.zeros(3), -self.neck)
        self.plate = self.outer_end + bone.neck_wire_mm * self.neck
        self.look(bone.version_deg if bone.flexion_frame == "neck_plane" else 0.0)
        self.normal = self.neck if bone.epiphyseal_deg is None else self._plate_normal(bone.epiphyseal_deg)

    def look(self, view_deg: float) -> None:
        """Turn the surgeon's views about the shaft; the version as measured sets them, not as it is."""
        self.f, self.g = turn(self.inward, FORWARD, view_deg).apply([self.inward, FORWARD])

    def entry_into_shaft(self, through: Vector, along: Vector) -> Vector:
        """Return where a line enters the shaft; ValueError if it passes beside it."""
        flat = np.array([1.0, 1.0, 0.0])
        nearest = -float((through * flat) @ along) / float((along * flat) @ along)

        def outside(t: float) -> float:
            return length((through + t * along) * flat) - self.radius

        return through + brentq(outside, nearest - FAR_MM, nearest, xtol=1e-10) * along

    def _plate_normal(self, on_film_deg: float) -> Vector:
        """Return the normal in the plane of neck and shaft whose disc slopes so on a front film."""
        flat = direction(self.neck * np.array([1.0, 1.0, 0.0]))

        def at(tilt_deg: float) -> Vector:
            return turn(UP, flat, tilt_deg).apply(UP)

        return at(brentq(lambda tilt: self.slope(at(tilt)) - on_film_deg, 0.5, 89.9, xtol=1e-9))

    def slope(self, normal: Vector) -> float:
        """Return how far the long axis of a disc's shadow on the front film lies off the level, inner end lower."""
        one = direction(np.cross(normal, UP if abs(normal[2]) < 0.9 else RIGHT))
        other = np.cross(normal, one)
        rim = np.outer(np.cos(ROUND[::100]), one) + np.outer(np.sin(ROUND[::100]), other)
        film = np.column_stack((rim @ self.inward, rim @ UP))
        inward, up = np.linalg.svd(film)[2][0]
        off = float(np.degrees(np.arctan2(-up, inward)))
        # A line has no head; the plate's own shadow toward the femoral head tells which way round it lies.
        towards = float(np.degrees(np.arctan2(normal @ self.inward, normal @ UP)))
        return off + 180 * round((towards - off) / 180)

    def shaft_that_reaches(self, to: Vector, angle_deg: float) -> Vector | None:
        """Return the freed shaft's direction at an angle to `to`, or None; found by trying every tilt up to 90.

        The shaft is turned backward by the flexion about f, then outward in the plane of f; of two, the one where more
        tilt outward opens the angle.
        """
        freed = turn(DOWN, -self.g, self.bone.flexion_deg).apply(DOWN)

        tilting = direction(np.cross(freed, -self.f))

        def at(tilts_deg: Vector) -> Vector:
            return Rotation.from_rotvec(np.outer(tilts_deg, tilting), degrees=True).apply(freed)

        def over(tilt_deg: float) -> float:
            return angle(at(np.array([tilt_deg]))[0], to) - angle_deg

        tilts = np.linspace(-90, 90, 1801)
        values = np.degrees(np.arccos(np.clip(at(tilts) @ to, -1, 1))) - angle_deg
        for i in np.flatnonzero((values[:-1] < 0) & (values[1:] >= 0)):
            return at(np.array([brentq(over, tilts[i], tilts[i + 1], xtol=1e-10)]))[0]
        return None


class Operated(Bone):
    """The same femur after wire, chisel, cut and turn as set; `shaft` is the new shaft, downward."""

    def __init__(self, bone: Femur, plan: Plan, settings: Settings) -> None:
        super().__init__(bone)
        self.plan, self.settings = plan, settings
        self.look(settings.view_deg)
        in_front = turn(DOWN, self.inward, settings.wire_front_deg).apply(DOWN)
        self.wire = turn(in_front, FORWARD, settings.wire_side_deg).apply(in_front)
        self.entry = self.entry_into_shaft(plan.wire_through_mm * self.neck, self.wire)
        self.corner = self.entry - plan.proud_mm * self.wire
        # Seen by one who looks along the blade from outside, the lower end of the plate goes backward.
        to_back = np.sign(np.cross(DOWN, BACKWARD) @ self.inward) * self.wire
        in_plane = turn(self.wire, DOWN, settings.implant_deg).apply(self.wire)
        self.shaft = Rotation.from_rotvec(to_back * settings.slot_deg, degrees=True).apply(in_plane)
        self.across = direction(np.cross(self.wire, self.shaft))
        self.up = -self.shaft
        upper_wire = direction(shadow(self.g, self.up))
        inward_turn = np.sign(np.cross(FORWARD, self.inward) @ DOWN) * self.shaft
        self.lower_wire = Rotation.from_rotvec(inward_turn * settings.rotation_deg, degrees=True).apply(upper_wire)
        self.whole, _ = Rotation.align_vectors([self.up, self.lower_wire], [UP, self.g])
        self._place()

    def _place(self) -> None:
        """Put the shaft along the plate, up to the first touch and back by the wedge."""
        self.cut_mm = float(self.corner[2]) - self.settings.cut_below_corner_mm
        self.upper_face = self.cut_mm * UP
        from_plate = direction(shadow(self.wire, self.up))
        start = self.corner + (self.plan.offset_mm + self.radius) * from_plate - 500 * self.up
        disc = self.radius * np.column_stack((np.cos(ROUND), np.sin(ROUND), np.zeros_like(ROUND)))
        self.upper_rim, moved = self.upper_face + disc, self.whole.apply(disc)

        def highest(parted: Callable[[float], float]) -> float:
            return brentq(parted, -FAR_MM, FAR_MM, xtol=1e-9)

        below_upper_face = highest(lambda s: self.cut_mm - (start + s * self.up + moved)[:, 2].max())
        above_lower_face = highest(lambda s: ((self.upper_rim - start - s * self.up) @ self.up).min())
        self.face = start + (max(below_upper_face, above_lower_face) + self.plan.wedge_mm) * self.up
        self.lower_rim = self.face + moved

    def moved(self, points: Vector) -> Vector:
        """Return where points of the distal piece lie after the correction."""
        return self.face + self.whole.apply(points - self.upper_face)

    def seen_from_knee(self, v: Vector) -> Vector:
        """Return a direction of the upper piece once the shaft stands upright and the kneecap looks forward again."""
        return self.whole.inv().apply(v)

    def film_deg(self, neck: Vector) -> float:
        """Return the angle of neck and shaft on a front film, the leg turned outward and the hip flexed as given."""
        leg = turn(DOWN, FORWARD, self.plan.film_flexion_deg) * turn(FORWARD, self.outward, self.plan.film_rotation_deg)
        head, knee = leg.apply([neck * 40, DOWN * 300])
        return in_picture(knee, head, self.inward, DOWN)

    def edges(self) -> Vector:
        """Return where the blade's four edges begin."""
        deep = direction(shadow(self.shaft, self.wire))
        half_width, half_thick = self.plan.blade_width_mm / 2, self.plan.blade_thickness_mm / 2
        return np.array(
            [self.corner + i * half_width * self.across + j * half_thick * deep for i in (-1, 1) for j in (-1, 1)]
        )

    def to_plate_mm(self, blade_mm: float) -> float:
        return float(((self.plate - self.edges() - blade_mm * self.wire) @ self.normal).min())

    def longest_blade_mm(self) -> float:
        return brentq(lambda b: self.to_plate_mm(b) - self.plan.blade_margin_mm, -FAR_MM, FAR_MM, xtol=1e-9)

    def to_cortex_mm(self, blade_mm: float) -> float:
        """Return the least distance of the edges to the neck's wall, by points on edges and wall."""
        upward = direction(shadow(UP, self.neck))
        across = np.cross(self.neck, upward)
        half_width, half_depth = self.bone.neck_width_mm / 2, self.bone.neck_depth_mm / 2
        wall = np.column_stack((half_width * np.cos(ROUND), half_depth * np.sin(ROUND)))
        least = np.inf
        for begin in self.edges():
            enters = float((self.neck_begins - begin) @ self.neck) / float(self.wire @ self.neck)
            for t in np.linspace(enters, max(enters, blade_mm), 5):
                point = begin + t * self.wire
                x, y = float(point @ upward), float(point @ across)
                gap = float(np.sqrt(((wall - (x, y)) ** 2).sum(axis=1).min()))
                within = (x / half_width) ** 2 + (y / half_depth) ** 2 <= 1
                least = min(least, gap if within else -gap)
        return least
