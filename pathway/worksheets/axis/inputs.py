"""What the sheet of the leg's axis starts from: landmarks or measured angles, the film, usual angles, a cut."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pathway.days import age_years
from pathway.protocol.model import Bone, Value
from pathway.rule_engine.findings import Known
from pathway.worksheets.axis.bends import Normal, Normals
from pathway.worksheets.axis.landmarks import NEEDED, POINTS, Film, Leg, inward_of, read_again
from pathway.worksheets.axis.lines import Floats
from pathway.worksheets.case import Case, Inputs, blank, from_finding, from_rule
from pathway.worksheets.joint_angles import Angle, known_from_years, norm_for, norms_ahead
from pathway.worksheets.sheet import Input, Kind, problem

KIND: Kind = "axis"
SHAFTS: Mapping[str, str] = {
    "femur_shaft": "middle of the femur's shaft, two points for each straight piece, from above",
    "tibia_shaft": "middle of the tibia's shaft, two points for each straight piece, from above",
}
SIDE_SHAFTS: Mapping[str, str] = {
    "femur_shaft_side": "the same of the femur on the side film",
    "tibia_shaft_side": "the same of the tibia on the side film",
}
BONES: Mapping[str, Bone] = {
    "femur_shaft": "femur",
    "tibia_shaft": "tibia",
    "femur_shaft_side": "femur",
    "tibia_shaft_side": "tibia",
}
KNEE_SIDE = "knee_side"
PIECES = "x,y,x,y for each piece, one after the other in one list"
MEASURED: Mapping[str, str] = {
    "mldfa_deg": "lateral_distal_femoral_angle_deg",
    "mpta_deg": "medial_proximal_tibial_angle_deg",
    "mad_mm": "mechanical_axis_deviation_mm",
}
"""Numbers that may be given as measured where no landmarks are, and the finding of each."""
BY_AGE: Mapping[str, Angle] = {
    "normal_mldfa_deg": "lateral_distal_femoral_angle_deg",
    "normal_mpta_deg": "medial_proximal_tibial_angle_deg",
}
BY_RULE: Mapping[str, tuple[str, str]] = {
    "normal_ldta_deg": ("axis_ldta_deg", "usual lateral distal tibial angle"),
    "normal_mlpfa_deg": ("axis_mlpfa_deg", "usual lateral proximal femoral angle"),
    "shaft_to_axis_deg": ("axis_shaft_to_axis_deg", "usual angle between shaft and mechanical axis of the femur"),
}
DRAWS, SEED = 500, 20
POINT = 2
PIECE = 2 * POINT


def inputs_of(case: Case) -> list[Input]:
    """Return the inputs, with what was measured and what is usual at the child's age in them."""

    def points(name: str, label: str, note: str) -> Input:
        return Input(name=name, label=label, kind="list", note=note, optional=True)

    return [
        *(points(name, label, "x,y on the film") for name, label in POINTS.items()),
        *(points(name, label, PIECES) for name, label in {**SHAFTS, **SIDE_SHAFTS}.items()),
        points(KNEE_SIDE, "middle of the knee on the side film", "x,y on the film"),
        from_rule(case, "axis_mm_per_unit", "mm of a unit of the coordinates", name="mm_per_unit"),
        from_rule(case, "axis_point_error_mm", "error of marking a point, one SD", name="reading_error_mm"),
        Input(name="y_down", label="y grows downward on the film", kind="flag", value=True, optional=True),
        Input(
            name="seen_from",
            label="film looked at from",
            kind="choice",
            choices=("front", "back"),
            value="front",
            optional=True,
        ),
        Input(
            name="side_film_front",
            label="the child's front on the side film",
            kind="choice",
            choices=("left", "right"),
            value="right",
            optional=True,
        ),
        *(from_finding(case, finding, name=name, optional=True) for name, finding in MEASURED.items()),
        blank(case, "axis_jlca_deg", "jlca_deg", "joint-line convergence, opening laterally positive", optional=True),
        blank(case, "axis_ldta_deg", "ldta_deg", "lateral distal tibial angle", optional=True),
        *(_by_age(case, name, angle) for name, angle in BY_AGE.items()),
        *(from_rule(case, rule, label, name=name) for name, (rule, label) in BY_RULE.items()),
        *(
            blank(case, "axis_cut_from_knee_mm", f"{bone}_cut_mm", f"cut of the {bone} from the knee", optional=True)
            for bone in ("femur", "tibia")
        ),
        blank(case, "axis_bone_width_mm", "bone_width_mm", "width of the bone at the cut", optional=True),
    ]


def age_of(case: Case) -> float:
    """Return the child's age on the day of the sheet, years."""
    return age_years(case.record.child.date_of_birth, case.on)


