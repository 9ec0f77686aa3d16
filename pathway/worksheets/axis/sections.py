"""The parts of the sheet of the leg's axis, in reading order, and its warnings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from pathway.worksheets.axis.analysis import Analysis, Judged
from pathway.worksheets.axis.bends import REACH_95, Bend, BoneAxis, open_wedge_mm
from pathway.worksheets.axis.inputs import BY_AGE, MEASURED
from pathway.worksheets.axis.lines import Floats
from pathway.worksheets.joint_angles import known_from_years
from pathway.worksheets.sheet import Cell, Column, Line, Section, Table, Warning

NAMES: Mapping[str, str] = {
    "mldfa_deg": "mechanical lateral distal femoral angle",
    "mpta_deg": "medial proximal tibial angle",
    "jlca_deg": "joint-line convergence (opens laterally +)",
    "ldta_deg": "lateral distal tibial angle",
    "mlpfa_deg": "mechanical lateral proximal femoral angle",
}
BONE_OF: Mapping[str, str] = {
    "mldfa_deg": "the femur at the knee",
    "mpta_deg": "the tibia at the knee",
    "jlca_deg": "the joint itself (ligaments, cartilage)",
    "ldta_deg": "the tibia at the ankle",
    "mlpfa_deg": "the femur at the hip",
}
FILM = "standing_full_length_film"
MARK = (
    "Mark points on the long standing film, kneecap forward: --set hip_centre=x,y, femoral_condyle_lateral, "
    "femoral_condyle_medial, tibial_plateau_lateral, tibial_plateau_medial, ankle_lateral, ankle_medial, and for the "
    "level of a bend femur_shaft and tibia_shaft; or give measured angles (mldfa_deg, mpta_deg)."
)
CUT_RULES = ("translation_at_the_cut_1992",)


def sections(of: Analysis) -> Iterator[Section]:
    """Yield the sections in reading order."""
    if not of.angles:
        yield Section(title="Axis", words=(MARK,))
        return
    yield _angles(of)
    yield _which(of)
    if of.bones:
        yield _apices(of)
    if of.side_bones and any(bone.turns for bone in of.side_bones):
        yield _side(of)
    if of.cuts:
        yield _cut(of)
    yield _record(of)


def warnings(of: Analysis) -> Iterator[Warning]:
    """Yield what must not be overlooked."""
    sex = of.case.record.child.sex
    for name, angle in BY_AGE.items():
        known_from = known_from_years(of.case.protocol, angle, sex)
        by_hand = of.inputs.item(name).origin == "by_hand"
        if of.age_years < known_from and not by_hand and of.angles:
            text = (
                f"No usual {of.case.protocol.finding(angle).label} is known before {known_from:g} years; at "
                f"{of.age_years:.1f} years that of {known_from:g} is shown. Compare with the other leg "
                f"(--set {name}=…)."
            )
            yield Warning(text=text, sources=of.inputs.item(name).sources)
    for bone in of.bones:
        if bone.whole_deg is None:
            text = "No apex of the femur: mark the middle of its upper shaft (femur_shaft) or the trochanter's tip."
            yield Warning(text=text)
        for bend in bone.bends:
            if not bone.is_inside(bend):
                text = (
                    f"The axes of the {bone.bone} meet outside the bone: two bends, or a shift of its pieces. Mark "
                    f"each straight piece of its shaft (--set {bone.bone}_shaft=…)."
                )
                yield Warning(text=text, stop=True)
    for seen in of.both:
        apart, reach = float(seen.apart_mm[0]), _reach(seen.apart_mm)
        if np.isfinite(apart) and apart > reach:
            text = (
                f"Front and side film show the apex of the {seen.bone} {apart:.0f} mm apart: the pieces are shifted as "
                "well as bent, one plane does not describe it."
            )
            yield Warning(text=text)


def _reach(values: Floats) -> float:
    return REACH_95 * float(np.std(values[1:])) if len(values) > 1 else 0.0


def _angles(of: Analysis) -> Section:
    rows: list[tuple[Cell, ...]] = []
    for one in of.angles:
        band = f"{one.normal.low:.0f} to {one.normal.high:.0f}"
        rows.append((NAMES[one.name], float(one.values[0]), one.reading_deg, one.normal.value, band, _said(one)))
    columns = (
        Column(title="angle"),
        Column(title="now", unit="deg", places=1),
        Column(title="reading error ± (95 %)", unit="deg", places=1),
        Column(title="usual at this age", unit="deg", places=1),
        Column(title="band", unit="deg"),
        Column(title=""),
    )
    lines = []
    axis = of.numbers["mad_mm"]
    if axis is not None:
        lines.append(
            Line(
                label="Mechanical axis from the middle of the knee",
                value=float(axis[0]),
                spread=(float(axis[0]) - _reach(axis), float(axis[0]) + _reach(axis)),
                unit="mm",
                places=1,
                note="lateral positive: valgus; medial negative: varus",
                strong=True,
            )
        )
    whole = of.numbers["mtfa_deg"]
    if whole is not None:
        lines.append(
            Line(
                label="Thigh against shin (varus positive)",
                value=float(whole[0]),
                spread=(float(whole[0]) - _reach(whole), float(whole[0]) + _reach(whole)),
                unit="deg",
                places=1,
                note="femur + tibia + joint",
            )
        )
    sources = tuple(dict.fromkeys(id for name in BY_AGE for id in of.inputs.item(name).sources))
    table = Table(title="Joint angles", columns=columns, rows=tuple(rows), sources=sources)
    return Section(title="Joint angles", lines=tuple(lines), tables=(table,))


def _said(one: Judged) -> str:
    if one.place == "usual":
        return "usual"
    if one.place == "within reading":
        return "outside by less than its reading: repeat the film"
    return f"{one.place}, {abs(one.off_deg):.1f} deg outside the band"


def _which(of: Analysis) -> Section:
    crooked = [one for one in of.angles if one.place in ("varus", "valgus")]
    doubtful = [one for one in of.angles if one.place == "within reading"]
    words = [f"{_sentence(BONE_OF[one.name])}: {_said(one)}." for one in crooked]
    if doubtful:
        words.append(f"Not settled by this film: {', '.join(BONE_OF[one.name] for one in doubtful)}.")
    if not crooked and not doubtful:
        words.append("Every joint angle that was read is usual for the age.")
    if of.marked is None:
        words.append(f"Where a bone is bent angles alone do not tell. {MARK}")
    return Section(title="Which bone", words=tuple(words))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _apices(of: Analysis) -> Section:
    rows: list[tuple[Cell, ...]] = []
    marked: list[int] = []
    for bone in of.bones:
        for bend in bone.turns:
            if bend.is_bend:
                marked.append(len(rows))
            rows.append(_row(bone, bend))
    columns = (
        Column(title="bone"),
        Column(title="turn, varus +", unit="deg", places=1),
        Column(title="±", unit="deg", places=1),
        Column(title="apex from the knee", unit="mm", places=0),
        Column(title="±", unit="mm", places=0),
        Column(title="by"),
        Column(title=""),
    )
    words = []
    for bone in of.bones:
        inside = [bend for bend in bone.bends if bone.is_inside(bend)]
        if len(inside) == 1:
            words.append(f"{_sentence(bone.bone)}: one apex.")
        elif inside:
            words.append(f"{_sentence(bone.bone)}: {len(inside)} apices, each to be corrected by itself.")
    table = Table(title="Apices on the front film", columns=columns, rows=tuple(rows), marked=tuple(marked))
    return Section(title="Apices on the front film", words=tuple(words), tables=(table,) if rows else ())


def _row(bone: BoneAxis, bend: Bend) -> tuple[Cell, ...]:
    level = float(bend.from_knee_mm[0])
    known = bool(np.isfinite(level)) and bend.is_bend
    by = f"the joint lines ({bend.by_joint})" if bend.by_joint else "two pieces of the shaft"
    if not bend.is_bend:
        said = "no bend"
    elif not bone.is_inside(bend):
        said = "outside the bone"
    else:
        said = "varus" if bend.turn_deg[0] > 0 else "valgus"
        said += "" if known else ", near the joint"
    return (
        bone.bone,
        float(bend.turn_deg[0]),
        bend.reading_deg,
        level if known else None,
        _reach(bend.from_knee_mm) if known else None,
        by,
        said,
    )


def _side(of: Analysis) -> Section:
    rows: list[tuple[Cell, ...]] = []
    for bone in of.side_bones:
        for bend in bone.turns:
            said = "no bend" if not bend.is_bend else "recurvatum" if bend.turn_deg[0] > 0 else "procurvatum"
            level = float(bend.from_knee_mm[0])
            rows.append(
                (bone.bone, float(bend.turn_deg[0]), bend.reading_deg, level if np.isfinite(level) else None, said)
            )
    columns = (
        Column(title="bone"),
        Column(title="turn, recurvatum +", unit="deg", places=1),
        Column(title="±", unit="deg", places=1),
        Column(title="apex from the knee", unit="mm", places=0),
        Column(title=""),
    )
    lines = []
    for one in of.both:
        for label, values in (("true angle", one.angle_deg), ("its plane from the front plane", one.plane_deg)):
            value, reach = float(values[0]), _reach(values)
            lines.append(
                Line(
                    label=f"{_sentence(one.bone)}, {label}",
                    value=value,
                    spread=(value - reach, value + reach),
                    unit="deg",
                    places=1,
                    strong=True,
                )
            )
    title = "Side film, and both together"
    return Section(title=title, lines=tuple(lines), tables=(Table(title=title, columns=columns, rows=tuple(rows)),))


def _cut(of: Analysis) -> Section:
    lines = []
    width = of.inputs.maybe("bone_width_mm")
    for bone, (bend, at_apex, at_cut) in of.cuts.items():
        name, turn = _sentence(bone), float(bend.turn_deg[0])
        lines += [
            Line(
                label=f"{name}: cut from the apex", value=at_apex.off_mm, unit="mm", note="away from the knee positive"
            ),
            Line(
                label=f"{name}: hinge at the apex, shift of the ends",
                value=at_apex.shift_mm,
                unit="mm",
                places=1,
                note="the axes come into line",
                sources=CUT_RULES,
                strong=True,
            ),
            Line(
                label=f"{name}: hinge at the cut, axes left apart",
                value=at_cut.left_mm,
                unit="mm",
                places=1,
                note="a new deformity unless the ends are shifted by as much",
                sources=CUT_RULES,
            ),
        ]
        if width is not None:
            wedge = open_wedge_mm(turn, width)
            lines.append(Line(label=f"{name}: wedge opens by", value=wedge, unit="mm", places=1, note="or is taken"))
    words = (
        "Cut and hinge at the apex: the bone is straight. Cut elsewhere with the hinge at the apex: straight, its ends "
        "shifted. Hinge elsewhere: the axes stay apart.",
    )
    return Section(title="A cut", words=words, lines=tuple(lines))


def _record(of: Analysis) -> Section:
    told = []
    for name, finding in MEASURED.items():
        values = of.numbers[name]
        if values is not None and of.marked is not None:
            told.append(f"--set {of.case.side}.{finding}={float(values[0]):.1f}")
    if not told:
        return Section(title="For the record", words=("The angles are those of the record, or were set by hand.",))
    words = f"Keep what was read: limb-pathway followup {of.case.record.child.id} {' '.join(told)} --method {FILM}"
    return Section(title="For the record", words=(words,))
