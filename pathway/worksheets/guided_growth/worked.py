"""What the parts of the guided-growth sheet share: the growth, the days, and how far beyond straight a knee may go."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from functools import cached_property

from pathway.days import day_at_age
from pathway.protocol.guidance import FollowUp
from pathway.protocol.roles import role_of
from pathway.worksheets.case import Case
from pathway.worksheets.guided_growth.inputs import GuidedInputs, Judged
from pathway.worksheets.guided_growth.steering import MONTH_YEARS, Growing, growth_for, turned_deg
from pathway.worksheets.joint_angles import norms_ahead

Months = tuple[float | None, float | None, float | None]


@dataclass(frozen=True)
class Worked:
    """A case with its inputs and the growth of the steered plate from the start on."""

    case: Case
    given: GuidedInputs
    growing: Growing
    start: datetime.date
    age: float
    angle: float
    over: float
    width: float
    physis: str

    @property
    def judged(self) -> Judged | None:
        """Return the measured angle beside the norm of its age; None where none was measured."""
        return self.given.judged

    @property
    def goal(self) -> float:
        """Return the target angle (deg)."""
        return self.given.inputs.number("goal_deg")

    @property
    def half(self) -> float:
        """Return half the width of the window shown, months."""
        return self.given.inputs.number("window_months")

    @cached_property
    def straight(self) -> Months:
        """Return months until the target: middle, and 5 and 95 of 100 draws; None where it is never reached."""
        return self.growing.months_until(growth_for(self.angle, self.width))

    @cached_property
    def with_allowance(self) -> Months:
        """Return months until the target and the allowance beyond it."""
        return self.growing.months_until(growth_for(self.angle + self.over, self.width))

    def window(self, of: Months) -> tuple[float, float]:
        """Return the window in months about the middle of such a time: the wider of draws and half width."""
        middle, quick, slow = of
        assert middle is not None
        low = max(min(middle - self.half, quick if quick is not None else middle), 0.0)
        return low, max(middle + self.half, slow if slow is not None else middle)

    def day(self, months: float) -> datetime.date:
        """Return the day so many months after the start."""
        return day_at_age(self.case.record.child.date_of_birth, self.age + months * MONTH_YEARS)

    def turned(self, months: float) -> float:
        """Return by how much the knee has turned after so many months (deg)."""
        return turned_deg(self.growing.grown(months), self.width)

    @cached_property
    def rise(self) -> float | None:
        """Return 1 where the measured angle must rise to the target, -1 where it must fall; None where not measured."""
        if self.judged is None:
            return None
        return 1.0 if self.judged.measured_deg < self.goal else -1.0

    def band_after(self, months: float) -> tuple[float, float] | None:
        """Return the band (deg) about the target so many months after the start; None where none is known.

        It is inside the band of that age and those of later ages, as far as they hold the target: what is normal for a
        small child may lie wholly above it.
        """
        if self.judged is None:
            return None
        age, sex = self.age + months * MONTH_YEARS, self.case.record.child.sex
        ahead = norms_ahead(self.case.protocol, self.judged.angle, age, sex)
        about = [norm for norm in ahead if norm.off_deg(self.goal) == 0]
        if not about:
            return None
        return max(norm.low_deg for norm in about), min(norm.high_deg for norm in about)

    def months_until_past_the_band(self) -> float | None:
        """Return months until the angle leaves the normal band on the other side, the plate left in; None if never."""
        middle = self.straight[0]
        band = None if middle is None else self.band_after(middle)
        if band is None or self.rise is None:
            return None
        room = self.rise * ((band[1] if self.rise > 0 else band[0]) - self.goal)
        return self.growing.months_until(growth_for(self.angle + room, self.width))[0]

    @property
    def past_by_plan(self) -> bool:
        """Return whether the knee, its plate removed with the allowance, is past the normal band on the other side."""
        past, planned = self.months_until_past_the_band(), self.with_allowance[0]
        return self.over > 0 and past is not None and planned is not None and planned > past

    @property
    def visits(self) -> FollowUp | None:
        """Return the protocol's rule of visits while a plate is in place."""
        rules = self.case.protocol.follow_ups
        return next((rule for rule in rules if role_of(rule.stage, self.case.protocol) == "growth_modulation"), None)


def band_words(band: tuple[float, float]) -> str:
    """Return a band (deg) in words: `84.4 to 90.6 deg`."""
    return f"{band[0]:.1f} to {band[1]:.1f} deg"
