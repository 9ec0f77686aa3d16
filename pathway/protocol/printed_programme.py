"""The shape of a programme as a school prints or teaches it: limits that a course is worked out within."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from pathway.protocol.base import Rule
from pathway.record import Frozen


class PrintedStep(Frozen):
    """The limits of one lengthening: the `number`th of its stage; without a number every one without its own.

    Ages and amounts are as printed, both ends included. `devices` are those that it is done with, any where none is
    named.
    """

    stage: str
    number: int | None = Field(default=None, ge=1)
    from_age_years: float = Field(default=0.0, ge=0)
    to_age_years: float | None = None
    least_mm: float = Field(default=0.0, ge=0)
    most_mm: float | None = None
    devices: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _in_order(self) -> PrintedStep:
        if self.to_age_years is not None and self.to_age_years <= self.from_age_years:
            raise ValueError("a lengthening has its younger age first")
        if self.most_mm is not None and self.most_mm < self.least_mm:
            raise ValueError("a lengthening has its smaller amount first")
        return self


class PrintedProgramme(Rule):
    """One programme of print, as limits within which the best course is worked out. None is chosen by the program.

    It is meant for children with one of `diagnoses` whose predicted difference lies in `predicted_mm` and, where
    `start_age_years` is given, whose treatment begins at such an age. A lengthening for which no step is printed is
    not part of it; of those of the treatment, those done before today counted, it has `most_lengthenings` at most.
    `growth_arrest`: whether one may be part of it. A programme of the prosthetic road has `road = "prosthetic"` and
    stands for its course. `rules_out` says what it leaves no way to.
    """

    label: str
    family_words: str
    diagnoses: tuple[str, ...] = Field(min_length=1)
    road: Literal["lengthening", "prosthetic"] = "lengthening"
    predicted_mm: tuple[float, float] | None = None
    start_age_years: tuple[float, float] | None = None
    steps: tuple[PrintedStep, ...] = ()
    most_lengthenings: int = Field(ge=0)
    growth_arrest: bool
    rules_out: str
    needs: str = ""

    @model_validator(mode="after")
    def _fits_together(self) -> PrintedProgramme:
        for span in (self.predicted_mm, self.start_age_years):
            if span is not None and span[0] >= span[1]:
                raise ValueError("a span has its lower end first")
        if bool(self.steps) != bool(self.most_lengthenings):
            raise ValueError("a programme with lengthenings has a step for them, one without has none")
        named = [(step.stage, step.number) for step in self.steps]
        if len(set(named)) < len(named):
            raise ValueError("each lengthening is printed once")
        if self.road == "prosthetic" and (self.steps or self.growth_arrest):
            raise ValueError("the prosthetic road has no lengthening and no growth arrest of the long leg")
        return self

    @property
    def nothing(self) -> bool:
        """Return whether it is to do nothing more for length."""
        return self.road == "lengthening" and not self.most_lengthenings and not self.growth_arrest

    @property
    def stages(self) -> tuple[str, ...]:
        """Return the stages of the rules that it lengthens by, each once."""
        return tuple(dict.fromkeys(step.stage for step in self.steps))

    @property
    def devices(self) -> tuple[str, ...]:
        """Return the devices that its steps name, each once."""
        return tuple(dict.fromkeys(name for step in self.steps for name in step.devices))

    def is_meant_for(self, diagnosis: str, predicted_mm: float, start_age_years: float) -> bool:
        """Return whether it is meant for a child: its diagnosis, what is predicted, and when its treatment begins."""
        low, high = self.predicted_mm or (float("-inf"), float("inf"))
        first, last = self.start_age_years or (0.0, float("inf"))
        meant = low <= predicted_mm <= high and first <= start_age_years <= last
        return diagnosis in self.diagnoses and meant

    def step_of(self, stage: str, number: int) -> PrintedStep | None:
        """Return the limits of the `number`th lengthening of a stage; None where it is not part of it."""
        own = {step.number: step for step in self.steps if step.stage == stage}
        return own.get(number, own.get(None))
