"""What the judge says: a rule that a plan breaks, and where."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Breach:
    """A rule that the plan breaks, at which stage, in words."""

    rule: str
    stage: str
    sentence: str
