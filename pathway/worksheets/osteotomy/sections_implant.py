"""The parts of the sheet that speak of implant and bone: wire and blade, cut, shift of the shaft, length gained."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from pathway.courses.hip_gain import length_gained_mm
from pathway.protocol.model import Implant
from pathway.upper_femur import model
from pathway.upper_femur.fits import REASONS
from pathway.worksheets.osteotomy import correction, implant, shift
from pathway.worksheets.osteotomy.inputs import OsteotomyInputs
from pathway.worksheets.osteotomy.numbers import refused_for
from pathway.worksheets.osteotomy.sections_angles import direction
from pathway.worksheets.sheet import Cell, Column, Line, Section, Table

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


def neck_base(of: OsteotomyInputs) -> shift.Placed | None:
    """Return the shaft with the neck's base back on its axis, None where a size of the bone is missing."""
    return None if of.femur is None else shift.neck_base_on_axis(of.before, of.turn, of.femur, of.side)


def _implant(of: OsteotomyInputs) -> Section:
    """Every implant at hand: the wire that reaches the target, and what the planned wire makes of it, in space."""
    wire = of.inputs.maybe("neck_wire_length_mm")
    plan, bone = replace(of.model.plan, found_wire=None), of.model.bone
    planned = model.solved(bone, plan)
    own = plan if wire is None else replace(plan, blade_mm=None)
    at_hand = sorted(_at_hand(of).values(), key=lambda item: abs(item.angle_deg - plan.implant_deg))
    angles = {item.angle_deg for item in at_hand}
    solved = {angle: model.solved(bone, replace(own, implant_deg=angle)) for angle in angles}
    along = {angle: _along(bone, plan, planned, angle) for angle in angles}
    rows: list[tuple[Cell, ...]] = []
    for item in at_hand:
        there = solved[item.angle_deg]
        against = " ".join(REASONS[one] for one in refused_for(of.model, there))
        length = implant.fitting_length_mm(item.lengths_mm, there.numbers.get("blade_mm") or 0.0, 0.0)
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


def _at_hand(of: OsteotomyInputs) -> dict[str, Implant]:
    """Return the implants at hand by id, the best choice first."""
    return {choice.implant.id: choice.implant for choice in of.choices}


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
    offsets = sorted({choice.offset_deg for choice in of.choices})
    cells = {(choice.implant.id, choice.offset_deg): choice.neck_shaft_deg for choice in of.choices}
    rows = tuple((item.label, *(cells.get((id, offset)) for offset in offsets)) for id, item in _at_hand(of).items())
    return Table(
        title="Neck-shaft angle by implant and wire, in one plane",
        columns=(Column(title="implant"), *(Column(title=f"{offset:+g}" if offset else "0") for offset in offsets)),
        rows=rows,
        marked=(0,) if rows else (),
        note="Columns: degrees by which the neck is steeper than the wire. Holds where neither extension nor version is"
        " corrected; with them the table above counts.",
    )


def _blade(of: OsteotomyInputs) -> Section:
    wire, margin = of.inputs.maybe("neck_wire_length_mm"), of.inputs.number("blade_margin_mm")
    proud = of.inputs.item("blade_proud_mm")
    below = of.case.protocol.value("osteotomy_cut_below_implant_mm")
    lines = []
    if wire is None:
        lines.append(Line(label="longest blade", value="not known: measure the neck on the wire"))
    else:
        note = f"neck {wire:g} mm minus {margin:g} mm to the growth plate; a longer blade is not offered"
        room = wire - margin
        value: Cell = room if room > 0 else "none: the neck is no longer than the margin"
        unit = "mm" if room > 0 else ""
        sources = of.inputs.item("blade_margin_mm").sources
        lines.append(Line(label="longest blade", value=value, unit=unit, note=note, sources=sources, strong=True))
        lines += list(_lengths(of, wire, margin))
    lines += [
        Line(
            label="left protruding for impaction",
            value=of.inputs.number("blade_proud_mm"),
            unit="mm",
            sources=proud.sources,
        ),
        Line(
            label="transverse cut below the implant's corner",
            value=of.inputs.number("cut_below_corner_mm"),
            unit="mm",
            spread=None if below.low is None or below.high is None else (below.low, below.high),
            sources=below.sources,
            strong=True,
        ),
    ]
    if of.femur is not None:
        by_hand = of.inputs.item("cut_below_crossing_mm").value is not None
        note = "set by hand" if by_hand else "from the blade's entry along the neck"
        lines.append(
            Line(label="cut below the intersection of the axes", value=of.femur.cut_mm, unit="mm", places=1, note=note)
        )
    return Section(title="Blade and level of the cut", lines=tuple(lines))


def _lengths(of: OsteotomyInputs, wire_mm: float, margin_mm: float) -> Iterator[Line]:
    """One line for each length at hand: whether it keeps the margin."""
    if not of.choices:
        return
    for length in sorted(set(of.choices[0].implant.lengths_mm)):
        left = wire_mm - length
        word = "fits" if implant.fitting_length_mm((length,), wire_mm, margin_mm) else "too long"
        yield Line(label=f"blade of {length:g} mm", value=word, note=f"{left:g} mm to the growth plate")


