"""Two plans of one child side by side: what moved, came, went, changed amount or gate, and where it ends."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pathway.days import add_months, whole_months
from pathway.plan.model import Plan, PlanStage, Quantiles

Kind = Literal["discrepancy", "course", "appeared", "dropped", "moved", "amount", "status", "gate", "conflict"]

Key = tuple[Kind, str]


@dataclass(frozen=True, slots=True)
class Difference:
    """One difference: `about` a stage or gate id (or ""), its value `before` and `after`, and a sentence."""

    kind: Kind
    about: str
    before: str
    after: str
    sentence: str

    @property
    def key(self) -> Key:
        """Return what the difference is of, whatever its values."""
        return self.kind, self.about


def differences(before: Plan, after: Plan) -> tuple[Difference, ...]:
    """Return every difference between two plans: where it ends first, then the stages in the order of their dates."""
    return (
        *_discrepancy(before, after),
        *_course(before, after),
        *_conflicts(before, after),
        *_stages(before, after),
    )


def _discrepancy(before: Plan, after: Plan) -> Iterator[Difference]:
    one, two = before.growth.at_maturity, after.growth.at_maturity
    then, now = (_band(m.discrepancy_mm) if m else "not known" for m in (one, two))
    if then != now:
        further = "further " if any(stage.operation and stage.begun for stage in after.stages) else ""
        sentence = f"Difference at maturity without {further}operations: {then} → {now}."
        yield Difference("discrepancy", "", then, now, sentence)


def _band(spread: Quantiles) -> str:
    return f"{spread.p50 / 10:.1f} cm ({spread.p05 / 10:.1f} to {spread.p95 / 10:.1f})"


def _course(before: Plan, after: Plan) -> Iterator[Difference]:
    one, two = before.recommended, after.recommended
    then, now = (course.summary if course else "none" for course in (one, two))
    if then == now:
        return
    carried = carried_on(before, after)
    sentence = f"Course that comes first: {then} → {now}."
    if carried is not None:
        sentence = f"Course unchanged: {carried[0]} of {carried[1]} done. It was: {then}; what is left: {now}."
    yield Difference("course", "", then, now, sentence)


def carried_on(before: Plan, after: Plan) -> tuple[int, int] | None:
    """Return how many of the first course's operations were done since, of how many; None where the rest is another.

    What is left must be the same operations; their days and amounts may have moved.
    """
    one, two = before.recommended, after.recommended
    if one is None or two is None:
        return None
    begun = {stage.id for stage in after.stages if stage.begun}
    since = begun - {stage.id for stage in before.stages if stage.begun}
    planned, left = ({stage.id for stage in course.stages} for course in (one, two))
    done = planned & since
    return (len(done), len(planned)) if done and planned - begun == left - begun else None


def _conflicts(before: Plan, after: Plan) -> Iterator[Difference]:
    then, now = ({" ".join(item.rules): item.explanation for item in plan.conflicts} for plan in (before, after))
    for rules in sorted(now.keys() - then.keys()):
        yield Difference("conflict", rules, "", now[rules], f"New conflict: {now[rules]}")
    for rules in sorted(then.keys() - now.keys()):
        yield Difference("conflict", rules, then[rules], "", f"No longer in conflict: {then[rules]}")


def _stages(before: Plan, after: Plan) -> Iterator[Difference]:
    one, two = _shown(before), _shown(after)
    in_order = sorted({*one, *two}, key=lambda id: (_when(two.get(id) or one[id]), id))
    for id in in_order:
        if id not in one:
            stage = two[id]
            yield Difference("appeared", id, "", _dated(stage), f"{stage.label} is new: {_dated(stage)}.")
        elif id not in two:
            stage = one[id]
            yield Difference("dropped", id, _dated(stage), "", f"{stage.label} is dropped (it was: {_dated(stage)}).")
        else:
            yield from _stage(one[id], two[id])


def _shown(plan: Plan) -> dict[str, PlanStage]:
    return {stage.id: stage for stage in plan.stages if stage.date is not None or stage.status == "blocked"}


def _when(stage: PlanStage) -> datetime.date:
    return stage.date or datetime.date.max


def _dated(stage: PlanStage) -> str:
    amount = f", {stage.amount_mm / 10:g} cm" if stage.amount_mm is not None else ""
    return f"{stage.date or 'no date'}{amount}"


def _stage(one: PlanStage, two: PlanStage) -> Iterator[Difference]:
    label, id = two.label, two.id
    if one.date != two.date:
        then, now = str(one.date or "no date"), str(two.date or "no date")
        yield Difference("moved", id, then, now, f"{label} moves from {then} to {now}{_by(one.date, two.date)}.")
    if one.amount_mm != two.amount_mm:
        then, now = (f"{mm / 10:g} cm" if mm is not None else "no amount" for mm in (one.amount_mm, two.amount_mm))
        yield Difference("amount", id, then, now, f"{label}: {then} → {now}.")
    if one.status != two.status and {one.status, two.status} & {"done", "under_way", "blocked"}:
        then, now = one.status.replace("_", " "), two.status.replace("_", " ")
        yield Difference("status", id, then, now, f"{label}: {then} → {now}.")
    states = {gate.id: gate for gate in one.gates}
    for gate in two.gates:
        old = states.get(gate.id)
        if old is not None and old.state != gate.state and two.status not in ("done", "under_way"):
            about = f"{id}: {gate.id}"
            yield Difference(
                "gate", about, old.state, gate.state, f"{label}, {gate.requires}: {old.state} → {gate.state}."
            )


def _by(one: datetime.date | None, two: datetime.date | None) -> str:
    if one is None or two is None or one == two:
        return ""
    first, last = min(one, two), max(one, two)
    months = whole_months(first, last)
    days = (last - add_months(first, months)).days
    count, unit = (days, "day") if months < 1 else (months, "month")
    return f" ({count} {unit if count == 1 else f'{unit}s'} {'later' if two > one else 'earlier'})"
