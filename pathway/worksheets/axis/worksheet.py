"""The sheet of the leg's axis: joint angles against the age, which bone, how much and where, and what a cut does."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from pathway.worksheets.axis.analysis import Analysis, analysis_of
from pathway.worksheets.axis.drawing import drawing
from pathway.worksheets.axis.inputs import KIND, inputs_of, marked, normals_of
from pathway.worksheets.axis.sections import sections, warnings
from pathway.worksheets.case import Case, made, set_by_hand
from pathway.worksheets.sheet import NumberRange, Sheet

__all__ = ["KIND", "worksheet"]
LOW_HIGH = (2.5, 97.5)


def worksheet(case: Case, settings: Mapping[str, str]) -> Sheet:
    """Return the sheet of the axis of one leg, from landmarks of a long film or from angles that were measured.

    Without either the sheet says what to mark. Raises Refused for inputs that are not plausible or do not fit each
    other.
    """
    inputs = set_by_hand(KIND, inputs_of(case), settings)
    normals = normals_of(case, inputs)
    of = analysis_of(case, inputs, normals, marked(case, inputs))
    drawings = () if of.marked is None else (drawing(of),)
    sheet = made(case, inputs, "Axis of the leg", sections(of), warnings(of), drawings)
    return sheet.model_copy(
        update={"numbers": dict(_numbers(of)), "ranges": dict(_ranges(of)), "refused": tuple(of.not_told)}
    )


def _numbers(of: Analysis) -> Iterator[tuple[str, float | None]]:
    for name, values in of.numbers.items():
        yield name, None if values is None or not np.isfinite(values[0]) else round(float(values[0]), 6) + 0.0


def _ranges(of: Analysis) -> Iterator[tuple[str, NumberRange]]:
    for name, values in of.numbers.items():
        if values is not None and len(values) > 1 and np.isfinite(values).all():
            low, high = np.percentile(values[1:], LOW_HIGH)
            yield name, NumberRange(low=round(float(low), 4), high=round(float(high), 4))
