"""What landmarks or measured angles say of a leg: every angle with its readings, both bones, both planes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pathway.protocol.model import Bone
from pathway.worksheets.axis.bends import (
    Bend,
    BoneAxis,
    Cut,
    Normal,
    Normals,
    Oblique,
    cut_at,
    front_axes,
    oblique,
    side_axes,
)
from pathway.worksheets.axis.inputs import DRAWS, KIND, MEASURED, SEED, Marked, age_of
from pathway.worksheets.axis.landmarks import joint_angles
from pathway.worksheets.axis.lines import Floats, reach_95
from pathway.worksheets.case import Case, Inputs
from pathway.worksheets.sheet import problem

ANGLES = ("mldfa_deg", "mpta_deg", "jlca_deg", "ldta_deg", "mlpfa_deg")
"""The joint angles in the order in which they are judged."""
VARUS_ABOVE: Mapping[str, int] = {"mldfa_deg": 1, "mpta_deg": -1, "jlca_deg": 1, "ldta_deg": 1, "mlpfa_deg": 1}
"""+1 where more of an angle is varus, -1 where less is."""


@dataclass(frozen=True, slots=True)
class Judged:
    """One joint angle: its readings (n,), what is usual, and how far it lies outside that (varus positive, 0 inside).

    `reading_deg` is how far 95 of 100 readings lie from the first.
    """

    name: str
    values: Floats
    normal: Normal
    off_deg: float
    reading_deg: float

    @property
    def place(self) -> str:
        """Return where it lies: `usual`, `within reading`, `varus` or `valgus`."""
        if self.off_deg == 0:
            return "usual"
        if abs(self.off_deg) <= self.reading_deg:
            return "within reading"
        return "varus" if self.off_deg > 0 else "valgus"


@dataclass(frozen=True, slots=True)
class Analysis:
    """All of one leg. `numbers` are its angles and levels by name, one value a reading, None where not known.

    `bones` and `side_bones` are femur and tibia on the two films, () without landmarks; `both` the bends that show on
    both films; `cuts` what a cut at the level set does to each bone's bend; `not_told` why something cannot be.
    """

    case: Case
    inputs: Inputs
    normals: Normals
    marked: Marked | None
    angles: tuple[Judged, ...]
    bones: tuple[BoneAxis, ...]
    side_bones: tuple[BoneAxis, ...]
    both: tuple[Oblique, ...]
    cuts: Mapping[Bone, tuple[Bend, Cut, Cut]]
    numbers: Mapping[str, Floats | None]
    not_told: tuple[str, ...]

    @property
    def age_years(self) -> float:
        """Return the child's age on the day of the sheet."""
        return age_of(self.case)


def analysis_of(case: Case, inputs: Inputs, normals: Normals, leg: Marked | None) -> Analysis:
    """Return what the leg as marked says; without landmarks what the angles that were measured say."""
    found = dict(_measured(case, inputs)) if leg is None else joint_angles(leg.leg)
    jlca = case.protocol.value("axis_jlca_deg")
    most = jlca.value if jlca.high is None else jlca.high
    usual = {
        "mldfa_deg": normals.mldfa,
        "mpta_deg": normals.mpta,
        "jlca_deg": Normal(0.0, -most, most),
        "ldta_deg": normals.ldta,
        "mlpfa_deg": normals.mlpfa,
    }
    judged = tuple(_judged(name, found[name], usual[name]) for name in ANGLES if name in found)
    least = case.protocol.number("axis_least_bend_deg")
    bones = () if leg is None else front_axes(leg.leg, normals, least)
    side = () if leg is None else side_axes(leg.leg, least, leg.knee_side)
    both = tuple(oblique(*pair) for pair in _on_both(bones, side))
    cuts = dict(_cuts(inputs, bones))
    return Analysis(
        case, inputs, normals, leg, judged, bones, side, both, cuts, _numbers(found, bones, both), _not_told(bones)
    )


