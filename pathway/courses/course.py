"""A course: one whole way to the goal, with its lengthenings, growth arrest, burden and spread."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from pathway.courses.policy.ends import Ends
from pathway.growth import Step
from pathway.preferences import PROSTHETIC_COURSE as PROSTHETIC_COURSE
from pathway.protocol.model import AmountLimit, Bone, Protocol
from pathway.rule_engine.graph import ChildGraph, StageItem
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

    `kind` is the stage of the rules, `stage` that with its number. `device` is None for the usual one of the bone;
    `grown_from_years` the age from which the bone hardly grows, where it starts after that.
    """

    stage: str
    kind: str
    bone: Bone
    age_years: float
    amount_mm: float
    bone_mm: float
    limits: tuple[LimitAt, ...]
    device: str | None = None
    grown_from_years: float | None = None


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
    both less burden and a better chance. `programme` is the id of the programme of print that it is the best course of,
    or "".
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
    programme: str = ""

    @property
    def only_of_print(self) -> bool:
        """Return whether it stands beside the others only as what a programme of print comes to."""
        return bool(self.programme) and self.id == self.programme

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


def limits_at(
    protocol: Protocol, kind: str, age: float, bone_mm: float, off: frozenset[str] = frozenset()
) -> tuple[LimitAt, ...]:
    """Return every limit on a lengthening of a kind at an age and bone length; the lowest hard one binds.

    `off` are those that are none for this child.
    """
    own = [rule for rule in protocol.amount_limits if rule.stage == kind and rule.id not in off]
    rules = [rule for rule in own if rule.from_age_years <= age < rule.to_age_years]
    values = [r.most_mm if r.most_mm is not None else (r.most_percent or 0.0) / 100 * bone_mm for r in rules]
    lowest = min((mm for rule, mm in zip(rules, values, strict=True) if not rule.warns), default=math.inf)
    return tuple(LimitAt(rule, mm, not rule.warns and mm <= lowest) for rule, mm in zip(rules, values, strict=True))


COUNT = ("no", "one", "two", "three", "four", "five", "six")
"""The numbers of lengthenings as ids and summaries of courses have them."""


def course_id(lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> str:
    """Return the course's id, made of what it holds: `two_femoral_arrest`."""
    parts = []
    for bone, word in (("femur", "femoral"), ("tibia", "tibial")):
        number = sum(item.bone == bone for item in lengthenings)
        if number:
            parts.append(f"{COUNT[number]}_{word}")
    if arrest is not None:
        parts.append("arrest")
    return "_".join(parts) if parts else NO_SURGERY


def summary_of(lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> str:
    """Return the course in words."""
    parts = []
    for bone, word in (("femur", "femoral"), ("tibia", "tibial")):
        number = sum(item.bone == bone for item in lengthenings)
        if number:
            parts.append(f"{COUNT[number]} {word} lengthening{'s' if number > 1 else ''}")
    text = " and ".join(parts) if parts else "no lengthening"
    return f"{text}, with growth arrest of the other leg" if arrest else f"{text}, no growth arrest"


def placed_stages(graph: ChildGraph, course: Course | None, protocol: Protocol) -> Mapping[str, Placed]:
    """Return the stages that get a date: those planned, and those that the course uses."""
    chosen_ones = {item.stage for item in course.lengthenings} if course else set()
    planned = [item for item in graph.stages if item.state == "planned" and not _alone(item, graph, chosen_ones)]
    placed = {item.id: Placed() for item in planned if item.within_protocol}
    for chosen in course.lengthenings if course else ():
        placed[chosen.stage] = Placed(
            chosen.age_years, chosen.amount_mm, device=chosen.device, grown_from_years=chosen.grown_from_years
        )
        stays = _stays(chosen, graph, protocol)
        off = (item for item in graph.followers(chosen.stage) if not (stays and item.role == "device_removal"))
        placed |= {follower.id: Placed() for follower in off}
        placed |= {item.id: Placed() for item in graph.removals(chosen.stage) if stays}
    if course:
        placed |= _exchanged(graph, course, protocol)
    if course and course.arrest:
        arrest = course.arrest
        placed[arrest.stage] = _placed(arrest, graph)
    return placed


def _stays(chosen: Lengthening, graph: ChildGraph, protocol: Protocol) -> bool:
    """Return whether the device of a lengthening stays inside the bone and comes out in a stage of its own."""
    device = protocol.usual_device(chosen.bone) if chosen.device is None else protocol.device(chosen.device)
    return device.removal == "own_stage" and bool(graph.removals(chosen.stage))


def _exchanged(graph: ChildGraph, course: Course, protocol: Protocol) -> Mapping[str, Placed]:
    """Return the removals of nails that are done in the sitting in which the bone is lengthened again.

    So where the next lengthening comes within the time in which a nail is taken out.
    """
    within = protocol.number("nail_out_within_months") / 12
    placed: dict[str, Placed] = {}
    for one, other in pairwise_of_bone(course.lengthenings):
        if _stays(one, graph, protocol) and other.age_years - one.age_years <= within:
            placed |= {item.id: Placed(same_day_as=other.stage) for item in graph.removals(one.stage)}
    return placed


def pairwise_of_bone(chosen: tuple[Lengthening, ...]) -> Iterator[tuple[Lengthening, Lengthening]]:
    """Yield each lengthening with the next one of its bone."""
    for bone in dict.fromkeys(item.bone for item in chosen):
        yield from pairwise(item for item in chosen if item.bone == bone)


def _alone(item: StageItem, graph: ChildGraph, chosen: set[str]) -> bool:
    """Return whether a stage is done in the sitting of a lengthening that the course leaves out."""
    shared = [edge for edge in graph.edges_from(item.id) if edge.rule.at_most_months == 0 and edge.rule.together]
    with_step = [graph.stage(edge.later) for edge in shared if graph.stage(edge.later).role == "lengthening"]
    return any(not step.begun and step.id not in chosen for step in with_step)


def _placed(arrest: Arrest, graph: ChildGraph) -> Placed:
    sitting = arrest.sitting
    if sitting is not None and arrest.at_removal:
        sitting = next(item.id for item in graph.followers(sitting) if item.stage.operation)
    return Placed(arrest.age_years, same_day_as=sitting)
