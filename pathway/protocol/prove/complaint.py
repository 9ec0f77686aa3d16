"""A fault found by a proof, before it is known which file the rule stands in."""

from __future__ import annotations

from typing import NamedTuple


class Complaint(NamedTuple):
    """Which rule, what was found (with the counter-example), what is expected, and what to do."""

    rule: str
    found: str
    expected: str
    do: str
