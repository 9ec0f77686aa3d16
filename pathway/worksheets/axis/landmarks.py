"""Landmarks of a long standing film, and what is read off them: joint angles and the mechanical axis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.record import Side
from pathway.worksheets.axis.lines import Floats, Line, between_deg, dot, middle, turn_deg, turned, unit

POINTS: Mapping[str, str] = {
    "hip_centre": "centre of the femoral head",
    "trochanter_tip": "tip of the greater trochanter",
    "femoral_condyle_lateral": "lowest point of the lateral femoral condyle",
    "femoral_condyle_medial": "lowest point of the medial femoral condyle",
    "tibial_plateau_lateral": "lateral end of the tibial plateau",
    "tibial_plateau_medial": "medial end of the tibial plateau",
    "ankle_lateral": "lateral end of the tibia's joint surface at the ankle",
    "ankle_medial": "medial end of the tibia's joint surface at the ankle",
}
"""The landmarks of a front film; all but the tip of the trochanter are needed."""
NEEDED = tuple(name for name in POINTS if name != "trochanter_tip")


@dataclass(frozen=True, slots=True)
class Film:
    """A film as it lies on the screen: mm of a unit, which way y and the child's inside or front point."""

    mm_per_unit: float
    y_down: bool
    inward: int
    """+1 where inward (on a side film forward) is to the viewer's right, else -1."""

    def mm(self, points: Sequence[float]) -> Floats:
        """Return coordinates x, y, x, y … as points (k, 2) in mm, x inward or forward, y up."""
        flat = np.asarray(points, dtype=float).reshape(-1, 2) * self.mm_per_unit
        made: Floats = flat * np.array([self.inward, -1.0 if self.y_down else 1.0])
        return made


def inward_of(side: Side, seen_from: str) -> int:
    """Return +1 where inward is to the viewer's right: of a left leg seen from behind, of a right one from in front."""
    return 1 if (side == "right") == (seen_from == "front") else -1


@dataclass(frozen=True, slots=True)
class Leg:
    """A leg on the front film, and its shafts on the side film: readings (n, 2) of each point.

    `shafts` are, by bone, the pieces of the shaft from above: two points in the middle of each. `side_shafts` are
    those of the side film.
    """

    points: Mapping[str, Floats]
    shafts: Mapping[str, tuple[tuple[Floats, Floats], ...]]
    side_shafts: Mapping[str, tuple[tuple[Floats, Floats], ...]]

    @property
    def hip(self) -> Floats:
        """Return the centre of the femoral head."""
        return self.points["hip_centre"]

    @property
    def femur_at_knee(self) -> Floats:
        """Return the middle of the femur's joint line at the knee."""
        return middle(self.points["femoral_condyle_lateral"], self.points["femoral_condyle_medial"])

    @property
    def tibia_at_knee(self) -> Floats:
        """Return the middle of the tibial plateau."""
        return middle(self.points["tibial_plateau_lateral"], self.points["tibial_plateau_medial"])

    @property
    def knee(self) -> Floats:
        """Return the centre of the knee, between the two bones."""
        return middle(self.femur_at_knee, self.tibia_at_knee)

    @property
    def ankle(self) -> Floats:
        """Return the middle of the tibia's joint surface at the ankle."""
        return middle(self.points["ankle_lateral"], self.points["ankle_medial"])

    def line(self, joint: str) -> Floats:
        """Return the direction of a joint line from lateral to medial: `femoral_condyle`, `tibial_plateau`, `ankle`."""
        return unit(self.points[f"{joint}_medial"] - self.points[f"{joint}_lateral"])


