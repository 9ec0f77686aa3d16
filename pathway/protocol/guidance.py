"""Rules that guide and do not schedule: goals, follow-up, companions, implants at hand, disagreements of sources."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from pathway.protocol.base import Condition, Provenance, Rule, Strength
from pathway.record import Frozen


class Goal(Rule):
    """What a stage, or the whole treatment, is to reach.

    `when` says at which moment it is looked at and `target` what is wanted, in words; `requires` is the same
    as a test on findings where it can be tested.
    """

    stage: str | None = None
    when: str
    target: str
    requires: Condition | None = None


class FollowUp(Rule):
    """Visits around a stage: every so many months, until so many months after its end or without an end.

    `when` limits it to children with these findings; None means every child with the stage.
    """

    stage: str
    text: str
    every_months: int
    until_months: int | None = None
    when: Condition | None = None


class Companion(Rule):
    """A condition that is seen with a diagnosis: how often (percent, least and most printed), what to look for."""

    diagnoses: tuple[str, ...] = Field(min_length=1)
    label: str
    look_for: str
    share_low_percent: float | None = None
    share_high_percent: float | None = None


class Implant(Rule):
    """A fixed-angle implant at hand: angle between blade or screw and shaft, and the lengths it comes in (mm)."""

    label: str
    design: Literal["blade_plate", "screw_plate"]
    angle_deg: float = Field(gt=0, lt=180)
    lengths_mm: tuple[float, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _lengths(self) -> Implant:
        if min(self.lengths_mm) <= 0:
            raise ValueError("the lengths of an implant are mm above 0")
        return self


class View(Frozen):
    """One side of a disagreement: the value as its sources print it, and how it is known here."""

    value: str
    sources: tuple[str, ...] = Field(min_length=1)
    provenance: Provenance = "read"
    strength: Strength = "expert_opinion"


class Disagreement(Frozen):
    """Sources that contradict each other: every side stands, `followed` says which one the protocol takes.

    `followed` repeats the value of a side, or is `neither`; `rules` are the ids of what was written by it.
    """

    id: str
    topic: str
    sides: tuple[View, ...] = Field(min_length=2)
    followed: str
    because: str
    rules: tuple[str, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _one_is_followed(self) -> Disagreement:
        values = [side.value for side in self.sides]
        if self.followed not in (*values, "neither"):
            raise ValueError('`followed` repeats the value of one side, or is "neither"')
        if len(set(values)) < len(values):
            raise ValueError("the sides of a disagreement differ")
        return self
