"""The judge on wishes: no device in the days kept free, an end in time, no more lengthenings than wished."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.plan.model import Plan, PlanStage
from pathway.plan.verify.breach import Breach
from pathway.protocol.model import Protocol
from pathway.record import Decision, Record


def wish_breaches(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    """Yield every planned lengthening or growth arrest that goes against a wish in the record."""
    planned = [stage for stage in plan.stages if stage.date is not None and stage.status not in ("done", "under_way")]
    lengthened = [stage for stage in planned if protocol.stage(stage.kind).role == "lengthening"]
    arrests = [stage for stage in planned if protocol.stage(stage.kind).role == "growth_arrest"]
    for decision in record.decisions:
        if decision.kind == "no_device":
            yield from _device_free(decision, lengthened)
    # Of a wish that can be had once, the last one counts.
    last = {decision.kind: decision for decision in record.decisions}
    end, number = last.get("finish_before"), last.get("at_most_lengthenings")
    if end is not None and end.before is not None:
        yield from _finished(end.before, [*lengthened, *arrests])
    if number is not None and number.number is not None and len(lengthened) > number.number:
        text = f"{len(lengthened)} lengthenings are planned, wished for are at most {number.number}"
        yield Breach("at_most_lengthenings", lengthened[-1].id, text)


def _device_free(wish: Decision, stages: list[PlanStage]) -> Iterator[Breach]:
    for stage in stages:
        start, end = stage.date, stage.end_date
        if start is None or end is None or not (wish.from_date and wish.to_date):
            continue
        if start <= wish.to_date and end >= wish.from_date:
            text = f"{stage.id} has a device from {start} to {end}, wished free are {wish.from_date} to {wish.to_date}"
            yield Breach("no_device", stage.id, text)


def _finished(before: datetime.date, stages: list[PlanStage]) -> Iterator[Breach]:
    for stage in stages:
        if stage.end_date is not None and stage.end_date >= before:
            yield Breach(
                "finish_before", stage.id, f"{stage.id} ends on {stage.end_date}, wished for is before {before}"
            )
