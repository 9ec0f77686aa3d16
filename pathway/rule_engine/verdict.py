"""A judged condition as a value: state, words, value, threshold, margin and the parts it was judged from."""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterable, Iterator
from typing import Any, Literal

from pathway.days import Day
from pathway.record import Frozen, Leg, WhyUnknown

State = Literal["holds", "fails", "unknown"]
Form = Literal["all", "any", "not", "finding", "quantity", "classification", "diagnosis", "stage"]
Comparison = Literal["at_least", "above", "at_most", "below", "equals", "one_of", "known"]
Threshold = float | str | bool | tuple[str, ...] | None

COMPARISONS: tuple[Comparison, ...] = ("at_least", "above", "at_most", "below", "equals", "one_of", "known")
OPERATORS = {"at_least": operator.ge, "above": operator.gt, "at_most": operator.le, "below": operator.lt}
OPPOSITE: dict[State, State] = {"holds": "fails", "fails": "holds", "unknown": "unknown"}


class Verdict(Frozen):
    """A judged condition: the tree of what was tested, as the plan keeps it and the questions solve it.

    `form` says which form of condition it was; a leaf has its `comparison` with the `threshold` that was
    compared, a combination the threshold of the part that it speaks of. `subject` names the quantity, scheme or
    stage of the test, `leg` the leg of the finding, `chance` (0 to 1) what was asked of a predicted quantity.
    `margin`: how far the value lies on the holding side, in its unit (below 0 where the condition fails), in
    thousandths; of a predicted quantity that of the draw on which the asked chance turns. `sd`: error of the
    reading, of a predicted quantity the spread of its draws (one SD). `asks` are the findings that are missing.
    """

    state: State
    sentence: str
    test: str
    form: Form
    finding: str | None = None
    value: float | str | bool | None = None
    sd: float | None = None
    measured_on: Day | None = None
    method: str | None = None
    margin: float | None = None
    comparison: Comparison | None = None
    threshold: Threshold = None
    subject: str | None = None
    leg: Leg | None = None
    chance: float | None = None
    why_unknown: WhyUnknown | None = None
    asks: tuple[str, ...] = ()
    parts: tuple[Verdict, ...] = ()

    @property
    def scope(self) -> bool:
        """Return whether it tests the diagnosis only: for whom a rule is, which joined sentences leave out."""
        return all(part.scope for part in self.parts) if self.parts else self.form == "diagnosis"

    def leaves(self) -> Iterator[Verdict]:
        """Yield the comparisons at the ends of the tree, in reading order."""
        if not self.parts:
            yield self
        for part in self.parts:
            yield from part.leaves()


def combined_state(form: str, states: Iterable[State]) -> State:
    """Return the state of `all`, `any` or `not` from the states of its parts."""
    given = tuple(states)
    if form == "not":
        return OPPOSITE[given[0]]
    deciding: State = "fails" if form == "all" else "holds"
    return deciding if deciding in given else "unknown" if "unknown" in given else OPPOSITE[deciding]


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


def outward(margin: float) -> float:
    """Round a margin to thousandths away from 0, so that a change of its size surely reaches the threshold."""
    thousandths = round(abs(margin) * 1000, 6)
    return math.copysign(math.ceil(thousandths) / 1000, margin)
