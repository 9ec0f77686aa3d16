"""Decisions of family and team as the record after them and one sentence."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from typing import Literal

from pathway.plan.model import Course, Plan
from pathway.questions.what_if import WhatIf, differences, with_wishes
from pathway.record import Decision, Record

Who = Literal["family", "team"]


def choose_course(record: Record, course: Course, reason: str, by: Who, on: datetime.date) -> tuple[str, Record]:
    """Return the sentence and the record in which a course is chosen."""
    made = Decision(date=on, by=by, kind="choose_course", reason=reason, course=course.id)
    kept = [d for d in record.decisions if not (d.kind == "choose_course" and d.date == on)]
    ordered = sorted((*kept, made), key=lambda decision: decision.date)
    after = record.model_copy(update={"decisions": tuple(ordered)})
    return f"The {by} chose {course.summary}, because: {reason}", after


def keep_wishes(record: Record, asked: WhatIf, reason: str, by: Who, on: datetime.date) -> tuple[str, Record]:
    """Return the sentence and the record in which wishes are kept; a course chosen before no longer counts."""
    wished = with_wishes(record, asked, on)
    known = set(record.decisions)
    told = [d if d in known else d.model_copy(update={"by": by, "reason": reason}) for d in wished.decisions]
    count = len([d for d in wished.decisions if d not in known])
    words = "a wish" if count == 1 else f"{count} wishes"
    return f"The {by} keeps {words}, because: {reason}", wished.model_copy(update={"decisions": tuple(told)})


def beside(plan: Plan, course: Course) -> Iterator[str]:
    """Yield how a course differs from the one recommended now, one sentence each."""
    now = plan.recommended
    if now is None or now.id == course.id:
        yield "This is the course that the plan follows now."
        return
    others = tuple(other.model_copy(update={"recommended": other.id == course.id}) for other in plan.alternatives)
    yield from differences(plan, plan.model_copy(update={"alternatives": others}))
