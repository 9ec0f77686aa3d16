"""How long both legs are around each step of a plan: what the drawing of the legs is made of.

Every length is one of the plan's own table. Between now and the end the legs stand as the plan has them if every step
works, at the end as its course is told: the middle of its range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby, product
from typing import Literal

from pathway.plan.model import AgePoint, CourseStage, Plan
from pathway.views.drawings.growth import changes_length, natural_end, planned_end

When = Literal["now", "before", "after", "start", "end"]


@dataclass(frozen=True, slots=True)
class Leg:
    """One leg in mm, hip to ankle; thigh and shin where the plan knows them both."""

    whole_mm: float
    thigh_mm: float | None = None
    shin_mm: float | None = None

    def longer(self, mm: float, bone: str | None) -> Leg:
        """Return the leg with one bone longer; the whole leg where the bone is not known."""
        whole = self.whole_mm + mm
        if self.thigh_mm is None or self.shin_mm is None or bone is None:
            return Leg(whole)
        if bone == "femur":
            return Leg(whole, self.thigh_mm + mm, self.shin_mm)
        return Leg(whole, self.thigh_mm, self.shin_mm + mm)

    def of_length(self, whole_mm: float) -> Leg:
        """Return the leg so long, its parts in the shares that they have."""
        part = whole_mm / self.whole_mm
        if self.thigh_mm is None or self.shin_mm is None:
            return Leg(whole_mm)
        return Leg(whole_mm, self.thigh_mm * part, self.shin_mm * part)


@dataclass(frozen=True, slots=True)
class Pair:
    """Both legs at one age; `start` is that of slower growth, after which the legs are as they were."""

    when: When
    age_years: float
    long: Leg
    treated: Leg

    @property
    def gap_mm(self) -> float:
        """Return by how much the treated leg is shorter, mm; below 0 where it is longer."""
        return self.long.whole_mm - self.treated.whole_mm


@dataclass(frozen=True, slots=True)
class Group:
    """The pairs of one sitting side by side, with the operations between them; none now and at the end."""

    pairs: tuple[Pair, ...]
    steps: tuple[CourseStage, ...] = ()


def groups_of(plan: Plan) -> tuple[Group, ...]:
    """Return what is drawn of a plan, in order; nothing where it has no projection."""
    points = plan.growth.by_age
    if not points:
        return ()
    begun = {stage.id for stage in plan.stages if stage.begun}
    course = plan.recommended
    ahead = [s for s in course.stages if s.amount_mm and s.id not in begun] if course is not None else []
    ahead.sort(key=lambda stage: stage.age_years)
    treated = _treated(points[0])
    for stage in ahead:
        # What is done on the very day of the plan stands in its first point already.
        if not stage.physes and stage.age_years <= points[0].age_years:
            treated = treated.longer(-(stage.amount_mm or 0.0), None)
    now = Pair("now", points[0].age_years, _long(points[0]), treated)
    # The table counts a gain from the age of the course on; a family is told the age on the day of the operation.
    told = {stage.id: stage.age_years for stage in plan.stages if stage.age_years is not None}
    around = []
    for age, of_age in groupby(ahead, key=lambda stage: stage.age_years):
        done = tuple(of_age)
        around.append(_around(points, ahead, age, done, told.get(done[0].id, age)))
    return (Group((now,)), *around, Group((_end(plan),)))


def _long(point: AgePoint) -> Leg:
    return _leg(point.long_leg_mm, point.long_femur_mm, point.long_tibia_mm)


def _treated(point: AgePoint) -> Leg:
    return _leg(point.short_leg_mm, point.short_femur_mm, point.short_tibia_mm)


def _leg(whole: float, thigh: float | None, shin: float | None) -> Leg:
    return Leg(whole) if thigh is None or shin is None else Leg(whole, thigh, shin)


def _end(plan: Plan) -> Pair:
    """Return the legs at the end, the gap as it is told of the course, or without an operation for length."""
    last = plan.growth.by_age[-1]
    gap = (planned_end(plan) if changes_length(plan) else natural_end(plan)).p50
    long = _long(last)
    return Pair("end", last.age_years, long, _treated(last).of_length(long.whole_mm - gap))


def _around(
    points: Sequence[AgePoint], ahead: Sequence[CourseStage], age: float, done: tuple[CourseStage, ...], told: float
) -> Group:
    """Return the legs just before and just after a sitting; what slows growth has no legs after it."""
    later = next((k for k, point in enumerate(points) if point.age_years >= age), len(points) - 1)
    first, last = points[max(later - 1, 0)], points[later]
    between = [s for s in ahead if not s.physes and s.age_years <= last.age_years]
    between = [s for s in between if not later or s.age_years > first.age_years]
    bones = _bones(first, last, between)
    bare = _treated(last)
    for stage, bone in zip(between, bones, strict=True):
        bare = bare.longer(-(stage.amount_mm or 0.0), bone)
    wide = last.age_years - first.age_years
    share = min(max((age - first.age_years) / wide, 0.0), 1.0) if wide else 1.0
    treated = _mixed(_treated(first), bare, share)
    for stage, bone in zip(between, bones, strict=True):
        if stage.age_years < age:
            treated = treated.longer(stage.amount_mm or 0.0, bone)
    before = Pair("before", told, _mixed(_long(first), _long(last), share), treated)
    now = [(stage, bone) for stage, bone in zip(between, bones, strict=True) if stage in done]
    if not now:
        return Group((replace(before, when="start"),), done)
    for stage, bone in now:
        treated = treated.longer(stage.amount_mm or 0.0, bone)
    return Group((before, replace(before, when="after", treated=treated)), done)


def _bones(first: AgePoint, last: AgePoint, between: Sequence[CourseStage]) -> Sequence[str | None]:
    """Return which bone each lengthening between two points is of: that in whose length its amount stands.

    Growth between two points is a few mm, an amount some cm. None where the table does not tell.
    """
    before, after = _treated(first), _treated(last)
    if (
        first is last
        or before.thigh_mm is None
        or before.shin_mm is None
        or after.thigh_mm is None
        or after.shin_mm is None
    ):
        return [None] * len(between)
    rises = {"femur": after.thigh_mm - before.thigh_mm, "tibia": after.shin_mm - before.shin_mm}

    def missed(bones: Sequence[str]) -> float:
        gained = dict.fromkeys(rises, 0.0)
        for stage, bone in zip(between, bones, strict=True):
            gained[bone] += stage.amount_mm or 0.0
        return sum(abs(rises[bone] - gained[bone]) for bone in rises)

    return min(product(rises, repeat=len(between)), key=missed)


def _mixed(first: Leg, last: Leg, share: float) -> Leg:
    whole = first.whole_mm + share * (last.whole_mm - first.whole_mm)
    if first.thigh_mm is None or first.shin_mm is None or last.thigh_mm is None or last.shin_mm is None:
        return Leg(whole)
    thigh, shin = last.thigh_mm - first.thigh_mm, last.shin_mm - first.shin_mm
    return Leg(whole, first.thigh_mm + share * thigh, first.shin_mm + share * shin)
