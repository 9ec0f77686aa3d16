"""What holds for every child: knowing more, the order of rules in files, and a gate waived."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Gate, Protocol
from pathway.protocol.question import Question
from pathway.protocol.references import kinds
from pathway.record import Record
from pathway.rule_engine.findings import Known, Unknown
from pathway.rule_engine.graph import ChildGraph
from pathway.rule_engine.staging import stage
from pathway.rule_engine.verdict import Verdict
from tests.made_once import made_once
from tests.outside.properties.records import records
from tests.questions.changed import graph_of, todays_facts
from tests.sample import ON, SHALLOW_AND_BENT, decision, five_year_old

PROTOCOL = load_protocol()
LISTED = "To measure: "
EVERY = settings(max_examples=60, deadline=None, derandomize=True)


def leaves(verdict: Verdict) -> list[Verdict]:
    return [leaf for part in verdict.parts for leaf in leaves(part)] if verdict.parts else [verdict]


def judged(graph: ChildGraph) -> dict[str, Verdict]:
    """Every rule judged in a graph, gates of the next stage of their kind included."""
    found = {item.rule.id: item.verdict for item in graph.considered}
    for item in graph.stages:
        found.update({gate.gate.id: gate.verdict for gate in item.gates if gate.state != "later"})
    return found


@EVERY
@given(st.data())
def test_knowing_one_finding_more_never_makes_a_judgement_unknown_nor_turns_one(data) -> None:
    record, on = data.draw(records(PROTOCOL))
    facts = todays_facts(record, PROTOCOL, on)
    unknown = sorted(key for key, fact in facts.findings.items() if isinstance(fact, Unknown))
    name, leg = data.draw(st.sampled_from(unknown))
    rule = PROTOCOL.finding(name)
    value = data.draw(
        st.sampled_from(rule.choices or (True, False))
        if rule.kind != "number"
        else st.floats(*(rule.plausible or (0, 1)))
    )
    learnt = replace(facts, findings={**facts.findings, (name, leg): Known(value, rule.sd, on, "learnt")})
    before, after = (judged(graph_of(f, record, PROTOCOL, on)) for f in (facts, learnt))
    for id, verdict in before.items():
        if verdict.state == "unknown" or id not in after:
            continue
        assert after[id].state != "unknown", id
        if not any(leaf.form == "stage" for leaf in leaves(verdict)):
            assert after[id].state == verdict.state, id


def shuffled(protocol: Protocol, seed: int) -> Protocol:
    """Return the same rules, each kind in another order, the types of each classification too."""
    dice = np.random.default_rng(seed)

    def turned(items: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(items[k] for k in dice.permutation(len(items)))

    parts: dict[str, Any] = {name: getattr(protocol, name) for name in Protocol.model_fields}
    for kind in kinds():
        items = parts[kind]
        if kind == "classifications":
            items = tuple(scheme.model_copy(update={"types": turned(scheme.types)}) for scheme in items)
        parts[kind] = turned(items)
    return Protocol(**parts)


def unordered(part: Any) -> Any:
    """Return plain data in which the order of lists, and of what is to be measured, does not count."""
    if isinstance(part, dict):
        return {key: unordered(value) for key, value in part.items()}
    if isinstance(part, list):
        return sorted((unordered(item) for item in part), key=lambda item: json.dumps(item, sort_keys=True))
    if isinstance(part, str) and part.startswith(LISTED):
        return sorted(part.removeprefix(LISTED).rstrip(".").split("; "))
    return part


@pytest.mark.parametrize("seed", range(2))
def test_the_order_of_rules_in_files_does_not_change_a_plan(seed) -> None:
    turned = shuffled(PROTOCOL, seed)
    assert [rule.id for rule in turned.gates] != [rule.id for rule in PROTOCOL.gates]
    child = five_year_old(SHALLOW_AND_BENT, without=("ankle_type", "foot_plantigrade"))
    plan, again = made_once(Question(child, PROTOCOL, ON)), make_plan(Question(child, turned, ON))
    assert [item.id for item in again.stages] == [item.id for item in plan.stages]
    assert [item.id for item in again.alternatives] == [item.id for item in plan.alternatives]
    assert [item.finding for item in again.open_questions] == [item.finding for item in plan.open_questions]
    assert again.cautions[0] == plan.cautions[0]
    assert unordered(again.model_dump(mode="json")) == unordered(plan.model_dump(mode="json"))


@EVERY
@given(st.data())
def test_the_order_of_rules_in_files_does_not_change_the_stages_of_any_child(data) -> None:
    record, on = data.draw(records(PROTOCOL))
    turned = shuffled(PROTOCOL, data.draw(st.integers(0, 10**6)))
    one, other = (graph_of(todays_facts(record, rules, on), record, rules, on) for rules in (PROTOCOL, turned))
    assert [item.id for item in one.stages] == [item.id for item in other.stages]
    assert [item.state for item in one.stages] == [item.state for item in other.stages]
    assert {id: verdict.state for id, verdict in judged(one).items()} == {
        id: verdict.state for id, verdict in judged(other).items()
    }


def with_waiver(record: Record, gate: str, on) -> Record:
    wishes = tuple(item for item in record.decisions if item.gate != gate)
    return record.model_copy(update={"decisions": (*wishes, decision("waive_gate", date=on, gate=gate))})


@EVERY
@given(st.data())
def test_waiving_a_gate_changes_that_gate_alone(data) -> None:
    record, on = data.draw(records(PROTOCOL))
    gate: Gate = data.draw(st.sampled_from(PROTOCOL.gates))
    without = record.model_copy(update={"decisions": tuple(d for d in record.decisions if d.gate != gate.id)})
    facts = todays_facts(record, PROTOCOL, on)
    one, other = (graph_of(facts, r, PROTOCOL, on) for r in (without, with_waiver(record, gate.id, on)))
    assert one.edges == other.edges
    assert one.considered == other.considered
    for before, after in zip(one.stages, other.stages, strict=True):
        assert replace(before, gates=()) == replace(after, gates=())
        for was, now in zip(before.gates, after.gates, strict=True):
            if was.gate.id != gate.id:
                assert was == now
            elif gate.waivable and was.state in ("fails", "unknown"):
                assert (now.state, now.waived_because, now.verdict) == ("waived", "said at the visit", was.verdict)
            else:
                assert was == now


@pytest.mark.parametrize("gate", ["femoral_lengthening.hip_covered", "femoral_lengthening.neck_upright"])
def test_in_the_plan_a_waived_gate_moves_no_date_and_no_amount(gate) -> None:
    child = five_year_old(SHALLOW_AND_BENT)
    plan, waived = (
        made_once(Question(child, PROTOCOL, ON), compared=False),
        make_plan(Question(with_waiver(child, gate, ON), PROTOCOL, ON), compared=False),
    )
    shown = [(item.id, item.date, item.amount_mm) for item in plan.stages]
    assert [(item.id, item.date, item.amount_mm) for item in waived.stages] == shown
    for before, after in zip(plan.stages, waived.stages, strict=True):
        changed = [was.id for was, now in zip(before.gates, after.gates, strict=True) if was != now]
        assert set(changed) <= {gate}
        assert before.because == after.because
        if not changed and before.kind != PROTOCOL.stage("examination").id:
            assert before.model_copy(update={"gates": ()}) == after.model_copy(update={"gates": ()})


def test_a_stage_graph_keeps_every_rule_for_and_against_a_stage() -> None:
    facts = todays_facts(five_year_old(), PROTOCOL, ON)
    graph = stage(facts, Question(five_year_old(), PROTOCOL, ON))
    of_both_legs = {rule.stage for rule in PROTOCOL.both_sided if rule.only}
    rules = (*PROTOCOL.indications, *PROTOCOL.contraindications)
    assert {item.rule.id for item in graph.considered} == {r.id for r in rules if r.stage not in of_both_legs}
