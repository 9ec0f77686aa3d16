"""The leg as it was marked, to scale: bones, mechanical axis, joint lines, axes of the ends and apices."""

from __future__ import annotations

from typing import Literal

import numpy as np

from pathway.worksheets.axis.analysis import Analysis
from pathway.worksheets.axis.lines import Floats
from pathway.worksheets.sheet import Drawing, Mark, Shape

CROSS_MM = 4.0
ASIDE_MM = 8.0


def drawing(of: Analysis) -> Drawing:
    """Return the leg on the front film in mm, inward as on the film of that side, with its apices."""
    assert of.marked is not None
    leg = of.marked.leg
    mirror = 1.0 if of.case.side == "right" else -1.0

    def at(point: Floats) -> tuple[float, float]:
        first = point[0] if point.ndim > 1 else point
        return float(first[0]) * mirror, float(first[1])

    shapes = [
        Shape(role="axis", points=(at(leg.hip), at(leg.ankle)), dashed=True),
        Shape(role="shaft", points=(at(leg.hip), at(leg.femur_at_knee))),
        Shape(role="shaft", points=(at(leg.tibia_at_knee), at(leg.ankle))),
    ]
    for pieces in leg.shafts.values():
        shapes += [Shape(role="shift", points=(at(upper), at(lower))) for upper, lower in pieces]
    for joint in ("femoral_condyle", "tibial_plateau", "ankle"):
        ends = (at(leg.points[f"{joint}_lateral"]), at(leg.points[f"{joint}_medial"]))
        shapes.append(Shape(role="physis", points=ends))
    marks = [
        Mark(text=end, at=at(leg.points[f"femoral_condyle_{end}"]), anchor=_outward(end, mirror))
        for end in ("lateral", "medial")
    ]
    told = []
    for bone in of.bones:
        for bend in bone.bends:
            if not np.isfinite(bend.point[0]).all() or not bone.is_inside(bend) or not bone.is_placed(bend):
                continue
            x, y = at(bend.point)
            upper, lower = (leg.hip, leg.femur_at_knee) if bone.bone == "femur" else (leg.tibia_at_knee, leg.ankle)
            shapes += [
                Shape(role="angle", points=(at(upper), (x, y), at(lower)), dashed=True),
                Shape(role="cut", points=((x - CROSS_MM, y - CROSS_MM), (x + CROSS_MM, y + CROSS_MM))),
                Shape(role="cut", points=((x - CROSS_MM, y + CROSS_MM), (x + CROSS_MM, y - CROSS_MM))),
            ]
            said = f"{abs(float(bend.turn_deg[0])):.0f} deg {'varus' if bend.turn_deg[0] > 0 else 'valgus'}"
            marks.append(Mark(text=said, at=(x + ASIDE_MM, y)))
            told.append(f"{bone.bone} {said}, {float(bend.from_knee_mm[0]):.0f} mm from the knee")
    axis = of.numbers["mad_mm"]
    told.append("no apex within a bone" if not told else "")
    if axis is not None:
        way = "lateral" if axis[0] > 0 else "medial"
        told.append(f"the axis from hip to ankle passes {abs(float(axis[0])):.0f} mm {way} of the middle of the knee")
    return Drawing(
        title=f"{of.case.record.child.id}: axis of the {of.case.side} leg, front view",
        shapes=tuple(shapes),
        marks=tuple(marks),
        alternative=f"{'; '.join(part for part in told if part)}.",
    )


def _outward(end: str, mirror: float) -> Literal["start", "end"]:
    """Return how words at an end of the knee are set so that they lie outside it; inward is to the right if > 0."""
    return "end" if (end == "lateral") == (mirror > 0) else "start"
