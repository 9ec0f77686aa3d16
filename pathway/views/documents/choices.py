"""The choices side by side, in the family's words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pathway.courses.course import NO_SURGERY, PROSTHETIC_COURSE
from pathway.plan.model import Course, Plan, Spread
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.roles import bone_of, role_of
from pathway.views.documents.document import Block, Heading, Paragraph, Table
from pathway.views.words import family_terms as say
from pathway.views.words import roads
from pathway.views.words.wording import Wording

MOST_ROWS = 4
LEAST_HEIGHT_MM = 1
"""Less adult height lost than this is not told."""
LENGTHENED: Mapping[Bone, str] = {"femur": "choices.lengthen_femur", "tibia": "choices.lengthen_tibia"}


def choices(plan: Plan, words: Wording, protocol: Protocol) -> Iterator[Block]:
    """Yield the comparison of the courses; nothing where none could be planned."""
    if not plan.alternatives:
        return
    yield Heading(words.say("choices.title"))
    yield Paragraph(words.say("choices.intro_open" if _none_chosen(plan) else "choices.intro"))
    rows = tuple(row_of(plan, course, words, protocol) for course in chosen(plan))
    head = tuple(words.say(f"choices.{name}") for name in ("choice", "operations", "frame", "left", "chance"))
    yield Table(
        words.say("choices.title"), head, (*rows, *_untreated(plan, words, protocol)), (46, 14, 12, 16, 12), 1, 0
    )
    yield Paragraph(words.say("choices.note"), "small")
    lost = plan.recommended.burden.adult_height_lost_mm if plan.recommended else 0.0
    if lost >= LEAST_HEIGHT_MM:
        yield Paragraph(words.say("choices.height", amount=say.cm(lost, words)))
    if not any(course.id == PROSTHETIC_COURSE for course in chosen(plan)):
        yield Paragraph(words.say("choices.prosthetic_note"))


def chosen(plan: Plan) -> tuple[Course, ...]:
    """Return the courses that the family sees: the plan, an artificial leg, then the best, within the rules first."""
    others = [course for course in plan.alternatives if not course.recommended and course.id != NO_SURGERY]
    order = sorted(others, key=lambda c: (c.id != PROSTHETIC_COURSE, not c.within_protocol, not c.not_beaten))
    first = [course for course in plan.alternatives if course.recommended]
    return (*first, *order)[:MOST_ROWS]


def _none_chosen(plan: Plan) -> bool:
    """Return whether the first row is no more than drawn: no road is chosen, or an artificial leg only comes first."""
    return _first(plan) != "choices.this_plan"


def _first(plan: Plan) -> str:
    """Return how the first row is named: never a plan for an artificial leg that nobody asked for."""
    course = plan.recommended
    if roads.road_is_open(plan):
        return "choices.shown_here"
    asked = plan.roads is not None and plan.roads.chosen == "prosthetic"
    if course is not None and course.id == PROSTHETIC_COURSE and not asked:
        return "choices.talked_first"
    return "choices.this_plan"


def row_of(plan: Plan, course: Course, words: Wording, protocol: Protocol) -> tuple[str, ...]:
    """Return one course as a row of the table."""
    name = course_name(course, words, protocol)
    if course.recommended:
        name = words.say(_first(plan), choice=words.inner(name))
        name = name[:1].upper() + name[1:]
    elif not course.within_protocol:
        name = words.say("choices.outside", choice=name)
    told, left = course.expected, course.residual_mm
    if told is None or left is None:
        return name, *(words.say("choices.no_number") for _ in range(4))
    return (
        name,
        _count(told.operations, words),
        _count(told.device_months, words),
        say.signed(left.p50, words),
        words.number(100 * told.chance_within_20_mm),
    )


def _count(of: Spread, words: Wording) -> str:
    """Return a count as its mean and, where it is one, its range, in whole numbers."""
    low, mean, high = round(of.p05), round(of.mean), round(of.p95)
    return words.number(mean) if low == high else words.say("choices.count", mean=mean, low=low, high=high)


def course_name(course: Course, words: Wording, protocol: Protocol) -> str:
    """Return what a course does, in the family's words."""
    if course.id == PROSTHETIC_COURSE:
        return words.say("choices.prosthetic")
    parts = []
    for kind, count in say.runs(tuple(stage.kind for stage in course.stages)):
        role, bone = role_of(kind, protocol), bone_of(kind, protocol)
        if role == "growth_arrest":
            parts.append(words.say("choices.arrest"))
        elif role == "lengthening" and bone is not None:
            parts.append(words.say(LENGTHENED[bone], count=_times(count, words)))
    if not parts:
        return words.say("choices.none")
    if len(course.stages) == 1 and role_of(course.stages[0].kind, protocol) == "growth_arrest":
        return words.say("choices.arrest_only")
    text = say.joined(tuple(parts), words)
    return text[:1].upper() + text[1:]


def _times(count: int, words: Wording) -> str:
    if count <= 2:
        return words.say("choices.once" if count == 1 else "choices.twice")
    return words.say("choices.times", count=say.many(count, words))


def _untreated(plan: Plan, words: Wording, protocol: Protocol) -> Iterator[tuple[str, ...]]:
    """Yield what happens without an operation for length."""
    at = plan.growth.at_maturity
    none = next((course for course in plan.alternatives if course.id == NO_SURGERY), None)
    if none is not None and none.recommended:
        return
    if none is not None and none.residual_mm is not None:
        yield row_of(plan, none, words, protocol)
    elif at is not None:
        gap, nothing = say.signed(at.discrepancy_mm.p50, words), words.say("choices.no_number")
        yield words.say("choices.none"), nothing, words.number(0), gap, nothing
