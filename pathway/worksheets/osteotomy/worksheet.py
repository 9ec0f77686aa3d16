"""The worksheet of an osteotomy of the upper femur: correction, implant, cut, shift and what they change."""

from __future__ import annotations

from collections.abc import Mapping

from pathway.protocol.model import Role
from pathway.protocol.roles import kinds_of
from pathway.worksheets.case import Case, Inputs, made, set_by_hand
from pathway.worksheets.osteotomy import sections_angles as parts_angles
from pathway.worksheets.osteotomy import sections_implant as parts_bone
from pathway.worksheets.osteotomy import sections_table as parts_table
from pathway.worksheets.osteotomy.cautions import warnings
from pathway.worksheets.osteotomy.drawing import drawings
from pathway.worksheets.osteotomy.inputs import KIND, OsteotomyInputs, inputs_of, osteotomy_inputs_of
from pathway.worksheets.sheet import Sheet, SheetNumbers

ROLE: Role = "neck_shaft_correction"


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the worksheet of the case's upper femur, with what is set by hand in place of the record.

    Raises Refused for inputs that are missing, not plausible, or do not fit each other.
    """
    given = given_of(case, settings)
    inputs = given.inputs
    sections = (*parts_angles.sections(given), *parts_table.sections(given), *parts_bone.sections(given))
    word = "Valgus" if given.change_deg >= 0 else "Varus"
    before, after = given.before.neck_shaft_deg, given.before.neck_shaft_deg + given.change_deg
    title = f"{word} osteotomy of the upper femur, neck-shaft angle {before:.0f} to {after:.0f} deg"
    sheet = made(
        case,
        inputs,
        title,
        sections,
        warnings(given),
        drawings(given),
        side=given.side,
        stages=kinds_of(ROLE, case.protocol),
    )
    return sheet.model_copy(update={name: getattr(given.numbers, name) for name in SheetNumbers.model_fields})


def given_of(case: Case, settings: Mapping[str, str]) -> OsteotomyInputs:
    """Return the inputs of the case with what is set by hand, and what follows from them; raises Refused."""
    return osteotomy_inputs_of(case, _neck_length(set_by_hand(KIND, inputs_of(case), settings)))


def _neck_length(inputs: Inputs) -> Inputs:
    """Take the neck's length on the wire for that to the head's centre where the latter is not measured."""
    wire = inputs.item("neck_wire_length_mm")
    neck = inputs.item("femoral_neck_length_mm")
    if neck.value is not None or wire.value is None:
        return inputs
    bounds = neck.plausible or (0.0, float(str(wire.value)))
    value = min(max(float(str(wire.value)), bounds[0]), bounds[1])
    note = "not measured: the length along the guide wire is used"
    return inputs.having("femoral_neck_length_mm", value=value, note=note, stands_in=wire.label)
