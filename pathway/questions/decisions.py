"""Decisions of family and team as events and one sentence."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Literal

from pathway.events import Correction, Event
from pathway.plan.model import Course, Plan
from pathway.questions.what_if import WhatIf, differences, wishes
from pathway.record import Decision, Record

Who = Literal["family", "team"]


def choose_course(
    record: Record, course: Course, reason: str, by: Who, on: datetime.date
) -> tuple[str, tuple[Event, ...]]:
    """Return the sentence and the events by which a course is chosen: in place of one chosen on the same day."""
    made = Decision(date=on, by=by, kind="choose_course", reason=reason, course=course.id)
    before = [one for one in record.decisions if one.kind == "choose_course" and one.date == on]
    events: tuple[Event, ...] = (*(Correction(one, None) for one in before), made)
    return f"The {by} chose {course.summary}, because: {reason}", events


def keep_wishes(
    record: Record, asked: WhatIf, reason: str, by: Who, on: datetime.date
) -> tuple[str, tuple[Event, ...]]:
    """Return the sentence and the events by which wishes are kept; a course chosen before no longer counts."""
    events = wishes(record, asked, on, by, reason)
    count = sum(isinstance(one, Decision) or one.now is not None for one in events)
    words = "a wish" if count == 1 else f"{count} wishes"
    return f"The {by} keeps {words}, because: {reason}", events


def beside(plan: Plan, course: Course) -> Iterator[str]:
    """Yield how a course differs from the one recommended now, one sentence each."""
    now = plan.recommended
    if now is None or now.id == course.id:
        yield "This is the course that the plan follows now."
        return
    others = tuple(other.model_copy(update={"recommended": other.id == course.id}) for other in plan.alternatives)
    yield from differences(plan, plan.model_copy(update={"alternatives": others}))
