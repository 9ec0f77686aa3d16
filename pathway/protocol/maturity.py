"""The shape of a way of reading a skeletal age."""

from __future__ import annotations

from pydantic import model_validator

from pathway.protocol.base import Sourced
from pathway.record import Sex


class SkeletalMethod(Sourced):
    """A way of reading a skeletal age.

    `sd_value` names the value with the error of one reading (one SD, years), `girls` and `boys` the skeletal ages in
    years at which there is something to read, `stages` the table that turns a stage into years (first column the
    stage, a column a sex, -1 where the stage has no age), None where years are read at once. The highest reading
    stands for any older age too, the lowest for any younger one where `open_below` says so.
    """

    id: str
    label: str
    sd_value: str
    girls: tuple[float, float]
    boys: tuple[float, float]
    open_below: bool = False
    stages: str | None = None

    @model_validator(mode="after")
    def _in_order(self) -> SkeletalMethod:
        for sex in ("girls", "boys"):
            low, high = getattr(self, sex)
            if not 0 <= low < high:
                raise ValueError(f"`{sex}` are skeletal ages in years, the younger one first")
        return self

    def ages(self, sex: Sex) -> tuple[float, float]:
        """Return the skeletal ages in years between which the method reads in one sex."""
        return self.girls if sex == "girl" else self.boys
