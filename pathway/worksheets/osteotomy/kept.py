"""The sheet of an osteotomy as it was used, as the record keeps it with the operation."""

from __future__ import annotations

from pathway.problems import Problem, Refused
from pathway.record import OsteotomyPlan, Record
from pathway.worksheets.osteotomy.inputs import KIND
from pathway.worksheets.osteotomy.numbers import FRAME
from pathway.worksheets.sheet import Sheet

PLACES = 2
"""Decimals that are kept: a hundredth of a degree or millimetre, below anything that is measured."""


def kept(sheet: Sheet, record: Record, name: str) -> OsteotomyPlan:
    """Return what a sheet planned, to be kept with the operation; raises Refused for a sheet that cannot have been it.

    That is a sheet of another kind, child or side, or one that no correction was worked out on; `name` is its file.
    """
    if sheet.kind != KIND:
        raise Refused(Problem(name, "kind", None, sheet.kind, KIND, "give the sheet of the osteotomy"))
    if sheet.child != record.child.id:
        raise Refused(Problem(name, "child", None, sheet.child, record.child.id, "give the sheet of this child"))
    if sheet.side != record.affected_side:
        raise Refused(Problem(name, "side", None, sheet.side, record.affected_side, "give the sheet of this side"))
    told = {
        field: round(value, PLACES)
        for field, value in (sheet.numbers or {}).items()
        if field in OsteotomyPlan.model_fields and isinstance(value, float | int)
    }
    lacking = [name for name, field in OsteotomyPlan.model_fields.items() if field.is_required() and name not in told]
    if lacking:
        found = f"no {', '.join(lacking)} ({', '.join(sheet.refused or ()) or 'not worked out'})"
        do = "print the sheet anew with the angles and the implant that were used (--set)"
        raise Refused(Problem(name, "numbers", None, found, "a correction that was worked out", do))
    frame = "neck_plane" if sheet.input(FRAME).value == "neck_plane" else "shaft_side"
    return OsteotomyPlan.model_validate({**told, "flexion_frame": frame})
