"""What would change a stage, as lines to read: the smallest sets of changes, near thresholds, what to measure."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.protocol.words import WITHOUT_UNIT, value_words
from pathway.questions.formula import AGE
from pathway.questions.smallest_change import (
    Change,
    Deciding,
    Effect,
    Near,
    WhatIf,
    deciding_measurements,
    near_thresholds,
    smallest_changes,
)
from pathway.questions.why import PROVENANCE_WORDS, Line, citations_of, reason_lines, source_lines

EFFECTS: dict[Effect, str] = {
    "add": "it would be needed if",
    "drop": "it would no longer be indicated if",
    "block": "it could not start if",
    "unlock": "no finding would hold it up if",
}
SHOWN_MEASUREMENTS = 4


def changes(plan: Plan, stage: PlanStage, protocol: Protocol) -> tuple[Line, ...]:
    """Return what would change a stage of the plan, readings near a threshold, and what decides most."""
    found = smallest_changes(plan, stage.kind, protocol, stage)
    near = near_thresholds(plan, stage, protocol) if stage.status not in ("done", "under_way") else ()
    return tuple(_change_lines(found, near, deciding_measurements(plan, protocol, stage.kind)))


def why_not(plan: Plan, kind: str, protocol: Protocol) -> tuple[Line, ...]:
    """Return why a kind of stage is not in the plan, each ground with its values, and what would bring it in."""
    return tuple(_why_not(plan, kind, protocol))


def changes_data(plan: Plan, kind: str, protocol: Protocol, stage: PlanStage | None = None) -> dict[str, Any]:
    """Return the same as plain data for other programs."""
    near = near_thresholds(plan, stage, protocol) if stage else ()
    return {
        "what_would_change": [dataclasses.asdict(item) for item in smallest_changes(plan, kind, protocol, stage)],
        "near_thresholds": [dataclasses.asdict(item) for item in near],
        "decides_most": [dataclasses.asdict(item) for item in deciding_measurements(plan, protocol, kind)],
    }


def near_words(item: Near) -> str:
    """Return a reading near its threshold as advice: `… threshold 20, error ±4: repeat the measurement`."""
    unit = "" if item.unit in WITHOUT_UNIT else item.unit
    value = value_words(item.value, item.unit if item.unit == "ratio" else unit)
    return f"{item.label}: {value} measured, threshold {item.threshold:g}, error ±{item.sd:g}: repeat the measurement"


def change_words(item: Change) -> str:
    """Return one change in words: `… more than 20 deg (now 12 deg, 2.2 measurement errors from the threshold)`."""
    unit = "" if item.unit in WITHOUT_UNIT and item.unit != "ratio" else item.unit
    if item.now is None:
        why = (item.why_unknown or "not known").replace("_", " ")
        return f"{item.label} {item.words} (now {why})"
    measure = "measurement errors" if item.leg else "SD"
    numeric = isinstance(item.now, float) and not isinstance(item.now, bool) and item.finding != AGE
    away = f", {item.distance:.1f} {measure} from the threshold" if numeric else ""
    return f"{item.label} {item.words} (now {value_words(item.now, unit)}{away})"


def _change_lines(found: Sequence[WhatIf], near: Sequence[Near], deciding: Sequence[Deciding]) -> Iterator[Line]:
    if found:
        yield Line(0, "", "What would change it")
    for effect, words in EFFECTS.items():
        sets = [item for item in found if item.effect == effect]
        if sets:
            yield Line(1, "", f"{words}:")
        for k, item in enumerate(sets):
            start = "or " if k else ""
            yield Line(2, "", start + " and ".join(change_words(change) for change in item.changes))
    if near:
        yield Line(0, "", "Readings near a threshold")
        yield from (Line(1, "", near_words(item)) for item in near)
    if deciding:
        yield Line(0, "", "Single measurements that would settle the most")
    yield from _deciding(deciding[:SHOWN_MEASUREMENTS])


def _deciding(deciding: Iterable[Deciding]) -> Iterator[Line]:
    for item in deciding:
        could, always = len(item.could_settle), len(item.always_settles)
        yield Line(1, "unknown", f"{item.label} ({item.how}): {_settled(could, always)}")


def _settled(could: int, always: int) -> str:
    questions = f"{could} open question{'' if could == 1 else 's'}"
    if always == could:
        return f"would settle {questions}, whatever the result"
    sure = f"{always} of them whatever the result" if always else "depending on the result"
    return f"could settle {questions}, {sure}"


def _why_not(plan: Plan, kind: str, protocol: Protocol) -> Iterator[Line]:
    citations = {source.id: source.citation for source in protocol.sources} | citations_of(plan)
    label = protocol.stage(kind).label
    grounds = [item for item in plan.considered if item.about == kind and item.kind == "indication"]
    held = [item for item in grounds if item.reason.verdict and item.reason.verdict.state == "holds"]
    refused = [one for one in plan.refused if one.stage == kind]
    for refusal in refused:
        yield Line(0, "", f"{label} is not planned for this child")
        yield Line(1, "", f"{refusal.because} [{PROVENANCE_WORDS[refusal.provenance]}]")
        yield from source_lines(2, refusal.sources, citations)
        yield Line(0, "", "What would speak for it on one side alone")
    if held and not refused:
        yield Line(0, "", f"{label} is indicated, but the course that comes first does without it")
    elif not refused:
        yield Line(0, "", f"Why {label.lower()} is not in the plan: no indication applies")
    for item in grounds:
        yield from reason_lines(item.reason, citations)
    against = [item for item in plan.considered if item.about == kind and item.kind == "contraindication"]
    if against:
        yield Line(0, "", "Possible reasons against it")
    for item in against:
        yield from reason_lines(item.reason, citations)
    yield from _change_lines(smallest_changes(plan, kind, protocol), (), deciding_measurements(plan, protocol, kind))
