"""The judge on sittings: none on the good leg within a frame, each counted once, and steps beyond a warning told."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from pathway.days import add_months
from pathway.plan.model import Plan, PlanStage
from pathway.plan.verify.breach import TOLERANCE_MM, Breach
from pathway.protocol.model import Protocol


def sitting_breaches(plan: Plan, protocol: Protocol) -> Iterator[Breach]:
    """Yield what is wrong with the operations of a day, and with those on the good leg."""
    dated = [stage for stage in plan.stages if stage.date is not None]
    yield from _within_a_frame(dated, protocol)
    yield from _counted(plan, [stage for stage in dated if stage.status not in ("done", "under_way")])


def _within_a_frame(dated: list[PlanStage], protocol: Protocol) -> Iterator[Breach]:
    """No operation on the good leg from the day after a device goes on until some months after it is off.

    The sitting in which it goes on and that in which it comes off are allowed.
    """
    months = int(protocol.number("arrest_after_device_months"))
    frames = [stage for stage in dated if protocol.stage(stage.kind).role == "lengthening"]
    for stage in dated:
        if not stage.operation or stage.lane != "other_leg" or stage.status in ("done", "under_way"):
            continue
        for frame in frames:
            on, off, day = frame.date, frame.end_date, stage.date
            if on is None or off is None or day is None:
                continue
            if on < day < add_months(off, months) and day != off:
                text = f"{stage.id} on {day} comes within {months} months of the device of {frame.id} ({on} to {off})"
                yield Breach("arrest_after_device_months", stage.id, text)


def _counted(plan: Plan, planned: list[PlanStage]) -> Iterator[Breach]:
    """Operations of one day are one sitting, and one operation of the course."""
    best = plan.recommended
    if best is None or plan.conflicts or best.residual_mm is None:
        return
    days = {stage.date for stage in planned if stage.operation}
    if days and len(days) != best.burden.operations:
        text = f"{best.id} counts {best.burden.operations} operations, its stages lie on {len(days)} days"
        yield Breach("sittings", best.id, text)


def untold_warnings(
    plan: Plan, protocol: Protocol, length_before: Callable[[PlanStage], float | None]
) -> Iterator[Breach]:
    """Yield every lengthening to come that goes beyond a warning of the rules in no sentence of the plan."""
    for stage in plan.stages:
        if stage.amount_mm is None or stage.date is None or stage.status in ("done", "under_way"):
            continue
        for rule in protocol.amount_limits:
            age = stage.age_years or 0.0
            if rule.stage != stage.kind or not rule.warns or not rule.from_age_years <= age < rule.to_age_years:
                continue
            if rule.when is not None and rule.id not in {note.rule for note in stage.amount_limits}:
                continue
            length = length_before(stage)
            limit = rule.most_mm
            if rule.most_percent is not None and length is not None:
                limit = rule.most_percent / 100 * length
            words = rule.because.rstrip(".")
            said = any(f"{stage.label} (" in notice and words in notice for notice in plan.notices)
            if limit is not None and stage.amount_mm > limit + TOLERANCE_MM and not said:
                yield Breach(rule.id, stage.id, f"{stage.id} gains {stage.amount_mm:g} mm, {limit:.0f} warns, untold")
