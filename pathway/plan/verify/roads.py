"""The roads and both sides, judged again: nothing of the prosthetic road is dated, nothing refused is in the plan."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.model import Plan
from pathway.plan.verify.breach import Breach
from pathway.protocol.model import Protocol
from pathway.record import Record

_BEGUN = ("done", "under_way")
_FOLLOW = ("device_removal", "surveillance", "implant_removal")


def road_breaches(plan: Plan, protocol: Protocol) -> Iterator[Breach]:
    """Yield stages of the prosthetic road that a program dated, and of the lengthening road where it comes second."""
    roads = {stage.id: stage.road for stage in protocol.stages}
    second = plan.roads is not None and plan.roads.stands == "prosthetic"
    for stage in plan.stages:
        if stage.date is None or stage.status in _BEGUN:
            continue
        if roads.get(stage.kind) == "prosthetic":
            yield Breach("road", stage.id, f"{stage.id} of the prosthetic road has the date {stage.date}")
        if roads.get(stage.kind) == "lengthening" and second:
            yield Breach("road", stage.id, f"{stage.id} has a date although the prosthetic road comes first")


def both_sided_breaches(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    """Yield what a plan for two short legs must not hold: a prediction, refused stages, amounts, a side left out."""
    yield from road_breaches(plan, protocol)
    how = {rule.stage: rule.how for rule in protocol.both_sided}
    # A device that is on the bone today comes off, whatever else is planned.
    follow = {stage.id for stage in protocol.stages if stage.role in _FOLLOW}
    under_way = any(stage.status in _BEGUN for stage in plan.stages)
    if plan.growth.at_maturity is not None or plan.growth.by_age:
        yield Breach("both_sides", "", "a difference at maturity is predicted from one short leg for the other")
    if plan.alternatives:
        yield Breach("both_sides", "", "courses are compared for two short legs")
    for stage in plan.stages:
        if stage.status in _BEGUN:
            continue
        if under_way and stage.kind in follow:
            continue
        if how.get(stage.kind) == "refused" or (how.get(stage.kind) is None and stage.lane != "checks"):
            yield Breach("both_sides", stage.id, f"{stage.id} is in the plan although it is refused on both sides")
        if stage.amount_mm is not None:
            yield Breach("both_sides", stage.id, f"{stage.id} has an amount that no source gives")
        if stage.side not in ("left", "right", "both"):
            yield Breach("side", stage.id, f"{stage.id} is on the {stage.side}")
    done = {(stage.kind, stage.date, stage.side) for stage in plan.stages if stage.status in _BEGUN}
    for operation in record.operations:
        if operation.date <= plan.on and (operation.kind, operation.date, operation.side) not in done:
            yield Breach("done", operation.kind, f"{operation.kind} of {operation.date} is missing from the plan")
