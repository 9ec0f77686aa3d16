"""A course: one whole way to the goal, with its lengthenings, growth arrest, burden and spread."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from pathway.courses.policy.ends import Ends
from pathway.growth import Step
from pathway.preferences import PROSTHETIC_COURSE as PROSTHETIC_COURSE
from pathway.protocol.model import AmountLimit, Bone, Protocol
from pathway.rule_engine.graph import ChildGraph
from pathway.timing.rule_links import Placed

NO_SURGERY = "no_length_surgery"
"""The id of the course without an operation for length."""
PLATES: Mapping[Bone, str] = {"femur": "distal_femur", "tibia": "proximal_tibia"}


@dataclass(frozen=True, slots=True)
class LimitAt:
    """A limit on one lengthening as it stands at that age: `binds` for the lowest of those that bind."""

    rule: AmountLimit
    limit_mm: float
    binds: bool


@dataclass(frozen=True, slots=True)
class Lengthening:
    """One chosen lengthening: age, amount, the bone's length before it, and the limits that held.

    `kind` is the stage of the rules, `stage` that with its number.
    """

    stage: str
    kind: str
    bone: Bone
    age_years: float
    amount_mm: float
    bone_mm: float
    limits: tuple[LimitAt, ...]


@dataclass(frozen=True, slots=True)
class Arrest:
    """A chosen growth arrest of the long leg and the correction it is meant to give.

    `last_useful_age_years`: until then closing both knee plates still comes within the goal of the same correction; no
    day but a ramp, worked out from the projection. `sitting` is the lengthening whose sitting it shares: that of its
    start, or with `at_removal` that of the removal of its device.
    """

    stage: str
    age_years: float
    physes: tuple[str, ...]
    effect_mm: float
    last_useful_age_years: float
    sitting: str | None = None
    at_removal: bool = False


@dataclass(frozen=True, slots=True)
class Course:
    """One way to the goal: the path of a policy, what it takes if every step works, and how it usually ends.

    `residual_mm` is the difference at maturity if every step works and growth stays as projected. `ends` says how it
    usually ends; None on a prosthetic pathway, and for a course that someone chose and no policy follows. `points` is
    what it costs on average by the weights of the rules, in planned operations, `gap` what the best other first
    operation costs more (None where there is none or none was asked for); `not_beaten` that no other course has
    both less burden and a better chance.
    """

    id: str
    summary: str
    lengthenings: tuple[Lengthening, ...]
    arrest: Arrest | None
    prosthetic: bool
    within_protocol: bool
    predicted_mm: float
    residual_mm: float
    operations: int
    device_months: float
    months_over: float
    height_lost_mm: float
    points: float = 0.0
    ends: Ends | None = None
    gap: float | None = None
    not_beaten: bool = False
    recommended: bool = False
    lost_because: str = ""

    @property
    def corrections_mm(self) -> float:
        """Return what the operations are meant to take off the difference, mm."""
        return sum(item.amount_mm for item in self.lengthenings) + (self.arrest.effect_mm if self.arrest else 0.0)

    @property
    def steps(self) -> tuple[Step, ...]:
        """Return the course as steps of growth (without the operations already done)."""
        return course_steps(self.lengthenings, self.arrest)


def course_steps(lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> tuple[Step, ...]:
    """Return chosen operations as growth steps; length counts from the operation on."""
    steps = [Step("short", item.bone, item.age_years, adds_mm=item.amount_mm) for item in lengthenings]
    if arrest is not None:
        bones = {plate: bone for bone, plate in PLATES.items()}
        steps += [Step("long", bones[plate], arrest.age_years, stops=(plate,)) for plate in arrest.physes]
    return tuple(steps)


def limits_at(protocol: Protocol, kind: str, age: float, bone_mm: float) -> tuple[LimitAt, ...]:
    """Return every limit on a lengthening of a kind at an age and bone length; the lowest hard one binds."""
    rules = [r for r in protocol.amount_limits if r.stage == kind and r.from_age_years <= age < r.to_age_years]
    values = [r.most_mm if r.most_mm is not None else (r.most_percent or 0.0) / 100 * bone_mm for r in rules]
    lowest = min((mm for rule, mm in zip(rules, values, strict=True) if not rule.warns), default=math.inf)
    return tuple(LimitAt(rule, mm, not rule.warns and mm <= lowest) for rule, mm in zip(rules, values, strict=True))


_COUNT = ("no", "one", "two", "three", "four", "five", "six")


def course_id(lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> str:
    """Return the course's id, made of what it holds: `two_femoral_arrest`."""
    parts = []
    for bone, word in (("femur", "femoral"), ("tibia", "tibial")):
        number = sum(item.bone == bone for item in lengthenings)
        if number:
            parts.append(f"{_COUNT[number]}_{word}")
    if arrest is not None:
        parts.append("arrest")
    return "_".join(parts) if parts else NO_SURGERY


def summary_of(lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> str:
    """Return the course in words."""
    parts = []
    for bone, word in (("femur", "femoral"), ("tibia", "tibial")):
        number = sum(item.bone == bone for item in lengthenings)
        if number:
            parts.append(f"{_COUNT[number]} {word} lengthening{'s' if number > 1 else ''}")
    text = " and ".join(parts) if parts else "no lengthening"
    return f"{text}, with growth arrest of the other leg" if arrest else f"{text}, no growth arrest"


def placed_stages(graph: ChildGraph, course: Course | None) -> Mapping[str, Placed]:
    """Return the stages that get a date: those planned, and those that the course uses."""
    planned = [item for item in graph.stages if item.state == "planned"]
    placed = {item.id: Placed() for item in planned if item.within_protocol}
    for chosen in course.lengthenings if course else ():
        placed[chosen.stage] = Placed(chosen.age_years, chosen.amount_mm)
        placed |= {follower.id: Placed() for follower in graph.followers(chosen.stage)}
    if course and course.arrest:
        arrest = course.arrest
        placed[arrest.stage] = _placed(arrest, graph)
    return placed


def _placed(arrest: Arrest, graph: ChildGraph) -> Placed:
    sitting = arrest.sitting
    if sitting is not None and arrest.at_removal:
        sitting = next(item.id for item in graph.followers(sitting) if item.stage.operation)
    return Placed(arrest.age_years, same_day_as=sitting)
