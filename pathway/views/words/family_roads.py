"""The two ways in a family's words: how they stand and why, what each asks for, when its steps usually come."""

from __future__ import annotations

import re
from collections.abc import Iterator

from pathway.plan.model import Course, Plan, PlanStage, Reason
from pathway.preferences import PROSTHETIC_COURSE
from pathway.views.words import roads
from pathway.views.words.family_terms import many, name_of, what_of
from pathway.views.words.wording import Wording

_COUNT = re.compile(r"(\d+) of (\d+)")
"""How rules print a count; the words for families take the numbers from there, so that they stand in one place."""


def two_ways(plan: Plan) -> bool:
    """Return whether there is more to tell than a longer leg: another way, or that no way is known yet."""
    return plan.roads is not None and plan.child.affected_side != "both"


def how_they_stand(plan: Plan, words: Wording) -> Iterator[str]:
    """Yield that there are two ways, how they stand to each other, the reasons with their counts, and who decides."""
    if plan.roads is None:
        return
    if plan.roads.stands != "not_known":
        yield words.say("roads.intro")
    asked = plan.roads.chosen
    yield words.say(f"roads.asked_{asked}" if asked else f"roads.{plan.roads.stands}")
    for item in plan.roads.because:
        if text := _ground(item, words):
            yield text
    yield words.say("roads.decide")


def longer_leg(plan: Plan, words: Wording) -> Iterator[str]:
    """Yield what the way of a longer leg would take, where it is not the way that the plan goes."""
    course = _longer(plan)
    dated = any(stage.road == "lengthening" and stage.date is not None for stage in roads.other_stages(plan))
    told = course.expected if course is not None else None
    if course is not None and told is not None:
        number = round(told.operations.mean)
        if number == 1:
            yield words.say("roads.longer_takes_one")
        elif number:
            yield words.say("roads.longer_takes", operations=many(number, words))
        if told.device_months.mean >= 1:
            yield words.say("roads.longer_frame", months=round(told.device_months.mean))
        if not course.recommended:
            yield words.say("roads.longer_chance", chance=round(100 * told.chance_within_20_mm))
    yield words.say("roads.longer_shown" if dated else "roads.longer_none")


def artificial_leg(words: Wording) -> Iterator[str]:
    """Yield what the way of an artificial leg is, before its steps."""
    yield words.say("roads.artificial")
    yield words.say("roads.artificial_steps")


def artificial_steps(plan: Plan, words: Wording) -> Iterator[tuple[PlanStage, str]]:
    """Yield each step of that way in its usual order with its name, what it is, and its usual age in words."""
    for stage in roads.prosthetic_stages(plan):
        what = words.inner(what_of(stage, words))
        text = f"{name_of(stage.kind, words, stage.label)} ({_ages(plan, stage, words)}): {what}"
        yield stage, text


def not_planned(plan: Plan, words: Wording) -> str:
    """Return in one sentence which treatments are not planned where both legs are affected, or ""."""
    treated = [item for item in plan.refused if not _is_visit(item.stage, words)]
    names = [name_of(item.stage, words, item.label) for item in treated]
    steps = ", ".join(words.inner(name) for name in dict.fromkeys(names))
    return words.say("both_legs.refused", steps=steps) if steps else ""


def _is_visit(kind: str, words: Wording) -> bool:
    key = f"stages.{kind}.care"
    return words.has(key) and words.say(key) == "visit"


def _longer(plan: Plan) -> Course | None:
    """Return the first course that makes the leg longer, as the plan ranks them."""
    return next((course for course in plan.alternatives if course.id != PROSTHETIC_COURSE), None)


def _ground(item: Reason, words: Wording) -> str:
    """Return the words for a reason with its counts; "" where there are none, or the rule prints no count for them."""
    key = f"grounds.{item.rule}"
    if not words.has(key):
        return ""
    count = _COUNT.search(item.text)
    if count is None:
        text = words.say(key)
        return "" if "{" in text else text
    return words.say(key, some=count[1], all=count[2])


def _ages(plan: Plan, stage: PlanStage, words: Wording) -> str:
    if stage.past_usual is not None:
        return words.say("roads.past")
    months = roads.window_months(plan, stage)
    if months is None:
        return words.say("roads.no_age")
    low, high = months
    if high is None:
        ages = words.say("roads.from_on", low=_age(low, words))
    elif low == high:
        ages = _age(low, words)
    elif high <= roads.MONTHS_TOLD_UP_TO or (low % 12 == 0 and high % 12 == 0 and low > roads.MONTHS_TOLD_UP_TO):
        unit = "months" if high <= roads.MONTHS_TOLD_UP_TO else "years"
        each = 1 if unit == "months" else 12
        ages = words.say(
            f"roads.{unit}", count=high // each, number=words.say("roads.span", low=low // each, high=high // each)
        )
    else:
        ages = words.say("roads.span", low=_age(low, words), high=_age(high, words))
    return words.say("roads.usual", ages=ages)


def _age(months: int, words: Wording) -> str:
    """Return an age as exact as a family needs it: months in the first two years, then completed years."""
    if months <= roads.MONTHS_TOLD_UP_TO:
        return words.say("roads.months", count=months, number=months)
    years = months // 12
    return words.say("roads.years", count=years, number=years)
