"""Readings that lie within their error of a threshold, and the record with one of them on the other side. Pure."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator

from pathway.growth import Posterior
from pathway.growth.value_of_next_visit import narrowing
from pathway.plan.model import Considered, PlanStage
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.units import STEPS
from pathway.record import Measurement, Record, Visit
from pathway.rule_engine.verdict import OPERATORS, OPPOSITE, State, Verdict, combined_state, on_side

MOST = 4
"""So many readings at most are asked of one plan, the nearest to their thresholds first."""
PREDICTED = {
    "predicted_discrepancy_at_maturity_mm": "femur_length_mm",
    "predicted_femur_discrepancy_at_maturity_mm": "femur_length_mm",
    "predicted_tibia_discrepancy_at_maturity_mm": "tibia_length_mm",
}
"""The length whose reading moves a predicted difference."""
_BEYOND_MM = 0.3


def film_moves_mm(posterior: Posterior | None, protocol: Protocol) -> float:
    """Return by how much (SD) the error of films leaves the predicted difference open: what the next would move it."""
    if posterior is None or posterior.known is None:
        return 0.0
    return narrowing(posterior, protocol.number("next_visit_months")).moves_mm


def near_thresholds(
    considered: Iterable[Considered], stages: Iterable[PlanStage], protocol: Protocol, film_mm: float
) -> tuple[Verdict, ...]:
    """Return the comparisons inside the error of their reading on which a judgement of an operation turns.

    The nearest first. `film_mm` is the error of a predicted difference.
    """
    found: dict[tuple[str, str, str], Verdict] = {}
    for judged in _of_operations(considered, stages, protocol):
        for leaf in judged.leaves():
            error = _error(leaf, film_mm)
            if error is None or abs(leaf.margin or 0.0) >= error or not turns(judged, leaf):
                continue
            found.setdefault((str(leaf.finding or leaf.subject), str(leaf.leg), str(leaf.threshold)), leaf)
    near = sorted(found.values(), key=lambda leaf: abs(leaf.margin or 0.0) / (_error(leaf, film_mm) or 1.0))
    return tuple(near[:MOST])


def _of_operations(
    considered: Iterable[Considered], stages: Iterable[PlanStage], protocol: Protocol
) -> Iterator[Verdict]:
    for item in considered:
        judged = item.reason.verdict
        if judged is not None and item.kind != "type" and not item.waived and protocol.stage(item.about).operation:
            yield judged
    for stage in stages:
        if stage.operation and stage.date is not None and not stage.begun:
            yield from (gate.verdict for gate in stage.gates if gate.state in ("holds", "fails"))


def _error(leaf: Verdict, film_mm: float) -> float | None:
    """Return the error of what was compared with a number; None for what has none."""
    if leaf.margin is None or leaf.comparison not in OPERATORS:
        return None
    if leaf.subject in PREDICTED:
        return film_mm
    return leaf.sd if leaf.finding is not None and leaf.sd else None


def turns(judged: Verdict, leaf: Verdict) -> bool:
    """Return whether a judgement would be another one if that comparison went the other way."""

    def state(item: Verdict) -> State:
        if not item.parts:
            return OPPOSITE[item.state] if item is leaf else item.state
        return combined_state(item.form, (state(part) for part in item.parts))

    return state(judged) != judged.state


def read_otherwise(question: Question, leaf: Verdict) -> Record | None:
    """Return the record with the last reading behind a comparison beyond its threshold; None if it was not measured."""
    record = question.record
    if leaf.finding is not None:
        rule = question.protocol.finding(leaf.finding)
        side = record.affected_side if leaf.leg == "affected" else record.other_side
        value = beyond(leaf, STEPS[rule.unit])
        return with_value(record, leaf.finding, None if rule.of == "child" else side, value, question.on)
    finding, side = PREDICTED[str(leaf.subject)], record.affected_side
    last = last_value(record, finding, side, question.on)
    # A longer short leg leaves a smaller difference; the prediction moves by no less than the reading.
    grows = leaf.comparison in ("at_least", "above")
    smaller = (leaf.state == "holds") == grows
    by = abs(leaf.margin or 0.0) + _BEYOND_MM
    return None if last is None else with_value(record, finding, side, last + (by if smaller else -by), question.on)


def beyond(leaf: Verdict, step: float) -> float:
    """Return the value nearest to a threshold that lies on its other side."""
    bound, holds = float(leaf.threshold), leaf.state == "holds"  # type: ignore[arg-type]
    near = (bound, bound - step, bound + step)
    return next(round(value, 6) for value in near if on_side(str(leaf.comparison), value, bound)[0] != holds)


def last_value(record: Record, finding: str, side: str | None, on: datetime.date) -> float | None:
    """Return what a finding was measured to be last, None where it never was."""
    items = (item for visit in record.visits if visit.date <= on for item in visit.measurements)
    values = [float(item.value) for item in items if _is(item, finding, side)]
    return values[-1] if values else None


def with_value(record: Record, finding: str, side: str | None, value: float, on: datetime.date) -> Record | None:
    """Return the record with the last measurement of a finding changed; None where it was never measured itself."""
    for at in range(len(record.visits) - 1, -1, -1):
        visit = record.visits[at]
        if visit.date > on or not any(_is(item, finding, side) for item in visit.measurements):
            continue
        items = tuple(
            item.model_copy(update={"value": value}) if _is(item, finding, side) else item
            for item in visit.measurements
        )
        changed: Visit = visit.model_copy(update={"measurements": items})
        return record.model_copy(update={"visits": (*record.visits[:at], changed, *record.visits[at + 1 :])})
    return None


def _is(item: Measurement, finding: str, side: str | None) -> bool:
    return item.finding == finding and (side is None or item.side in (None, side))