def _by_age(case: Case, name: str, angle: Angle) -> Input:
    """Return the usual angle of the age; where none is known that of the first age that is, which is said."""
    known_from = known_from_years(case.protocol, angle, case.record.child.sex)
    norm = norm_for(case.protocol, angle, max(age_of(case), known_from), case.record.child.sex)
    assert norm is not None
    rule = case.protocol.finding(angle)
    early = f"none is known before {known_from:g} years: compare with the other leg"
    return Input(
        name=name,
        label=f"usual {rule.label}",
        unit=rule.unit,
        plausible=rule.plausible,
        value=round(norm.normal_deg, 2),
        origin="protocol",
        sources=norm.sources,
        note=early if age_of(case) < known_from else norm.words,
    )


def normals_of(case: Case, inputs: Inputs) -> Normals:
    """Return the usual angles with their bands: a value set by hand keeps the band's width about it."""

    def by_age(name: str) -> Normal:
        angle = BY_AGE[name]
        sex, age = case.record.child.sex, age_of(case)
        # What a child grows into is not crooked either: of an infant the bands of the years to come count too.
        norms = norms_ahead(case.protocol, angle, max(age, known_from_years(case.protocol, angle, sex)), sex)
        now, value = norms[0].normal_deg, inputs.number(name)
        low, high = min(norm.low_deg for norm in norms), max(norm.high_deg for norm in norms)
        return Normal(value, value - now + low, value - now + high)

    def by_rule(name: str) -> Normal:
        rule: Value = case.protocol.value(BY_RULE[name][0])
        value = inputs.number(name)
        low, high = (rule.value if end is None else end for end in (rule.low, rule.high))
        return Normal(value, value - rule.value + low, value - rule.value + high)

    return Normals(
        by_age("normal_mldfa_deg"),
        by_age("normal_mpta_deg"),
        by_rule("normal_ldta_deg"),
        by_rule("normal_mlpfa_deg"),
        by_rule("shaft_to_axis_deg"),
    )


@dataclass(frozen=True, slots=True)
class Marked:
    """The leg as marked, with every reading of it; `knee_side` is the knee on the side film, None where not marked."""

    leg: Leg
    knee_side: Floats | None


def marked(case: Case, inputs: Inputs) -> Marked | None:
    """Return the leg as its landmarks give it, with its readings; None where no landmark is given.

    Raises Refused for landmarks that are not whole, lie on each other or on the wrong side of each other.
    """
    given = [name for name in POINTS if inputs.item(name).value is not None]
    shafts = [name for name in (*SHAFTS, *SIDE_SHAFTS) if inputs.item(name).value is not None]
    if not given and not shafts:
        return None
    front, side = _films(case, inputs)
    points = {name: _points(inputs, name, front, POINT)[:1] for name in given}
    lacking = [name for name in NEEDED if name not in given]
    if lacking:
        do = f"mark it: --set {lacking[0]}=x,y, or give the angles alone (--set mldfa_deg=…)"
        raise problem(KIND, lacking[0], "no point", POINTS[lacking[0]], do)
    _in_place(points)
    leg = Leg(points, dict(_shafts(inputs, SHAFTS, front)), dict(_shafts(inputs, SIDE_SHAFTS, side)))
    _as_measured(case, leg)
    _between_joints(leg)
    again = read_again(leg, DRAWS, inputs.number("reading_error_mm"), SEED)
    knee = None if inputs.item(KNEE_SIDE).value is None else _points(inputs, KNEE_SIDE, side, POINT)[:1]
    return Marked(again, None if knee is None else np.repeat(knee, DRAWS + 1, axis=0))


def _films(case: Case, inputs: Inputs) -> tuple[Film, Film]:
    scale, down = inputs.number("mm_per_unit"), bool(inputs.item("y_down").value)
    inward = inward_of(case.side, inputs.text("seen_from"))
    forward = 1 if inputs.text("side_film_front") == "right" else -1
    return Film(scale, down, inward), Film(scale, down, forward)


def _points(inputs: Inputs, name: str, film: Film, of: int) -> Floats:
    numbers = inputs.numbers(name)
    if not numbers or len(numbers) % of or (of == POINT and len(numbers) != POINT):
        wanted = "two numbers, x,y" if of == POINT else "four numbers for each piece of the shaft: x,y,x,y"
        found = "1 number" if len(numbers) == 1 else f"{len(numbers)} numbers"
        raise problem(KIND, name, found, wanted, "mark the points again")
    return film.mm(numbers)


