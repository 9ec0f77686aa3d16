"""Stage graphs of invented children, the predicted differences said outright instead of projected."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.facts import facts_on
from pathway.rule_engine.graph import ChildGraph
from pathway.rule_engine.staging import stage
from tests.sample import ON

LARGE: Mapping[str, float] = {"discrepancy": 150.0, "femur_discrepancy": 130.0, "tibia_discrepancy": 20.0}
BOTH: Mapping[str, float] = {"discrepancy": 150.0, "femur_discrepancy": 100.0, "tibia_discrepancy": 50.0}
SMALL: Mapping[str, float] = {"discrepancy": 35.0, "femur_discrepancy": 30.0, "tibia_discrepancy": 5.0}
NONE: Mapping[str, float] = {"discrepancy": 5.0, "femur_discrepancy": 4.0, "tibia_discrepancy": 1.0}
HUGE: Mapping[str, float] = {"discrepancy": 250.0, "femur_discrepancy": 220.0, "tibia_discrepancy": 30.0}


def graph_of(
    record: Record,
    protocol: Protocol,
    predicted: Mapping[str, float] | None = LARGE,
    on: datetime.date = ON,
) -> ChildGraph:
    """Return the graph; every future shows the same `predicted` differences, None where nothing is projected."""
    facts = facts_on(Question(record, protocol, on), None)
    if predicted is not None:
        draws = {f"predicted_{name}_at_maturity_mm": np.full(8, mm) for name, mm in predicted.items()}
        facts = replace(facts, predicted=draws)
    return stage(with_classes(facts, classify(facts, protocol)), Question(record, protocol, on))


def ids(graph: ChildGraph, *needs: str) -> list[str]:
    return [item.id for item in graph.stages if not needs or item.state in needs]


def kinds(graph: ChildGraph, *needs: str) -> set[str]:
    return {item.kind for item in graph.stages if item.state in needs}


def gates(graph: ChildGraph, stage_id: str) -> dict[str, str]:
    return {gate.gate.id.partition(".")[2]: gate.state for gate in graph.stage(stage_id).gates}


def edges(graph: ChildGraph) -> set[tuple[str, str, str]]:
    return {(edge.earlier, edge.later, edge.rule.id) for edge in graph.edges}
