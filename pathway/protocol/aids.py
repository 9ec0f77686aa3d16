"""Walking aids as the rules ask for them: by the difference of the legs that is there at the time."""

from __future__ import annotations

from collections.abc import Iterator
from math import inf

from pathway.protocol.model import Condition, Protocol

DIFFERENCE = "current_discrepancy_mm"


def aids_by_difference(protocol: Protocol) -> Iterator[tuple[str, float, float]]:
    """Yield the label of each aid with the differences in mm for which it is wanted (from, below), the least first."""
    found = [
        (protocol.stage(rule.stage).label, *bounds)
        for rule in protocol.indications
        if (bounds := _bounds(rule.when)) is not None
    ]
    yield from sorted(found, key=lambda aid: aid[1])


def _bounds(when: Condition) -> tuple[float, float] | None:
    """Return between which differences a condition holds; None where it rests on anything else too."""
    parts = when.all or (when,)
    if any(part.finding != DIFFERENCE for part in parts):
        return None
    low = max((part.at_least for part in parts if part.at_least is not None), default=0.0)
    return low, min((part.below for part in parts if part.below is not None), default=inf)
