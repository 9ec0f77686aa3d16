"""What the judge says: a rule that a plan breaks, and where."""

from __future__ import annotations

from dataclasses import dataclass

TOLERANCE_MM = 1.0
"""By how much sums and limits may be off by rounding before the judge speaks."""


@dataclass(frozen=True, slots=True)
class Breach:
    """A rule that the plan breaks, at which stage, in words."""

    rule: str
    stage: str
    sentence: str
