"""The table [operation.planned] of a case file: the sheet of an osteotomy of the upper femur as it was used."""

from __future__ import annotations

from typing import get_args

from pathway.casefile.fields import Fields
from pathway.protocol.model import Protocol
from pathway.record import OsteotomyPlan

FRAMES = get_args(OsteotomyPlan.model_fields["flexion_frame"].annotation)
NAMES = tuple(name for name in OsteotomyPlan.model_fields if name != "flexion_frame")
REQUIRED = frozenset(name for name in NAMES if OsteotomyPlan.model_fields[name].is_required())
TURN_DEG = 180
LONGEST = "osteotomy_sheet_longest_mm"


def read_planned(fields: Fields, protocol: Protocol) -> OsteotomyPlan | None:
    """Return the sheet that was used; each fault is added to the complaints, None where one stands in the way."""
    frame = fields.choice("flexion_frame", FRAMES, "frame")
    found = {name: _number(fields, name, protocol.number(LONGEST)) for name in NAMES}
    fields.done("a sheet that was used")
    if any(found[name] is None for name in REQUIRED):
        return None
    return OsteotomyPlan.model_validate({**found, **({"flexion_frame": frame} if frame else {})})


def _number(fields: Fields, name: str, longest_mm: float) -> float | None:
    most, unit = (longest_mm, "mm") if name.endswith("_mm") else (TURN_DEG, "degrees")
    if name in REQUIRED and not fields.has(name):
        fields.missing(name, "a number of the sheet that was used")
    return fields.number(name, -most, most, unit)
