"""Rules that guide and do not schedule: goals, follow-up, companions, implants, what sources show, disagreements."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from pathway.protocol.base import Condition, Provenance, Rule, Sourced, Strength
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

    `when` limits it to children with these findings; None means every child with the stage. `family_words` say what
    the visits are for in plain words.
    """

    stage: str
    text: str
    family_words: str | None = None
    every_months: int
    until_months: int | None = None
    when: Condition | None = None


class Accompanying(Rule):
    """A visit or treatment that goes with other stages, such as the visit before each frame.

    It is of the kind `stage` and comes once with each dated stage of the kinds in `around` (only with that `number`
    where one is named): from `from_months` after its start or end (`from_point`; negative for before) until
    `until_months` after `until_point`. It takes a day in that time, or with `lasts` the whole of it.
    """

    stage: str
    around: tuple[str, ...] = Field(min_length=1)
    number: int | None = None
    from_point: Literal["start", "end"] = "start"
    from_months: int
    until_point: Literal["start", "end"] = "start"
    until_months: int
    lasts: bool = False


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


class Evidence(Sourced):
    """What a source really shows of one quantity: in whom, how many, and what a rule may say of it.

    `directness`: of lengthened limbs with this condition (`direct`), of such limbs not lengthened or of others
    lengthened (`near`), of other joints or bones (`far`), or of nobody counted (`opinion`).
    """

    id: str
    quantity: str
    found: str
    population: str
    counts: str = ""
    directness: Literal["direct", "near", "far", "opinion"]
    may_say: str


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