def read_again(leg: Leg, draws: int, error_mm: float, seed: int) -> Leg:
    """Return the leg with so many more readings of each point, each off by an SD of `error_mm` along x and y.

    The first row stays as it was read; the same seed gives the same readings.
    """
    random = np.random.default_rng(seed)

    def readings(point: Floats) -> Floats:
        off = random.normal(0.0, error_mm, (draws + 1, 2))
        off[0] = 0.0
        made: Floats = point[:1] + off
        return made

    def pieces(
        of: Mapping[str, tuple[tuple[Floats, Floats], ...]],
    ) -> dict[str, tuple[tuple[Floats, Floats], ...]]:
        return {bone: tuple((readings(a), readings(b)) for a, b in some) for bone, some in of.items()}

    return replace(
        leg,
        points={name: readings(point) for name, point in leg.points.items()},
        shafts=pieces(leg.shafts),
        side_shafts=pieces(leg.side_shafts),
    )


def joint_angles(leg: Leg) -> dict[str, Floats]:
    """Return angles and mechanical axis of the leg (n,), by the names of the literature with their units.

    `mldfa_deg`, `mpta_deg`, `ldta_deg`, `mlpfa_deg` (where the trochanter is marked) between a mechanical axis and a
    joint line; `jlca_deg` between the joint lines of the knee, positive where they open laterally; `mtfa_deg` between
    the axes of thigh and shin, varus positive: mLDFA - MPTA + JLCA; `mad_mm` how far the line from hip to ankle passes
    from the middle of the knee, lateral positive.
    """
    thigh, shin = unit(leg.femur_at_knee - leg.hip), unit(leg.ankle - leg.tibia_at_knee)
    femur, tibia, ankle = (leg.line(name) for name in ("femoral_condyle", "tibial_plateau", "ankle"))
    whole = unit(leg.ankle - leg.hip)
    inward = np.stack((-whole[..., 1], whole[..., 0]), axis=-1)
    found = {
        "mldfa_deg": between_deg(-thigh, -femur),
        "mpta_deg": between_deg(shin, tibia),
        "ldta_deg": between_deg(-shin, -ankle),
        "jlca_deg": turn_deg(femur, tibia),
        "mtfa_deg": turn_deg(thigh, shin),
        "mad_mm": -dot(leg.hip - leg.knee, inward),
    }
    if "trochanter_tip" in leg.points:
        found["mlpfa_deg"] = between_deg(thigh, unit(leg.points["trochanter_tip"] - leg.hip))
    return found


def femoral_axis_from_knee(leg: Leg, normal_deg: float) -> Line:
    """Return the femur's mechanical axis as the knee wants it: at the normal mLDFA to the joint line."""
    up = turned(-leg.line("femoral_condyle"), -normal_deg)
    return Line(leg.femur_at_knee, -up)


def femoral_axis_from_hip(leg: Leg, shaft_to_axis_deg: float, normal_deg: float) -> Line | None:
    """Return the femur's mechanical axis as its upper end has it; None where neither shaft nor trochanter is marked.

    Parallel to the uppermost piece of the shaft turned by the usual angle between shaft and mechanical axis; else at
    the normal mLPFA to the line from the head to the tip of the trochanter.
    """
    pieces = leg.shafts.get("femur", ())
    if pieces:
        return Line(leg.hip, turned(piece_axis(pieces[0]).down, -shaft_to_axis_deg))
    if "trochanter_tip" in leg.points:
        return Line(leg.hip, turned(unit(leg.points["trochanter_tip"] - leg.hip), normal_deg))
    return None


def tibial_axis_from_knee(leg: Leg, normal_deg: float) -> Line:
    """Return the tibia's axis as the knee wants it: at the normal MPTA to the plateau."""
    return Line(leg.tibia_at_knee, turned(leg.line("tibial_plateau"), -normal_deg))


def tibial_axis_from_ankle(leg: Leg, normal_deg: float) -> Line:
    """Return the tibia's axis as the ankle wants it: at the normal LDTA to its joint surface."""
    up = turned(-leg.line("ankle"), -normal_deg)
    return Line(leg.ankle, -up)


def piece_axis(piece: tuple[Floats, Floats]) -> Line:
    """Return the axis of a piece of a shaft, by two points in its middle, the upper one first."""
    upper, lower = piece
    return Line(upper, unit(lower - upper))