def _shift(of: OsteotomyInputs) -> Section:
    title = "Shift of the shaft"
    bone = of.femur
    if bone is None:
        return Section(title=title, words=(f"Not calculated: measure {'; '.join(missing(of))}.",))
    aim = of.inputs.number("axes_angle_deg")
    goals = (
        ("no shift", shift.unmoved(of.before, of.turn, bone, of.side)),
        ("base of the neck on the shaft axis", shift.neck_base_on_axis(of.before, of.turn, bone, of.side)),
        (f"axes {aim:g} deg apart", shift.with_axis_angle(of.before, of.turn, bone, of.side, aim)),
    )
    table = Table(
        title="Goals side by side",
        columns=(
            Column(title="goal"),
            Column(title="lateral", unit="mm", places=1),
            Column(title="forward", unit="mm", places=1),
            Column(title="bone width", unit="mm"),
            Column(title="contact left", unit="%"),
            Column(title="axes after", unit="deg", places=1),
            Column(title="length", unit="mm", places=1),
        ),
        rows=tuple(
            (name, p.lateral_mm, p.anterior_mm, bone.width_mm, 100 * p.contact, p.axis_deg, p.gain_mm)
            for name, p in goals
        ),
        marked=(1,),
        note="Lateral goes with valgus, medial (negative) with varus. Length: gained from head to knee.",
    )
    base = goals[1][1]
    sideways = direction(base.lateral_mm, "lateral", "medial")
    before = shift.axis_before_deg(of.before, bone, of.side)
    lines = [
        Line(
            label="shift that brings the base of the neck back",
            value=base.size_mm,
            unit="mm",
            places=1,
            note=f"{sideways}; the bone is {bone.width_mm:g} mm wide",
            strong=True,
        ),
        Line(
            label="contact left",
            value=100 * base.contact,
            unit="%",
            note="of the width at a transverse cut",
            strong=True,
        ),
        Line(label="angle of the axes now", value=before, unit="deg", places=1),
        *_ways_out(of, bone),
    ]
    return Section(title=title, lines=tuple(lines), tables=(table,))


def _ways_out(of: OsteotomyInputs, bone: shift.Femur) -> Iterator[Line]:
    ways = shift.ways_out(bone, correction.angulation_deg(of.turn), of.inputs.number("contact_least"))
    if ways.highest_cut_mm is None or ways.most_correction_deg is None:
        return
    share = 100 * of.inputs.number("contact_least")
    yield Line(
        label="alternative: a higher cut",
        value=ways.highest_cut_mm,
        unit="mm",
        places=1,
        note=f"below the intersection at most, keeps {share:.0f} % of the width",
    )
    note = f"in the plane of the correction, at this level, keeps {share:.0f} %"
    yield Line(label="alternative: less correction", value=ways.most_correction_deg, unit="deg", places=1, note=note)
    yield Line(label="alternative: in stages", value=ways.steps, note="operations, each within that shift")


def _cut(of: OsteotomyInputs) -> Section:
    bend = correction.angulation_deg(of.turn)
    lines = [Line(label="angle between the cut surfaces", value=bend, unit="deg", places=1)]
    width = of.inputs.maybe("femoral_shaft_width_mm")
    if width is None:
        return Section(title="Wedge options", words=("Wedges: measure the width of the femur.",), lines=tuple(lines))
    if bend >= 90 - 1e-6:
        words = ("An angle of 90 deg or more cannot be filled by one wedge at a transverse cut.",)
        return Section(title="Wedge options", words=words, lines=tuple(lines))
    base, even = shift.wedge_base_mm(width, bend), shift.symmetrical_wedge_mm(width, bend)
    edge = shift.hinge_rise_mm(width, bend)
    placed = neck_base(of)
    left = None if placed is None else 100 * placed.contact
    table = Table(
        title="Wedge options",
        columns=(
            Column(title="technique"),
            Column(title="base", unit="mm", places=1),
            Column(title="length", unit="mm", places=1),
            Column(title="contact after the cut", unit="%"),
        ),
        rows=(
            ("no wedge, hinge at the edge: gap at the other edge", shift.chord_mm(width, bend), edge, 0.0),
            ("closing wedge removed", base, -base / 2, left),
            ("half of it removed and inserted on the other side", base / 2, 0.0, left),
            ("symmetrical wedge removed", even, -even / 2, left),
        ),
        note="Length: of the bone's axis at the cut, in addition to the gain from the angle. Contact: after the shift.",
    )
    return Section(title="Wedge options", lines=tuple(lines), tables=(table,))


def _length(of: OsteotomyInputs) -> Section:
    neck = of.inputs.maybe("femoral_neck_length_mm")
    if neck is None:
        return Section(title="Length", words=(f"Not calculated: measure {WHAT_IS_MISSING['femoral_neck_length_mm']}.",))
    pure = length_gained_mm(of.before.neck_shaft_deg, of.after.neck_shaft_deg, neck)
    lines = [Line(label="gained by the change of angle", value=pure, unit="mm", places=1, strong=True)]
    told, gain = of.numbers.numbers["length_gain_mm"], pure
    if isinstance(told, float):
        gain = told
        note = "with the shaft at the plate, wedge and gap included"
        lines.append(Line(label="gained from head to knee", value=gain, unit="mm", places=1, note=note, strong=True))
    difference = of.inputs.maybe("current_discrepancy_mm")
    if difference is not None:
        lines += [
            Line(label="difference of the legs now", value=difference, unit="mm"),
            Line(
                label="difference after",
                value=difference - gain,
                unit="mm",
                note="by the number above",
                strong=True,
            ),
        ]
    return Section(title="Length", lines=tuple(lines))
