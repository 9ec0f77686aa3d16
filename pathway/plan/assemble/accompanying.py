"""Visits and treatments that go with other stages: the visit before each frame, physiotherapy with it and after it."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from pathway.days import add_months, age_years, in_months
from pathway.plan import model as pm
from pathway.plan.assemble.reasons import reason
from pathway.protocol.model import Accompanying
from pathway.protocol.question import Question
from pathway.protocol.words import lower_first


def accompanying_id(rule: Accompanying, stage: str) -> str:
    """Return the id of what goes with a stage of a plan."""
    return f"{rule.stage}_with_{stage}"


def accompanying_stages(stages: Sequence[pm.PlanStage], question: Question) -> Iterator[pm.PlanStage]:
    """Yield what goes with the dated stages, still to come or lasting beyond the day, as stages of the plan.

    What family or team declined is left out.
    """
    counted: dict[str, int] = {}
    declined = {decision.stage for decision in question.record.decisions if decision.kind == "decline"}
    for rule in question.protocol.accompanying:
        if rule.stage in declined:
            continue
        for leader in stages:
            if leader.kind not in rule.around or rule.number not in (None, leader.number):
                continue
            span = _span(rule, leader)
            # Before a stage that comes sooner than the rule asks, it still comes: as soon as it can.
            if span is None or (leader.begun and (not rule.lasts or span[1] < question.on)):
                continue
            counted[rule.stage] = counted.get(rule.stage, 0) + 1
            yield _one(rule, leader, span, counted[rule.stage], question)


def _joint(rule: Accompanying) -> str:
    return "with" if rule.lasts else "before" if rule.from_months < 0 else "after"


def _span(rule: Accompanying, leader: pm.PlanStage) -> tuple[datetime.date, datetime.date] | None:
    days = {"start": leader.date, "end": leader.end_date}
    first, last = days[rule.from_point], days[rule.until_point]
    if first is None or last is None:
        return None
    return add_months(first, rule.from_months), add_months(last, rule.until_months)


def _one(
    rule: Accompanying, leader: pm.PlanStage, span: tuple[datetime.date, datetime.date], number: int, question: Question
) -> pm.PlanStage:
    kind, on = question.protocol.stage(rule.stage), question.on
    under_way = rule.lasts and span[0] <= on and leader.begun
    day = span[0] if under_way else max(span[0], on)
    last = max(span[1], day)
    end = last if rule.lasts else day
    return pm.PlanStage(
        id=accompanying_id(rule, leader.id),
        kind=kind.id,
        number=number,
        label=f"{kind.label} {_joint(rule)} {lower_first(leader.label)}",
        lane=kind.lane,
        what=kind.what,
        family_words=kind.family_words,
        operation=False,
        status="under_way" if under_way else "later" if day > on else "ready",
        side=leader.side,
        road=leader.road,
        goes_with=leader.id,
        because=(reason(rule, None),),
        date=day,
        end_date=end,
        age_years=round(age_years(question.record.child.date_of_birth, day), 3),
        duration_months=in_months((end - day).days),
        window=None if under_way else pm.DateWindow(earliest=day, latest=day if rule.lasts else last),
        sources=tuple(sorted({*rule.sources, *kind.sources})),
    )
