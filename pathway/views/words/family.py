"""The plan in plain words for a family: what happens when, how long, what school and home need, how sure it is.

Every sentence is made of what the plan says; no codes, no words of the trade. What a stage is stands in the
rules (`family_words`).
"""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

from pathway.days import age_words
from pathway.plan.beyond import family_words
from pathway.plan.model import Plan, PlanStage, Quantiles
from pathway.plan.of_100 import of_100
from pathway.preferences import PROSTHETIC_COURSE
from pathway.protocol.words import lower_first
from pathway.views.data.shapes import FamilyPart, FamilyPrinted
from pathway.views.words import family_roads, firmness, roads
from pathway.views.words.caution import caution
from pathway.views.words.family_terms import MOST_QUESTIONS
from pathway.views.words.plan import cm_words
from pathway.views.words.wording import wording

MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


@dataclass(frozen=True, slots=True)
class Part:
    """A heading with its sentences; `stage` is the stage it speaks of, where it speaks of one."""

    heading: str
    sentences: tuple[str, ...]
    stage: str | None = None


def family_parts(plan: Plan) -> tuple[Part, ...]:
    """Return the plan in plain words, from today to the end of growth."""
    return tuple(_parts(plan))


def family_text(plan: Plan, width: int = 72) -> str:
    """Return the same as text of at most `width` columns, with room between the parts."""
    lines = ["The plan in plain words", *textwrap.wrap(caution(plan), width)]
    for part in family_parts(plan):
        lines += ["", "", part.heading, ""]
        for sentence in part.sentences:
            lines += textwrap.wrap(sentence, width - 2, initial_indent="  ", subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def family_data(plan: Plan) -> FamilyPrinted:
    """Return the same as data for other programs."""
    parts = tuple(FamilyPart(heading=p.heading, sentences=p.sentences, stage=p.stage) for p in family_parts(plan))
    return FamilyPrinted(child=plan.child.id, on=plan.on, parts=parts, caution=plan.cautions[0].text)


def _parts(plan: Plan) -> Iterator[Part]:
    yield Part("Where we are today", tuple(_today(plan)))
    if plan.conflicts:
        yield Part("No plan yet", ("Two rules do not fit together for your child. The team will sort this out.",))
        return
    both = plan.child.affected_side == "both"
    if both:
        yield Part(wording().say("both_legs.title"), tuple(_both_legs(plan)))
    elif family_roads.two_ways(plan):
        yield from _ways(plan)
    else:
        yield Part("What the plan wants", tuple(_goal(plan)))
    if plan.firmness.close_call:
        day = plan.firmness.decide_on.on if plan.firmness.decide_on is not None else None
        yield Part("What is not decided yet", tuple(firmness.for_family(plan, "" if day is None else _month(day))))
    past = [s for s in plan.stages if s.status == "done"]
    if past:
        yield Part("What is done", tuple(f"{stage.family_words}{_when(stage)}" for stage in past))
    to_come = [s for s in plan.stages if s.date is not None and s.status not in ("done", "optional")]
    to_come = [stage for stage in to_come if not _helps_now(plan, stage)]
    to_come.sort(key=lambda stage: (stage.date or plan.on, not stage.operation))
    # A lengthening is what is done with a device.
    lengthened = frozenset(s.id for s in to_come if s.device is not None)
    if not both and roads.road_is_open(plan) and any(stage.road == "lengthening" for stage in to_come):
        yield Part("Step by step", ("These are the steps to come, with those for a longer leg.",))
    last = ""
    for day, group in groupby(to_come, key=lambda stage: stage.date or plan.on):
        stages = tuple(group)
        heading = _heading(plan, day, stages[0])
        words = tuple(_step(stages, lengthened))
        yield Part(f"Later in {_month(day)}" if heading == last else heading, words, stages[0].id)
        last = heading
    steps = tuple(family_roads.artificial_steps(plan, wording()))
    if steps and not family_roads.two_ways(plan):
        yield _artificial(plan)
    if plan.open_questions:
        yield Part("What we still need to know", tuple(_questions(plan)))
    yield Part("How sure are we?", tuple(_sure(plan)))
    yield Part("What you can do", tuple(_do()))


def _ways(plan: Plan) -> Iterator[Part]:
    """Yield the two ways in equal detail: how they stand, then what each is and asks for."""
    words = wording()
    yield Part(words.say("roads.title"), tuple(family_roads.how_they_stand(plan, words)))
    if roads.road_is_open(plan):
        said = _goal(plan, "This way aims", "With this way")
        yield Part(words.say("roads.longer_title"), (*said, words.say("roads.longer_shown")))
    elif _other_way(plan):
        yield Part(words.say("roads.longer_title"), (*_natural(plan), *family_roads.longer_leg(plan, words)))
    else:
        yield Part("What the plan wants", tuple(_goal(plan)))
    if roads.prosthetic_stages(plan):
        yield _artificial(plan)


def _artificial(plan: Plan) -> Part:
    words = wording()
    told = (text for _, text in family_roads.artificial_steps(plan, words))
    return Part(words.say("roads.artificial_title"), (*family_roads.artificial_leg(words), *told))


def _other_way(plan: Plan) -> bool:
    """Return whether the plan does not simply go the way of a longer leg."""
    course = plan.recommended
    return roads.road_is_open(plan) or (course is not None and course.id == PROSTHETIC_COURSE)


def _natural(plan: Plan) -> tuple[str, ...]:
    at = plan.growth.at_maturity
    if at is None:
        return ()
    return (
        f"With no more operations the leg would end about {_cm(at.discrepancy_mm.p50)} shorter.",
        f"It may be {_span(at.discrepancy_mm)}.",
    )


def _both_legs(plan: Plan) -> Iterator[str]:
    words = wording()
    yield words.say("both_legs.aims")
    yield words.say("both_legs.no_guess")
    if told := family_roads.not_planned(plan, words):
        yield told


def _today(plan: Plan) -> Iterator[str]:
    child = plan.child
    side = "Both legs are affected" if child.affected_side == "both" else f"The {child.affected_side} leg is treated"
    yield f"Your child is {_age(child.age_years)} old. {side}."
    measured = plan.growth.measured
    if measured and child.affected_side == "both":
        yield f"On {_day(measured[-1].date)} the two legs were {_cm(measured[-1].discrepancy_mm)} apart."
    elif measured:
        yield f"On {_day(measured[-1].date)} the leg was {_cm(measured[-1].discrepancy_mm)} shorter than the other."
    else:
        yield "Nobody has measured how long the legs are. That comes first."
    for stage in plan.stages:
        if _helps_now(plan, stage):
            yield f"What helps now: {lower_first(stage.family_words)}"


def _helps_now(plan: Plan, stage: PlanStage) -> bool:
    due = stage.date is not None and stage.date <= plan.on
    return due and stage.status in ("ready", "under_way") and not stage.operation and stage.lane == "checks"


def _goal(plan: Plan, aims: str = "The plan aims", having: str = "With the plan") -> Iterator[str]:
    course = plan.recommended
    yield from _natural(plan)
    if course is None:
        yield "We do not know enough yet to say which way is best."
        return
    if course.residual_mm is None:
        return
    left = course.median_residual_mm
    end = f"{aims} for legs of equal length" if abs(left) < 5 else f"{having} it ends {_ends(left)}"
    yield f"{end} when your child is grown up."
    yield f"It takes {_count(course.burden.operations, 'operation')} in all, if every step works."
    more = round(course.usually.unplanned_operations) if course.usually is not None else 0
    if more:
        come = "comes" if more == 1 else "come"
        yield f"On average about {_count(more, 'more operation')} {come} that nobody planned."
    if course.burden.device_months >= 1:
        yield _device_time(plan, _count(round(course.burden.device_months), "month"))
    if course.burden.adult_height_lost_mm >= 1:
        yield f"Your child will then be about {_cm(course.burden.adult_height_lost_mm)} shorter as an adult."


def _device_time(plan: Plan, months: str) -> str:
    """Say how long devices stay: frames, or nails that nobody sees."""
    stays = {stage.device.stays for stage in plan.stages if stage.device is not None and stage.status != "done"}
    if stays == {True}:
        return f"For {months} in all a nail inside the bone is at work. There is no frame."
    if stays == {True, False}:
        return f"For {months} in all there is a frame on the bone, or a nail inside it."
    return f"For {months} in all there is a frame or a rod on the bone."


def _heading(plan: Plan, day: datetime.date, stage: PlanStage) -> str:
    age = f", {_age(stage.age_years)} old" if stage.age_years is not None else ""
    return f"Now{age}" if day <= plan.on else f"{MONTHS[day.month - 1]} {day.year}{age}"


def _step(stages: tuple[PlanStage, ...], lengthened: frozenset[str]) -> Iterator[str]:
    yield from dict.fromkeys(stage.family_words for stage in stages)
    operations = [stage for stage in stages if stage.operation]
    if len(operations) > 1:
        yield "This is done in one go, with one anaesthetic."
    healing = [round(s.duration_months) for s in operations if s.duration_months and s.amount_mm is None]
    for stage in stages:
        if stage.id in lengthened:
            yield from _lengthening(stage)
    if healing and not any(stage.id in lengthened for stage in stages):
        yield f"Getting well takes about {_count(max(healing), 'month')}."
    blocked = [stage for stage in stages if stage.status == "blocked"]
    if any(stage.past_usual is not None for stage in stages):
        yield "This is later than it is usually done. Ask your team what that means."
    if blocked:
        yield "Something must be sorted out first. The team will tell you what."


def _lengthening(stage: PlanStage) -> Iterator[str]:
    months = round(stage.duration_months or 0)
    if stage.amount_mm is not None:
        yield f"The leg gets about {_cm(stage.amount_mm)} longer."
    if seen := family_words(stage):
        yield "That is more than the careful limits for one step. This is what is known about it:"
        yield from seen
        yield "Ask your team why this step is so large."
    if stage.duration_range_months is not None:
        low, high = (round(value) for value in stage.duration_range_months)
        yield f"How long: about {_count(months, 'month')}. It may take {low} to {high} months."
    elif months:
        yield f"How long: about {_count(months, 'month')}."
    yield "At home: exercises every day. Plan time for them, and for many visits."
    if stage.date is not None and stage.end_date is not None:
        yield f"At school: your child cannot do everything from {_month(stage.date)} to {_month(stage.end_date)}."
        yield "Talk to the school well before that."


def _questions(plan: Plan) -> Iterator[str]:
    yield "Some things were not measured yet, or too long ago:"
    for question in plan.open_questions[:MOST_QUESTIONS]:
        by = f", needed by {_day(question.by)}" if question.by and question.by > plan.on else ""
        leg = f" ({question.side} leg)" if question.side else ""
        yield f"{question.family_words[0].upper()}{question.family_words[1:]}{leg}{by}."
    more = len(plan.open_questions) - MOST_QUESTIONS
    if more > 0:
        yield f"And {more} more. Your team knows which tests come next."


def _sure(plan: Plan) -> Iterator[str]:
    course = plan.recommended
    if course is not None and course.chance_within_20_mm is not None and course.chance_within_10_mm is not None:
        start = "take the way of a longer leg" if roads.road_is_open(plan) else "start with this plan"
        yield f"Think of 100 children like yours who {start}. Later steps are decided again at each visit."
        yield f"In about {_of_100(course.chance_within_20_mm)} the legs end less than 2 cm apart."
        yield f"In about {_of_100(course.chance_within_10_mm)} they end less than 1 cm apart."
        if course.lengthenings_needed:
            counted = of_100({item.lengthenings: item.share for item in course.lengthenings_needed})
            told = [_have(count, number) for number, count in counted.items() if count]
            yield f"To make the leg longer, {', '.join(told)}. Some stop early."
    yield "No date is fixed. Every visit can move it, because no child grows as the tables say."
    yield "Problems on the way are common. Ask the team which ones, and what they do about them."


def _do() -> Iterator[str]:
    yield "Ask about anything that is not clear. You may ask more than once."
    yield "Tell the team what matters most to you. There is more than one way, and you may choose."
    yield "You may ask another team what they think."


def _have(children: int, number: int) -> str:
    verb = "has" if children == 1 else "have"
    return f"{children} {verb} {_count(number, 'lengthening') if number else 'none'}"


def _of_100(share: float) -> str:
    return f"{100 * share:.0f}"


def _when(stage: PlanStage) -> str:
    return f" ({_month(stage.date)})" if stage.date is not None else ""


def _month(day: datetime.date) -> str:
    return f"{MONTHS[day.month - 1]} {day.year}"


def _day(day: datetime.date) -> str:
    return f"{day.day} {_month(day)}"


def _age(age: float) -> str:
    words = age_words(age).split()
    names = {"y": "year", "m": "month"}
    pairs = zip(words[::2], words[1::2], strict=True)
    return " and ".join(f"{number} {names[unit]}{'' if number == '1' else 's'}" for number, unit in pairs)


def _count(number: int, what: str) -> str:
    word = COUNTS[number] if number < len(COUNTS) else str(number)
    return f"{word} {what}{'' if number == 1 else 's'}"


def _cm(mm: float) -> str:
    return cm_words(abs(mm))


def _ends(mm: float) -> str:
    return f"about {_cm(mm)} {'shorter' if mm > 0 else 'longer'} than the other leg"


def _span(spread: Quantiles) -> str:
    return f"anything from {cm_words(spread.p05)} to {cm_words(spread.p95)}"
