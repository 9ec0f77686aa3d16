"""What if: the plan again under wishes, compared with the recommended course as it stands.

A wish is a decision like any other, dated on the day of the plan; nothing is saved.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pathway.events import Correction, apply
from pathway.plan.make import make_plan
from pathway.plan.model import Course, Expected, Plan
from pathway.preferences import PREFERENCE_LABELS, ROADS
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.words import lower_first
from pathway.record import Decision, DecisionKind, Record

REASON = "asked: what if"


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What is asked.

    `without` are stages left out, `at_most_lengthenings` how many may still come, `not_in` spans of days without
    a device on the bone, `finish_before` the day by which treatment is to end, `lift_at_most_mm` the highest lift
    wished for, `prefer` names of preferences.
    """

    without: tuple[str, ...] = ()
    at_most_lengthenings: int | None = None
    not_in: tuple[tuple[datetime.date, datetime.date], ...] = ()
    finish_before: datetime.date | None = None
    lift_at_most_mm: float | None = None
    prefer: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return self != WhatIf()


@dataclass(frozen=True, slots=True)
class Answer:
    """The plan as it stands, the plan under the wishes, and the differences of their first courses in words."""

    asked: tuple[str, ...]
    as_it_stands: Plan
    wished: Plan
    differences: tuple[str, ...]


def what_if(question: Question, asked: WhatIf, *, seed: int = 0, compared: bool = True) -> Answer:
    """Return the answer to a what-if question on a day.

    Without `compared` the plan under the wishes holds only its recommended course, which is quicker.
    Raises KeyError for a stage that the protocol does not have, and PlanBreach as `make_plan` does.
    """
    for stage in asked.without:
        question.protocol.stage(stage)
    if not asked:
        plan = make_plan(question, seed=seed)
        return Answer((), plan, plan, ())
    plan = make_plan(question, seed=seed, compared=False)
    wish = question.about(with_wishes(question.record, asked, question.on))
    wished = make_plan(wish, seed=seed, compared=compared)
    return Answer(tuple(_words(asked, question.protocol)), plan, wished, tuple(differences(plan, wished)))


def with_wishes(record: Record, asked: WhatIf, on: datetime.date) -> Record:
    """Return the record with the wishes as decisions of that day; a course chosen before no longer counts."""
    return apply(record, wishes(record, asked, on))


def wishes(
    record: Record, asked: WhatIf, on: datetime.date, by: Literal["family", "team"] = "family", reason: str = REASON
) -> tuple[Decision | Correction, ...]:
    """Return the wishes as decisions of that day, and every course chosen before as taken back."""

    def wish(kind: DecisionKind, **fields: object) -> Decision:
        return Decision.model_validate({"date": on, "by": by, "kind": kind, "reason": reason, **fields})

    def once(kind: DecisionKind, **fields: object) -> Decision | Correction:
        """What can be wished once stands in place of the same wish of that day."""
        made = wish(kind, **fields)
        known = (one for one in reversed(record.decisions) if (one.kind, one.date) == (kind, on))
        return next((Correction(one, made) for one in known), made)

    made: list[Decision | Correction] = [wish("decline", stage=stage) for stage in asked.without]
    made += [wish("no_device", from_date=start, to_date=end) for start, end in asked.not_in]
    made += [wish("prefer", prefer=name) for name in asked.prefer]
    if asked.at_most_lengthenings is not None:
        made.append(once("at_most_lengthenings", number=asked.at_most_lengthenings))
    if asked.finish_before is not None:
        made.append(once("finish_before", before=asked.finish_before))
    if asked.lift_at_most_mm is not None:
        made.append(once("lift_at_most", mm=asked.lift_at_most_mm))
    chosen = (one for one in record.decisions if one.kind == "choose_course")
    return (*made, *(Correction(one, None) for one in chosen))


def differences(plan: Plan, wished: Plan) -> Iterator[str]:
    """Yield how the first course of one plan differs from that of another, one sentence each."""
    one, other = plan.recommended, wished.recommended
    if other is None:
        yield "Under these wishes no course can be planned."
        return
    if one is None:
        yield f"Before, no course could be planned; with this the first choice is: {other.summary}."
        return
    if one == other or (one.id, one.stages) == (other.id, other.stages):
        yield f"The same course stays first: {one.summary}."
        return
    if one.id != other.id:
        yield f"The first choice is then: {other.summary} (instead of: {one.summary})."
    else:
        yield f"The first choice is still: {other.summary}, with different ages or amounts."
    yield from _burden(one, other)
    yield from _result(one, other)


def _burden(one: Course, other: Course) -> Iterator[str]:
    """Yield what one costs more than the other; of a road that is not measured by length only the operations."""
    a, b = one.burden, other.burden
    if one.residual_mm is None or other.residual_mm is None:
        if a.operations != b.operations:
            yield f"{b.operations} operation{'' if b.operations == 1 else 's'} instead of {a.operations}."
        return
    now, then = one.expected, other.expected
    if now is None or then is None:
        return
    for its, mine, unit, digits in (
        (then.operations.mean, now.operations.mean, "operations for length on average", 1),
        (then.device_months.mean, now.device_months.mean, "months with a device on average", 0),
        (then.months_over_50_mm, now.months_over_50_mm, "months with more than 5 cm difference on average", 0),
        (_height_cm(then), _height_cm(now), "cm of adult height lost on average", 1),
    ):
        if round(its, digits) != round(mine, digits):
            yield f"{its:.{digits}f} {unit} instead of {mine:.{digits}f}."


def _height_cm(told: Expected) -> float:
    return 0.0 if told.adult_height_lost_mm is None else told.adult_height_lost_mm.mean / 10


def _result(one: Course, other: Course) -> Iterator[str]:
    if one.residual_mm is None or other.residual_mm is None:
        yield "One of the two is a prosthetic pathway, which is not measured by length."
        return
    then, now = other.residual_mm.p50 / 10, one.residual_mm.p50 / 10
    if round(then, 1) != round(now, 1):
        yield f"At maturity the treated leg is then usually {_side(then)} instead of {_side(now)}."
    for mm, mine, its in (
        (10, one.chance_within_10_mm, other.chance_within_10_mm),
        (20, one.chance_within_20_mm, other.chance_within_20_mm),
    ):
        if mine is not None and its is not None and round(100 * mine) != round(100 * its):
            yield f"Within {mm // 10} cm: about {100 * its:.0f} of 100 instead of {100 * mine:.0f}."


def _side(cm: float) -> str:
    if round(cm, 1) == 0:
        return "as long as the other"
    return f"{abs(cm):.1f} cm {'shorter' if cm > 0 else 'longer'}"


def _words(asked: WhatIf, protocol: Protocol) -> Iterator[str]:
    for stage in asked.without:
        yield f"without {lower_first(protocol.stage(stage).label)}"
    if asked.at_most_lengthenings is not None:
        many = asked.at_most_lengthenings
        yield f"at most {many} further {'lengthening' if many == 1 else 'lengthenings'}"
    for start, end in asked.not_in:
        yield f"no device on the bone from {start} to {end}"
    if asked.finish_before is not None:
        yield f"finished before {asked.finish_before}"
    if asked.lift_at_most_mm is not None:
        yield f"a lift of at most {asked.lift_at_most_mm / 10:g} cm where possible"
    for name in asked.prefer:
        label = PREFERENCE_LABELS[name] if name in ROADS else name.replace("_", " ")
        yield f"preferring {lower_first(label)}"
