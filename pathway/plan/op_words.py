"""A first operation in words, for clinicians."""

from __future__ import annotations

from pathway.days import age_words
from pathway.plan.firmness import FirstOperation
from pathway.protocol.words import lower_first


def op_words(op: FirstOperation) -> str:
    """Return an operation in words: `femoral lengthening 1 by 5.5 cm at 8 y 3 m`."""
    name = f"{lower_first(op.label)}"
    also = [f"{lower_first(label)}" for label in op.also_labels]
    name += f" together with {' and '.join(also)}" if also else ""
    if op.kind == "lengthening_with_growth_arrest":
        name += " with growth arrest of the other leg"
    lengthens = op.kind in ("lengthening", "lengthening_with_growth_arrest")
    by = f" by {op.amount_mm / 10:.1f} cm" if lengthens and op.amount_mm is not None else ""
    at = f" at {age_words(op.age_years)}" if op.age_years is not None else ""
    return f"{name}{by}{at}"
