"""The judge of what goes with other stages: each has its own visit, in the time that the rules give it."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.days import add_months
from pathway.plan.model import Plan, PlanStage
from pathway.plan.verify.breach import Breach
from pathway.protocol.model import Protocol
from pathway.record import Record

COMING = ("ready", "blocked", "later")


def accompanying_breaches(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    """Yield every lengthening to come without what goes with it, and every such visit out of its time.

    What was declined need not be there.
    """
    shown = {stage.id: stage for stage in plan.stages}
    declined = {decision.stage for decision in record.decisions if decision.kind == "decline"}
    due: set[str] = set()
    for rule in protocol.accompanying:
        if rule.stage in declined:
            continue
        for stage in plan.stages:
            if stage.date is None or stage.kind not in rule.around or rule.number not in (None, stage.number):
                continue
            name = f"{rule.stage}_with_{stage.id}"
            due.add(name)
            if name not in shown and stage.status in COMING:
                yield Breach(rule.id, stage.id, f"{stage.id} has no {rule.stage} with it")
            elif name in shown:
                yield from _in_time(shown[name], stage, plan, protocol)
    for stage in plan.stages:
        if protocol.stage(stage.kind).role == "accompanying" and stage.id not in due:
            yield Breach("accompanying", stage.id, f"{stage.id} goes with no stage that has a date")


def _in_time(visit: PlanStage, stage: PlanStage, plan: Plan, protocol: Protocol) -> Iterator[Breach]:
    rule = next(item for item in protocol.accompanying if item.stage == visit.kind and stage.kind in item.around)
    days = {"start": stage.date, "end": stage.end_date}
    first, last = days[rule.from_point], days[rule.until_point]
    if visit.date is None or visit.end_date is None or first is None or last is None:
        yield Breach(rule.id, visit.id, f"{visit.id} has no day")
        return
    low, high = add_months(first, rule.from_months), add_months(last, rule.until_months)
    if visit.date < low or visit.end_date > max(high, plan.on):
        text = f"{visit.id} on {visit.date} to {visit.end_date} lies outside {low} to {high}"
        yield Breach(rule.id, visit.id, text)
    if visit.status != "under_way" and visit.date < plan.on:
        yield Breach(rule.id, visit.id, f"{visit.id} on {visit.date} lies before the day of the plan")