def _measured(case: Case, inputs: Inputs) -> dict[str, Floats]:
    """Return the angles given as measured, read again with the error of the finding."""
    random = np.random.default_rng(SEED)
    found: dict[str, Floats] = {}
    for name in (*MEASURED, "jlca_deg", "ldta_deg"):
        value = inputs.maybe(name)
        if value is None:
            continue
        # Nobody printed how well the two others are read: not better than the tibia at the knee.
        sd = case.protocol.finding(MEASURED.get(name, MEASURED["mpta_deg"])).sd or 0.0
        values = value + random.normal(0.0, sd, DRAWS + 1) if sd else np.full(1, value)
        values[0] = value
        found[name] = values
    if "mldfa_deg" in found and "mpta_deg" in found:
        # Where nobody gave the convergence of the joint lines, the axes of the bones alone are told.
        more = inputs.maybe("jlca_deg")
        if more is not None:
            found["mtfa_deg"] = found["mldfa_deg"] - found["mpta_deg"] + more
    return found


def _judged(name: str, values: Floats, normal: Normal) -> Judged:
    value = float(values[0])
    over = max(value - normal.high, 0.0) + min(value - normal.low, 0.0)
    return Judged(name, values, normal, VARUS_ABOVE[name] * over, reach_95(values))


def _on_both(front: tuple[BoneAxis, ...], side: tuple[BoneAxis, ...]) -> list[tuple[Bend, Bend]]:
    """Return the bends of a bone that has one on each film: the same one, seen twice."""
    pairs = []
    for one, other in zip(front, side, strict=True):
        if len(one.bends) == 1 and len(other.bends) == 1:
            pairs.append((one.bends[0], other.bends[0]))
    return pairs


def _cuts(inputs: Inputs, bones: tuple[BoneAxis, ...]) -> list[tuple[Bone, tuple[Bend, Cut, Cut]]]:
    found: list[tuple[Bone, tuple[Bend, Cut, Cut]]] = []
    for bone in bones:
        level = inputs.maybe(f"{bone.bone}_cut_mm")
        at = [one for one in bone.bends if bone.is_placed(one) and bone.is_inside(one)]
        if level is None:
            continue
        if level >= bone.length_mm:
            said = f"a cut {level:g} mm from the knee of a {bone.bone} {bone.length_mm:.0f} mm long"
            raise problem(KIND, f"{bone.bone}_cut_mm", said, "a level within the bone", "set it from the knee")
        if not at:
            continue
        bend = min(at, key=lambda one: abs(float(one.from_knee_mm[0]) - level))
        off, turn = level - float(bend.from_knee_mm[0]), float(bend.turn_deg[0])
        cuts = (cut_at(turn, off, hinge_at_apex=True), cut_at(turn, off, hinge_at_apex=False))
        found.append((bone.bone, (bend, *cuts)))
    return found


def _numbers(
    found: Mapping[str, Floats], bones: tuple[BoneAxis, ...], both: tuple[Oblique, ...]
) -> dict[str, Floats | None]:
    numbers: dict[str, Floats | None] = {name: found.get(name) for name in (*ANGLES, "mtfa_deg", "mad_mm")}
    known = {bone.bone: bone for bone in bones}
    oblique_of = {one.bone: one for one in both}
    for name in ("femur", "tibia"):
        bone = known.get(name)
        bends = () if bone is None else bone.bends
        numbers[f"{name}_whole_deg"] = None if bone is None else bone.whole_deg
        for at in range(2):
            bend = bends[at] if at < len(bends) else None
            numbers[f"{name}_bend_{at + 1}_deg"] = None if bend is None else bend.turn_deg
            numbers[f"{name}_bend_{at + 1}_from_knee_mm"] = None if bend is None else bend.from_knee_mm
        seen = oblique_of.get(name)
        numbers[f"{name}_oblique_deg"] = None if seen is None else seen.angle_deg
        numbers[f"{name}_oblique_plane_deg"] = None if seen is None else seen.plane_deg
    return numbers


def _not_told(bones: tuple[BoneAxis, ...]) -> tuple[str, ...]:
    told = []
    for bone in bones:
        if bone.whole_deg is None:
            told.append(f"{bone.bone}_upper_end_not_marked")
        told += [f"{bone.bone}_apex_outside" for one in bone.bends if not bone.is_inside(one)]
    return tuple(dict.fromkeys(told))
