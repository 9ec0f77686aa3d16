"""The parts of the sheet of the leg's axis, in reading order, and its warnings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from pathway.days import age_words
from pathway.worksheets.axis.analysis import Analysis, Judged
from pathway.worksheets.axis.bends import Bend, BoneAxis, open_wedge_mm
from pathway.worksheets.axis.inputs import BY_AGE, MEASURED, lengths_mm, off_percent
from pathway.worksheets.axis.lines import Floats, reach_95
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
                f"{age_words(of.age_years)} that of {known_from:g} is shown. Compare with the other leg "
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
    yield from _film(of)
    yield from _cuts(of)
    for seen in of.both:
        apart, reach = float(seen.apart_mm[0]), reach_95(seen.apart_mm)
        if np.isfinite(apart) and apart > reach:
            text = (
                f"Front and side film show the apex of the {seen.bone} {apart:.0f} mm apart: the pieces are shifted as "
                "well as bent, one plane does not describe it."
            )
            yield Warning(text=text)


def _film(of: Analysis) -> Iterator[Warning]:
    """Yield what does not fit between the film and what was measured or set besides."""
    if of.marked is None:
        return
    most = of.case.protocol.value("axis_length_off_percent")
    for name, off in off_percent(of.case, of.marked.leg).items():
        if abs(off) > most.value:
            read, label = lengths_mm(of.marked.leg)[name], of.case.protocol.finding(name).label
            way = "longer" if off > 0 else "shorter"
            text = (
                f"{_sentence(label)} {read:.0f} mm on this film, {abs(off):.0f} % {way} than measured last: check the"
            )
            yield Warning(text=f"{text} calibration (mm_per_unit) and whose film it is.", rule=most.id, stop=True)
    by_hand = [name for name in (*MEASURED, "jlca_deg", "ldta_deg") if of.inputs.item(name).origin == "by_hand"]
    if by_hand:
        yield Warning(text=f"Set by hand and not used, because points are marked: {', '.join(by_hand)}.")


def _cuts(of: Analysis) -> Iterator[Warning]:
    """Yield what speaks against a cut at the level set."""
    near, width = of.case.protocol.value("axis_cut_from_joint_mm"), of.inputs.maybe("bone_width_mm")
    for bone in of.bones:
        level = of.inputs.maybe(f"{bone.bone}_cut_mm")
        if level is None:
            continue
        if min(level, bone.length_mm - level) < near.value:
            text = f"A cut of the {bone.bone} {level:g} mm from the knee lies within {near.value:g} mm of a joint line:"
            yield Warning(text=f"{text} in a growing child at the growth plate.", rule=near.id, stop=True)
        if bone.bone not in of.cuts:
            yield Warning(text=f"The {bone.bone} has no bend whose level this film tells: nothing is said of its cut.")
            continue
        shift = of.cuts[bone.bone][1].shift_mm
        if width is not None and shift > width / 2:
            part = "the whole width" if shift >= width else "half the width"
            text = f"The ends of the {bone.bone} shift by {shift:.0f} mm, more than {part} of a bone {width:g} mm wide:"
            yield Warning(text=f"{text} cut nearer to the apex.", stop=shift >= width)


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
    axis, whole = of.numbers["mad_mm"], of.numbers["mtfa_deg"]
    if axis is not None:
        note = "lateral positive: valgus; medial negative: varus"
        lines.append(_with_range("Mechanical axis from the middle of the knee", axis, "mm", note, strong=True))
    if whole is not None:
        lines.append(_with_range("Thigh against shin (varus positive)", whole, "deg", "femur + tibia + joint"))
    sources = tuple(dict.fromkeys(id for name in BY_AGE for id in of.inputs.item(name).sources))
    table = Table(title="Joint angles", columns=columns, rows=tuple(rows), sources=sources)
    return Section(title="Joint angles", lines=tuple(lines), tables=(table,))


def _with_range(label: str, values: Floats, unit: str, note: str = "", *, strong: bool = False) -> Line:
    value, reach = float(values[0]), reach_95(values)
    ends = (value - reach, value + reach)
    return Line(label=label, value=value, spread=ends, unit=unit, places=1, note=note, strong=strong)


def _said(one: Judged) -> str:
    if one.place == "usual":
        return "usual"
    if one.place == "within reading":
        return "outside by less than its reading error: repeat the film"
    return f"{one.place}, {abs(one.off_deg):.1f} deg outside the band"


def _which(of: Analysis) -> Section:
    crooked = [one for one in of.angles if one.place in ("varus", "valgus")]
    doubtful = [one for one in of.angles if one.place == "within reading"]
    words = [f"{_sentence(BONE_OF[one.name])}: {_said(one)}." for one in crooked]
    if doubtful:
        words.append(f"Not settled by this film: {', '.join(BONE_OF[one.name] for one in doubtful)}.")
    if not crooked and not doubtful:
        one = len(of.angles) == 1
        words.append(f"{'The only' if one else 'Every'} joint angle that was read is usual for the age.")
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
    known = bend.is_bend and bone.is_placed(bend)
    by = f"the joint lines ({bend.by_joint})" if bend.by_joint else "two pieces of the shaft"
    if not bend.is_bend:
        said = "no bend"
    elif not bone.is_inside(bend):
        said = "outside the bone"
    else:
        said = "varus" if bend.turn_deg[0] > 0 else "valgus"
        said += "" if known else ", near the joint" if np.isnan(level) else ", level not known from this film"
    return (
        bone.bone,
        float(bend.turn_deg[0]),
        bend.reading_deg,
        level if known else None,
        bend.level_reading_mm if known else None,
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
        front, side = next(
            (f.bends[0], s.bends[0]) for f, s in zip(of.bones, of.side_bones, strict=True) if f.bone == one.bone
        )
        apex = f"apex {'lateral' if front.turn_deg[0] > 0 else 'medial'} and"
        apex += " posterior" if side.turn_deg[0] > 0 else " anterior"
        name = _sentence(one.bone)
        lines.append(_with_range(f"{name}, true angle", one.angle_deg, "deg", strong=True))
        lines.append(_with_range(f"{name}, its plane from the front plane", one.plane_deg, "deg", apex, strong=True))
    title = "Side film, and both together"
    return Section(title=title, lines=tuple(lines), tables=(Table(title=title, columns=columns, rows=tuple(rows)),))


def _cut(of: Analysis) -> Section:
    lines = []
    width = of.inputs.maybe("bone_width_mm")
    for bone, (bend, at_apex, at_cut) in of.cuts.items():
        name, turn = _sentence(bone), float(bend.turn_deg[0])
        distal = (at_apex.off_mm > 0) == (bone == "tibia")
        way = "laterally" if (turn > 0) == distal else "medially"
        opens, hinge = ("medially", "lateral") if turn > 0 else ("laterally", "medial")
        lines += [
            Line(
                label=f"{name}: cut from the apex", value=at_apex.off_mm, unit="mm", note="away from the knee positive"
            ),
            Line(
                label=f"{name}: hinge at the apex, shift of the ends",
                value=at_apex.shift_mm,
                unit="mm",
                places=1,
                note=f"the distal end goes {way}; the axes come into line",
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
            note = f"hinge on the {hinge} cortex at the cut; or a wedge as high is taken {hinge}ly"
            lines.append(Line(label=f"{name}: wedge opens {opens} by", value=wedge, unit="mm", places=1, note=note))
    words = (
        "Cut and hinge at the apex: the bone is straight. Cut elsewhere with the hinge at the apex: straight, its ends "
        "shifted. Hinge elsewhere: the axes stay apart.",
        *(("By the front film alone: the true bend lies in the oblique plane above.",) if of.both else ()),
    )
    return Section(title="A cut", words=words, lines=tuple(lines))


def _record(of: Analysis) -> Section:
    told = []
    if any(warning.stop for warning in _film(of)):
        return Section(title="For the record", words=("Nothing of a film that does not fit is offered for it.",))
    for name, finding in MEASURED.items():
        values = of.numbers[name]
        if values is not None and of.marked is not None:
            told.append(f"--set {of.case.side}.{finding}={float(values[0]):.1f}")
    if not told:
        return Section(title="For the record", words=("The angles are those of the record, or were set by hand.",))
    words = f"Keep what was read: limb-pathway followup {of.case.record.child.id} {' '.join(told)} --method {FILM}"
    return Section(title="For the record", words=(words,))
