"""A judged condition as a value: state, words, value, threshold, margin and the parts it was judged from."""

from __future__ import annotations

import datetime
import operator
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from pathway.rule_engine.findings import Leg, WhyUnknown

State = Literal["holds", "fails", "unknown"]
Form = Literal["all", "any", "not", "finding", "quantity", "classification", "diagnosis", "stage"]
Comparison = Literal["at_least", "above", "at_most", "below", "equals", "one_of", "known"]
Threshold = float | str | bool | tuple[str, ...] | None

COMPARISONS: tuple[Comparison, ...] = ("at_least", "above", "at_most", "below", "equals", "one_of", "known")
OPERATORS = {"at_least": operator.ge, "above": operator.gt, "at_most": operator.le, "below": operator.lt}


@dataclass(frozen=True, slots=True)
class Verdict:
    """A judged condition.

    `form` says which form of condition it was; a leaf has its `comparison` with the `threshold` that was
    compared, a combination those of the part that it speaks of. `subject` names the quantity, scheme or stage,
    `chance` what was asked of a predicted quantity.
    `margin`: how far the value lies on the holding side, in its unit (below 0 where the condition fails); of a
    predicted quantity that of the draw on which the asked chance turns. `sd`: error of the reading, of a
    predicted quantity the spread of its draws (one SD). `scope`: it tests the diagnosis only, which says for
    whom a rule is and is left out of joined sentences.
    """

    state: State
    sentence: str
    test: str
    form: Form
    finding: str | None = None
    value: float | str | bool | None = None
    sd: float | None = None
    measured_on: datetime.date | None = None
    method: str | None = None
    margin: float | None = None
    comparison: Comparison | None = None
    threshold: Threshold = None
    subject: str | None = None
    leg: Leg | None = None
    chance: float | None = None
    why_unknown: WhyUnknown | None = None
    asks: frozenset[str] = frozenset()
    parts: tuple[Verdict, ...] = ()
    scope: bool = False


def on_side(comparison: str, value: float, bound: float) -> tuple[bool, float]:
    """Return whether a number is on the holding side of its bound, and its margin there.

    Raises ValueError for a comparison that is none of numbers.
    """
    upward = comparison in ("at_least", "above")
    return bool(operator_of(comparison)(value, bound)), value - bound if upward else bound - value


def operator_of(comparison: str | None) -> Callable[[Any, Any], Any]:
    """Return how a number or an array is compared; raises ValueError for a comparison that is none of numbers."""
    found = OPERATORS.get(str(comparison))
    if found is None:
        raise ValueError(f"a number is compared with {', '.join(OPERATORS)}, not with {comparison}")
    return found