def _shafts(
    inputs: Inputs, names: Mapping[str, str], film: Film
) -> Iterator[tuple[str, tuple[tuple[Floats, Floats], ...]]]:
    for name in names:
        if inputs.item(name).value is None:
            continue
        at = _points(inputs, name, film, PIECE)
        pieces = tuple((at[k : k + 1], at[k + 1 : k + 2]) for k in range(0, len(at), 2))
        for number, (upper, lower) in enumerate(pieces, 1):
            if float(np.linalg.norm(upper - lower)) < inputs.number("reading_error_mm"):
                found = f"two points of piece {number} closer than the error of marking one"
                raise problem(KIND, name, found, "points far apart along the shaft", "mark them further apart")
            above = pieces[number - 2][1] if number > 1 else None
            if above is not None and float(upper[0, 1]) > float(above[0, 1]):
                found = f"piece {number} that begins above the end of the one before"
                raise problem(KIND, name, found, "the pieces from above downward", "give the upper piece first")
            if float(upper[0, 1]) <= float(lower[0, 1]):
                found = f"piece {number} that runs upward"
                do = "give the upper point first, and y_down=no where y grows upward"
                raise problem(KIND, name, found, "the pieces from above downward", do)
        yield BONES[name], pieces


def _in_place(points: Mapping[str, Floats]) -> None:
    """Refuse landmarks whose order no leg can have: a slip of side, of two points, or of the way that y grows."""
    for joint in ("femoral_condyle", "tibial_plateau", "ankle"):
        lateral, medial = (points[f"{joint}_{end}"][0, 0] for end in ("lateral", "medial"))
        if medial <= lateral:
            found = "a lateral end that lies further inward than the medial one"
            do = "exchange the two, or set seen_from to the side from which the film is looked at"
            raise problem(KIND, f"{joint}_lateral", found, "lateral outside, medial inside", do)
    heights = {
        "hip_centre": points["hip_centre"][0, 1],
        "femoral_condyle_medial": points["femoral_condyle_medial"][0, 1],
        "ankle_medial": points["ankle_medial"][0, 1],
    }
    for (upper, high), (lower, low) in zip(heights.items(), list(heights.items())[1:], strict=False):
        if high <= low:
            found = f"{lower} above {upper}"
            do = "check the points; set y_down=no where y grows upward on the film"
            raise problem(KIND, upper, found, "hip above knee above ankle", do)
    if "trochanter_tip" in points and points["trochanter_tip"][0, 0] >= points["hip_centre"][0, 0]:
        found = "the tip of the trochanter on the inner side of the head"
        raise problem(KIND, "trochanter_tip", found, "it lateral of the head", "mark it again, or leave it out")
    femur, tibia = (
        (points[f"{joint}_lateral"] + points[f"{joint}_medial"])[0, 1] / 2
        for joint in ("femoral_condyle", "tibial_plateau")
    )
    if tibia >= femur:
        found = "the tibial plateau at or above the femoral condyles"
        raise problem(KIND, "tibial_plateau_lateral", found, "it below them", "exchange the two, or mark them again")


def lengths_mm(leg: Leg) -> dict[str, float]:
    """Return the length of each bone as it was marked, by the finding that measures it."""
    ends = {"femur_length_mm": (leg.hip, leg.femur_at_knee), "tibia_length_mm": (leg.tibia_at_knee, leg.ankle)}
    return {name: float(np.linalg.norm(upper[0] - lower[0])) for name, (upper, lower) in ends.items()}


def off_percent(case: Case, leg: Leg) -> dict[str, float]:
    """Return by how much each bone on the film is longer than the one measured last, where one was measured."""
    found = {}
    for name, length in lengths_mm(leg).items():
        latest = case.findings.get((name, "affected"))
        known = latest if isinstance(latest, Known) or latest is None else latest.last
        if known is not None and float(known.value) > 0:
            found[name] = 100 * (length / float(known.value) - 1)
    return found


def _as_measured(case: Case, leg: Leg) -> None:
    """Refuse a film on which the bones have another size than they were measured to have."""
    most = case.protocol.number("axis_length_wrong_percent")
    for name, off in off_percent(case, leg).items():
        if abs(off) > most:
            read = lengths_mm(leg)[name]
            label = case.protocol.finding(name).label
            way = "more" if off > 0 else "less"
            found = f"a {label} of {read:.0f} mm on the film, {abs(off):.0f} % {way} than measured"
            do = "set mm_per_unit to the calibration of the film, and check whose film it is"
            raise problem(KIND, "mm_per_unit", found, f"within {most:g} % of it", do)


def _between_joints(leg: Leg) -> None:
    """Refuse pieces of a shaft that lie beyond the joints of their bone."""
    ends = {"femur": (leg.hip, leg.femur_at_knee), "tibia": (leg.tibia_at_knee, leg.ankle)}
    for name, bone in zip(SHAFTS, ("femur", "tibia"), strict=True):
        upper, lower = (float(end[0, 1]) for end in ends[bone])
        for number, piece in enumerate(leg.shafts.get(bone, ()), 1):
            if not lower < float((piece[0] + piece[1])[0, 1]) / 2 < upper:
                found = f"piece {number} beyond the joints of the {bone}"
                raise problem(KIND, name, found, f"every piece between the ends of the {bone}", "mark it again")
