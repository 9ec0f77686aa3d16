"""The part of the sheet for the table: wire, implant, slot, blade, cut, and what a wire as it lies leads to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from pathway.upper_femur import model
from pathway.upper_femur.fits import REASONS
from pathway.worksheets.osteotomy.inputs import OsteotomyInputs
from pathway.worksheets.osteotomy.sections_angles import number
from pathway.worksheets.sheet import Cell, Column, Line, Section, Table

WAYS = 3


def sections(of: OsteotomyInputs) -> Iterator[Section]:
    """Yield what is set at the table, then what may be done with a wire as it lies."""
    yield _at_the_table(of)
    if of.model.plan.found_wire is not None:
        yield _found_wire(of)


def _at_the_table(of: OsteotomyInputs) -> Section:
    words = tuple(told for reason, told in REASONS.items() if reason in of.numbers.refused)
    lines = (
        number(of, "implant_deg", "implant", strong=True),
        number(of, "wire_front_deg", "wire to the shaft, front view, inner side", strong=True),
        number(
            of,
            "wire_side_deg",
            "wire in front of the shaft, side view",
            "wire behind it, side view",
            strong=True,
        ),
        number(
            of,
            "slot_deg",
            "slot turned, lower end backward",
            "slot turned, lower end forward",
        ),
        number(of, "blade_mm", "blade, corner to tip"),
        number(of, "blade_margin_physis_mm", "tip to the growth plate"),
        number(of, "blade_margin_cortex_mm", "blade to the cortex of the neck"),
        number(of, "plate_shift_mm", "shift that the plate dictates, outward", "shift that the plate dictates, inward"),
        _contact(of),
        number(of, "length_gain_mm", "length gained, head to knee", "length lost, head to knee"),
    )
    return Section(title="At the table", words=words, lines=lines)


def _contact(of: OsteotomyInputs) -> Line:
    value = of.numbers.numbers.get("contact_share")
    if not isinstance(value, float):
        return Line(label="overlap of the cut faces", value="not known")
    return Line(label="overlap of the cut faces", value=100 * value, unit="%", note="of two equal circles")


def _found_wire(of: OsteotomyInputs) -> Section:
    """The wire as it lies: what each implant at hand makes of it, best first, and how far it lies from the plan."""
    plan, bone = of.model.plan, of.model.bone
    angles = dict.fromkeys((plan.implant_deg, *of.inputs.numbers("implants_deg")))
    found = [model.solved(bone, replace(plan, implant_deg=angle)) for angle in angles]
    found = [one for one in found if one.settings is not None]
    found.sort(key=lambda one: abs((one.numbers["neck_shaft_after_deg"] or 0.0) - plan.neck_shaft_deg))
    names = (
        "implant_deg",
        "neck_shaft_after_deg",
        "version_after_deg",
        "flexion_after_deg",
        "blade_margin_cortex_mm",
        "blade_margin_physis_mm",
    )
    rows: list[tuple[Cell, ...]] = [tuple(of.model.told(name, one) for name in names) for one in found[:WAYS]]
    table = Table(
        title="With the wire as it lies, best first",
        columns=(
            Column(title="implant", unit="deg"),
            Column(title="neck-shaft after", unit="deg", places=1),
            Column(title="version after", unit="deg", places=1),
            Column(title="flexion remaining", unit="deg", places=1),
            Column(title="blade to cortex", unit="mm", places=1),
            Column(title="tip to growth plate", unit="mm", places=1),
        ),
        rows=tuple(rows),
        marked=(0,) if rows else (),
        note="The slot is set anew so that the extension stays full; the rotation between the wires stays as planned.",
    )
    lines = []
    planned = model.solved(bone, replace(plan, found_wire=None)).settings
    if planned is not None and plan.found_wire is not None:
        front, side = plan.found_wire
        by = planned.wire_front_deg - front, planned.wire_side_deg - side
        move = f"{by[0]:+.1f} deg in the front view, {by[1]:+.1f} in the side view"
        lines.append(Line(label="or move the wire by", value=move, strong=True))
    return Section(title="The wire as it lies", lines=tuple(lines), tables=(table,))
