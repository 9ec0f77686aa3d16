"""The parts of the sheet that speak of implant and bone: wire and blade, cut, shift of the shaft, length gained."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from pathway.upper_femur import model
from pathway.upper_femur.fits import REASONS
from pathway.worksheets.osteotomy import angles, implant, shift
from pathway.worksheets.osteotomy.frames import NeckAngles
from pathway.worksheets.osteotomy.inputs import OsteotomyInputs
from pathway.worksheets.osteotomy.numbers import refused_for
from pathway.worksheets.osteotomy.sections_angles import direction, number
from pathway.worksheets.sheet import Cell, Column, Line, Section, Table

LEAST_BEND_DEG = 0.05
WHAT_IS_MISSING = {
    "femur_length_mm": "the length of the femur",
    "femoral_neck_length_mm": "the neck from shaft axis to centre of the head (or its length along the guide wire)",
    "femoral_shaft_width_mm": "the width of the femur at the cut",
}


def sections(of: OsteotomyInputs) -> Iterator[Section]:
    """Yield the sections in reading order."""
    yield _implant(of)
    yield _blade(of)
    yield _shift(of)
    yield _cut(of)
    yield _length(of)


def missing(of: OsteotomyInputs) -> tuple[str, ...]:
    """Return the words that say which sizes of the bone are still to be measured."""
    return tuple(
        f"{words} (--set {name}=…)" for name, words in WHAT_IS_MISSING.items() if of.inputs.maybe(name) is None
    )


def _implant(of: OsteotomyInputs) -> Section:
    """Every implant at hand: the wire that reaches the target, and what the planned wire makes of it, in space."""
    wire = of.inputs.maybe("neck_wire_length_mm")
    plan, bone = replace(of.model.plan, found_wire=None), of.model.bone
    planned = model.solved(bone, plan)
    own = plan if wire is None else replace(plan, blade_mm=None)
    at_hand = {item.angle_deg for item in of.implants}
    solved = {angle: model.solved(bone, replace(own, implant_deg=angle)) for angle in at_hand}
    along = {angle: _along(bone, plan, planned, angle) for angle in at_hand}
    rows: list[tuple[Cell, ...]] = []
    for item in of.implants:
        there = solved[item.angle_deg]
        against = " ".join(REASONS[one] for one in refused_for(of.model, there))
        length = implant.fitting_length_mm(item.lengths_mm, there.numbers.get("blade_mm") or 0.0)
        blade = "" if against and length is None else _length_word(length, wire)
        reached = (there.numbers.get(name) for name in ("wire_front_deg", "wire_side_deg", "slot_deg"))
        rows.append((item.label, *reached, blade, against or "yes", along[item.angle_deg]))
    rows.sort(key=lambda row: row[5] != "yes")
    best = Table(
        title="Implants available",
        columns=(
            Column(title="implant"),
            Column(title="wire, front view", unit="deg", places=1),
            Column(title="wire, side view", unit="deg", places=1),
            Column(title="slot", unit="deg", places=1),
            Column(title="blade", unit="mm"),
            Column(title="fits"),
            Column(title="neck-shaft along the planned wire", unit="deg", places=1),
        ),
        rows=tuple(rows),
        note="Wire and slot with which each reaches the target, worked out in space; + to the front, lower end"
        " backward. Last column: the wire and slot planned above, this implant on them.",
    )
    words = ("With the wire along the neck in both planes the implant's angle becomes the neck-shaft angle.",)
    return Section(title="Implant and wire", words=words, lines=(), tables=(best, _every_wire(of)))


def _along(bone: model.Femur, plan: model.Plan, planned: model.Result, angle_deg: float) -> float | None:
    """Return the neck-shaft angle that an implant makes along the planned wire, slot and rotation kept."""
    if planned.settings is None:
        return None
    try:
        changed = replace(plan, implant_deg=angle_deg), replace(planned.settings, implant_deg=angle_deg)
        return model.result(bone, *changed).numbers["neck_shaft_after_deg"]
    except model.NotPossible:
        return None


def _length_word(length_mm: float | None, wire_mm: float | None) -> Cell:
    if wire_mm is None:
        return "measure the neck"
    return "too long" if length_mm is None else length_mm


def _every_wire(of: OsteotomyInputs) -> Table:
    """What each implant makes of a wire along the neck, and of one that stands off it in the front view."""
    bone = of.model.bone
    tried = implant.offsets(*(of.inputs.number(name) for name in ("wire_step_deg", "wire_most_deg", "triangle_deg")))
    neck = NeckAngles(bone.neck_shaft_deg, bone.version_deg)
    front, side = angles.apparent_deg(neck), angles.inclination_deg(neck)
    found = {
        item.angle_deg: tuple(_made(bone, item.angle_deg, front - off, side) for off in tried) for item in of.implants
    }
    return Table(
        title="Neck-shaft angle by implant and wire",
        columns=(
            Column(title="implant"),
            *(Column(title=f"{off:+g}" if off else "0", places=0) for off in tried),
        ),
        rows=tuple((item.label, *found[item.angle_deg]) for item in of.implants),
        marked=(0,) if of.implants else (),
        note="Columns: degrees by which the neck is steeper than the wire in the front view; in the side view the wire"
        " lies as the neck. Extension stays as planned.",
    )


def _made(bone: model.Femur, implant_deg: float, front_deg: float, side_deg: float) -> float | None:
    try:
        return model.neck_shaft_along(bone, implant_deg, front_deg, side_deg) if 0 < front_deg < 180 else None
    except model.NotPossible:
        return None


def _blade(of: OsteotomyInputs) -> Section:
    margin, proud = of.inputs.item("blade_margin_mm"), of.inputs.item("blade_proud_mm")
    below = of.case.protocol.value("osteotomy_cut_below_implant_mm")
    lines = []
    most = longest_mm(of)
    if of.inputs.maybe("neck_wire_length_mm") is None:
        lines.append(Line(label="longest blade", value="not known: measure the neck on the wire"))
    elif most is None:
        lines.append(Line(label="longest blade", value="not known"))
    else:
        note = f"along the planned wire, {margin.value:g} mm to the growth plate; a longer blade is not offered"
        value: Cell = most if most > 0 else "none: the growth plate is nearer than the margin"
        unit = "mm" if most > 0 else ""
        lines.append(
            Line(
                label="longest blade", value=value, unit=unit, places=1, note=note, sources=margin.sources, strong=True
            )
        )
        lines += list(_lengths(of, most))
    lines += [
        Line(
            label="left protruding for impaction",
            value=of.inputs.number("blade_proud_mm"),
            unit="mm",
            sources=proud.sources,
        ),
        Line(
            label="transverse cut below the implant's corner",
            value=of.model.plan.cut_below_corner_mm,
            unit="mm",
            places=1,
            note="" if below.low is None or below.high is None else f"usual {below.low:g} to {below.high:g}",
            sources=below.sources,
            strong=True,
        ),
    ]
    cut = of.model.cut_below_crossing_mm
    if cut is not None:
        by_hand = of.inputs.item("cut_below_crossing_mm").value is not None
        way = direction(cut, "below", "above", "at")
        note = "set by hand" if by_hand else "on the shaft's axis"
        label = f"cut {way} the intersection of the axes"
        lines.append(Line(label=label, value=abs(cut), unit="mm", places=1, note=note))
    return Section(title="Blade and level of the cut", lines=tuple(lines))


def longest_mm(of: OsteotomyInputs) -> float | None:
    """Return the longest blade along the planned wire that keeps its margin; None where it is not known."""
    return of.model.told("blade_mm", model.solved(of.model.bone, replace(of.model.plan, blade_mm=None)))


def _lengths(of: OsteotomyInputs, most_mm: float) -> Iterator[Line]:
    """One line for each length at hand: whether it keeps the margin, and what is left of it to the growth plate."""
    if not of.implants:
        return
    bone, plan = of.model.bone, of.model.plan
    for length in sorted(set(of.implants[0].lengths_mm)):
        left = of.model.told("blade_margin_physis_mm", model.solved(bone, replace(plan, blade_mm=length)))
        word = "too long" if implant.fitting_length_mm((length,), most_mm) is None else "fits"
        note = "" if left is None else f"{left:.1f} mm to the growth plate"
        yield Line(label=f"blade of {length:g} mm", value=word, note=note)


def _shift(of: OsteotomyInputs) -> Section:
    title, settings = "Shift of the shaft", of.model.found.settings
    if missing(of):
        return Section(title=title, words=(f"Not calculated: measure {'; '.join(missing(of))}.",))
    if settings is None:
        return Section(title=title, words=("Not known: the plan is refused.",))
    bone, plan = of.model.bone, of.model.plan
    aim = of.inputs.number("axes_angle_deg")
    planned = shift.as_planned(bone, plan, settings)
    rows = tuple(
        (
            goal.label,
            goal.offset_mm,
            goal.numbers["plate_shift_mm"],
            goal.numbers["plate_shift_forward_mm"],
            100 * (goal.numbers["contact_share"] or 0.0),
            goal.axes_deg,
            goal.numbers["length_gain_mm"],
        )
        for goal in (planned, *shift.other_goals(bone, plan, settings, aim))
    )
    table = Table(
        title="Goals side by side",
        columns=(
            Column(title="goal"),
            Column(title="plate inward of the corner", unit="mm", places=1),
            Column(title="shift outward", unit="mm", places=1),
            Column(title="forward", unit="mm", places=1),
            Column(title="overlap", unit="%"),
            Column(title="axes apart", unit="deg", places=1),
            Column(title="length gained", unit="mm", places=1),
        ),
        rows=rows,
        marked=(0,),
        note="Same wire, slot, cut and wedge. Another plate moves the shaft: its offset may be set as"
        " implant_offset_mm. Overlap: of two equal circles. Axes: the shaft against the line from head to knee, in the"
        " front view.",
        sources=of.inputs.item("axes_angle_deg").sources,
    )
    before = shift.axes_before_deg(bone)
    lines = (
        number(
            of,
            "plate_shift_mm",
            "shift that the plate dictates, outward",
            "shift that the plate dictates, inward",
            note=f"on a bone {bone.shaft_width_mm:g} mm wide",
            strong=True,
        ),
        Line(label="angle of the axes now", value=before, unit="deg", places=1),
        *_ways_out(of, settings),
    )
    return Section(title=title, lines=lines, tables=(table,))


def _ways_out(of: OsteotomyInputs, settings: model.Settings) -> Iterator[Line]:
    least, contact = of.inputs.number("contact_least"), of.told("contact_share")
    if contact is None or contact >= least:
        return
    ways = shift.ways_out(of.model.bone, of.model.plan, settings, least)
    keeps = f"leaves {100 * least:.0f} % of the cut faces on each other"
    if ways.cut_below_corner_mm is not None:
        yield Line(
            label="alternative: a higher cut",
            value=ways.cut_below_corner_mm,
            unit="mm",
            places=1,
            note=f"below the corner at most, {keeps}",
        )
    if ways.neck_shaft_deg is not None:
        note = f"target neck-shaft angle, {keeps}"
        yield Line(label="alternative: less correction", value=ways.neck_shaft_deg, unit="deg", places=1, note=note)
    yield Line(label="alternative: in stages", value="more than one operation, each within that overlap")


def _cut(of: OsteotomyInputs) -> Section:
    title, settings = "Wedge options", of.model.found.settings
    bend = of.model.told("tilt_deg")
    if settings is None or bend is None:
        return Section(title=title, words=("Not known: the plan is refused.",))
    lines = (Line(label="angle between the cut surfaces", value=bend, unit="deg", places=1),)
    if "width" not in of.model.known or "neck" not in of.model.known:
        words = (f"Wedges: measure {'; '.join(missing(of))}.",)
        return Section(title=title, words=words, lines=lines)
    if bend < LEAST_BEND_DEG:
        return Section(title=title, words=("The cut surfaces are parallel: there is no wedge.",), lines=lines)
    bone, plan = of.model.bone, of.model.plan
    found = shift.wedges(bone, plan, settings)
    full = found[0][2].numbers["wedge_full_mm"] or 0.0
    rows = tuple(
        (
            label,
            base,
            full - base,
            of.model.told("length_gain_mm", there),
            100 * (there.numbers["contact_share"] or 0.0),
            " ".join(REASONS[one] for one in refused_for(of.model, there)) or "yes",
        )
        for label, base, there in found
    )
    table = Table(
        title=title,
        columns=(
            Column(title="wedge"),
            Column(title="base", unit="mm", places=1),
            Column(title="gap left open", unit="mm", places=1),
            Column(title="length gained", unit="mm", places=1),
            Column(title="overlap", unit="%"),
            Column(title="fits"),
        ),
        rows=rows,
        marked=tuple(k for k, (_, base, _) in enumerate(found) if base == plan.wedge_mm),
        note=f"Taken from the {'upper piece' if plan.wedge_from == 'upper' else 'shaft'}, the pieces closed along the"
        " plate. Length: from head to knee. A gap may be filled with the bone that was taken.",
    )
    return Section(title=title, lines=lines, tables=(table,))


def _length(of: OsteotomyInputs) -> Section:
    if missing(of):
        return Section(title="Length", words=(f"Not calculated: measure {'; '.join(missing(of))}.",))
    gain = of.told("length_gain_mm")
    if gain is None:
        return Section(title="Length", words=("Not known: the plan is refused.",))
    note = "shift, wedge and gap included"
    lines = [number(of, "length_gain_mm", "gained from head to knee", "lost from head to knee", note=note, strong=True)]
    difference = of.inputs.maybe("current_discrepancy_mm")
    if difference is not None:
        lines += [
            Line(label="difference of the legs now", value=difference, unit="mm"),
            Line(
                label="difference after",
                value=difference - gain,
                unit="mm",
                places=1,
                note="by the number above",
                strong=True,
            ),
        ]
    return Section(title="Length", lines=tuple(lines))
