"""Findings in, classification, stages and gates out: as the literature cited beside each row has them."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Value
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.conditions import Facts
from pathway.rule_engine.findings import findings_on
from pathway.rule_engine.graph import ChildGraph
from pathway.rule_engine.staging import stage
from tests.offenders import for_each
from tests.sample import HEALTHY, LEGS, at_age, child, visit

ROWS: list[dict[str, Any]] = tomllib.loads((Path(__file__).parent / "table.toml").read_text(encoding="utf-8"))["row"]
NAMES = tuple(LEGS)
LARGE = {
    "predicted_discrepancy_at_maturity_mm": [150.0] * 10,
    "predicted_femur_discrepancy_at_maturity_mm": [120.0] * 10,
    "predicted_tibia_discrepancy_at_maturity_mm": [30.0] * 10,
}
"""A difference for which both bones may be lengthened, where the row is not about the amount."""
NEEDS = ("planned", "possible", "optional", "unknown")


@dataclass(frozen=True)
class Judged:
    classes: Mapping[str, str]
    graph: ChildGraph

    def need(self, kind: str) -> str:
        undone = [item.state for item in self.graph.of_kind(kind)]
        return undone[0] if undone else "none"

    def gates(self) -> dict[str, str]:
        return {gate.gate.id: gate.state for item in self.graph.stages for gate in item.gates if gate.state != "later"}


def judged(row: Mapping[str, Any], protocol: Protocol) -> Judged:
    on = at_age(row.get("age_years", 5.0))
    known: dict[str, Value] = {**(HEALTHY if row.get("base") != "none" else {})}
    known |= dict(zip(NAMES, map(float, row["legs"]), strict=True)) if "legs" in row else LEGS
    known |= row.get("findings", {})
    for name in row.get("without", ()):
        del known[name]
    record = child(visit(on, known), diagnosis=row.get("diagnosis", "congenital_femoral_deficiency"))
    predicted = {name: np.array(draws, dtype=float) for name, draws in row.get("predicted_mm", LARGE).items()}
    facts = Facts(
        age_years=row.get("age_years", 5.0),
        sex=record.child.sex,
        diagnosis=record.child.diagnosis,
        findings=findings_on(Question(record, protocol, on)),
        predicted=predicted,
    )
    classified = classify(facts, protocol)
    facts = with_classes(facts, classified)
    return Judged(
        {name: fact.type for name, fact in facts.classes.items()}, stage(facts, Question(record, protocol, on))
    )


PROTOCOL = load_protocol()


@cache
def judged_as_shipped() -> dict[str, Judged]:
    return {row["id"]: judged(row, PROTOCOL) for row in ROWS}


def rows_with(*keys: str) -> list[Any]:
    return [row for row in ROWS if any(key in row for key in keys)]


def test_there_are_at_least_sixty_rows_over_femur_fibula_and_tibia() -> None:
    assert len(ROWS) >= 60
    assert len({row["id"] for row in ROWS}) == len(ROWS)
    asked = {row.get("diagnosis", "congenital_femoral_deficiency") for row in ROWS}
    assert {"congenital_femoral_deficiency", "fibular_deficiency", "tibial_deficiency"} <= asked


@for_each(ROWS)
def test_a_row_cites_its_source_and_expects_something(row: dict[str, Any]) -> None:
    assert len(row["source"]) > 15
    assert {"classes", "none", "gates", "against", "stands", *NEEDS} & row.keys()


@for_each(rows_with("classes"))
def test_the_child_has_the_published_class(row: dict[str, Any]) -> None:
    found = judged_as_shipped()[row["id"]].classes
    assert {scheme: found[scheme] for scheme in row["classes"]} == row["classes"]


@for_each(rows_with("none", *NEEDS))
def test_the_stages_are_the_published_ones(row: dict[str, Any]) -> None:
    wanted = {kind: need for need in ("none", *NEEDS) for kind in row.get(need, ())}
    assert {kind: judged_as_shipped()[row["id"]].need(kind) for kind in wanted} == wanted


@for_each(rows_with("stands"))
def test_the_roads_stand_as_published(row: dict[str, Any]) -> None:
    standing = judged_as_shipped()[row["id"]].graph.standing
    assert standing is not None
    assert (standing.stands or "lengthening alone") == row["stands"]
    assert {rule.id for rule, _ in standing.grounds} == set(row.get("grounds", ()))


@for_each(rows_with("reason"))
def test_a_stage_is_there_for_the_published_reason(row: dict[str, Any]) -> None:
    for kind, rule in row["reason"].items():
        item = judged_as_shipped()[row["id"]].graph.of_kind(kind)[0]
        assert [indication.id for indication, _ in item.indicated] == [rule]


@for_each(rows_with("gates"))
def test_the_gates_stand_as_published(row: dict[str, Any]) -> None:
    found = judged_as_shipped()[row["id"]].gates()
    assert {gate: found[gate] for gate in row["gates"]} == row["gates"]


@for_each(rows_with("against"))
def test_what_speaks_against_a_stage_is_what_is_published(row: dict[str, Any]) -> None:
    for kind, rules in row["against"].items():
        item = judged_as_shipped()[row["id"]].graph.of_kind(kind)[0]
        assert sorted(rule.id for rule, _ in item.against) == sorted(rules)


def test_a_child_with_a_short_femur_is_asked_for_no_finding_of_the_tibia(protocol: Protocol) -> None:
    row = next(row for row in ROWS if row["id"] == "femoral_child_is_not_asked_for_the_tibia")
    asked = {
        finding
        for item in judged(row, protocol).graph.stages
        for _, verdict in item.indicated
        if item.state == "unknown"
        for finding in verdict.asks
    }
    assert asked == set()
