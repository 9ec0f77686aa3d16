"""Facts of a child with some of them changed, and what the stages become: an oracle that plans anew."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from pathway.growth import fit_growth, outlook
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.questions.formula import Change
from pathway.record import Record
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.conditions import Facts
from pathway.rule_engine.facts import facts_on, known_steps
from pathway.rule_engine.findings import Known
from pathway.rule_engine.graph import ChildGraph, StageItem
from pathway.rule_engine.staging import stage

Day = datetime.date


def todays_facts(record: Record, protocol: Protocol, on: Day) -> Facts:
    posterior = fit_growth(
        Question(record, protocol, on), seed=0, known_steps=known_steps(Question(record, protocol, on))
    )
    return facts_on(Question(record, protocol, on), outlook(posterior) if posterior else None)


def with_changes(facts: Facts, changes: Iterable[Change], on: Day) -> Facts:
    """Return the facts as they would be with the changes, everything else as today."""
    findings, predicted, age = dict(facts.findings), dict(facts.predicted), facts.age_years
    for item in changes:
        if item.finding == "age_years":
            age = float(item.to)
        elif item.leg:
            findings[item.finding, item.leg] = Known(item.to, 0.0, on, "changed")  # type: ignore[index]
        elif item.now is None:
            predicted[item.finding] = np.full(1000, float(item.to))
        else:
            # The words say by how much the projection would have to lie elsewhere.
            shift = float(item.words.split()[0]) * (1 if " more " in item.words else -1)
            predicted[item.finding] = predicted[item.finding] + shift
    return replace(facts, findings=findings, predicted=predicted, age_years=age)


def graph_of(facts: Facts, record: Record, protocol: Protocol, on: Day) -> ChildGraph:
    """Return the stage graph on facts, classified first."""
    return stage(with_classes(facts, classify(facts, protocol)), Question(record, protocol, on))


def all_needs(facts: Facts, record: Record, protocol: Protocol, on: Day) -> dict[str, tuple[StageItem, ...]]:
    """Return the stages still to come by kind, staged anew."""
    found: dict[str, tuple[StageItem, ...]] = {}
    for item in graph_of(facts, record, protocol, on).stages:
        if item.state not in ("done", "under_way"):
            found[item.kind] = (*found.get(item.kind, ()), item)
    return found


def needs_of(kind: str, facts: Facts, record: Record, protocol: Protocol, on: Day) -> tuple[StageItem, ...]:
    """Return the stages of a kind that are still to come, staged anew."""
    return all_needs(facts, record, protocol, on).get(kind, ())


def is_seen(effect: str, kind: str, needs: tuple[StageItem, ...], protocol: Protocol) -> bool:
    """Return whether an effect shows in the stages of a kind."""
    if effect == "drop":
        return not needs
    if not needs:
        return False
    first = needs[0]
    if effect == "add":
        required = any(not rule.optional for rule in protocol.indications if rule.stage == kind)
        grounds = [rule for rule, verdict in first.indicated if verdict.state == "holds"]
        return any(not rule.optional for rule in grounds) if required else bool(grounds)
    stopped = bool(first.against) or any(gate.state in ("fails", "unknown") for gate in first.gates)
    return stopped if effect == "block" else not stopped


def stage_in(plan: Plan, kind: str) -> PlanStage | None:
    """Return the next stage of a kind, or the one done, or None."""
    of_kind = [item for item in plan.stages if item.kind == kind]
    undone = [item for item in of_kind if item.status not in ("done", "under_way")]
    return next(iter(sorted(undone, key=lambda item: item.number)), of_kind[0] if of_kind else None)
