"""The judge of gates: all there, judged as the rules say, on values that the record holds, waived by someone."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.model import GateState, Plan, PlanStage
from pathway.plan.verify.breach import Breach
from pathway.protocol.model import Condition, Gate, Protocol
from pathway.record import Record
from pathway.rule_engine.verdict import Verdict

BEGUN = ("done", "under_way")


def gate_breaches(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    """Yield every gate that is missing, judged wrongly, mended by nothing earlier or waived by nobody."""
    rules = {rule.id: rule for rule in protocol.gates}
    waived = {decision.gate for decision in record.decisions if decision.kind == "waive_gate"}
    for stage in plan.stages:
        yield from _missing(stage, protocol)
        for gate in stage.gates:
            rule = rules.get(gate.id)
            if rule is None or rule.guards != stage.kind or rule.number not in (None, stage.number):
                yield Breach(gate.id, stage.id, f"{stage.id} has the gate {gate.id}, which does not guard it")
                continue
            yield from _one_gate(plan, stage, gate)
            if gate.state == "waived" and not (rule.waivable and gate.id in waived):
                yield Breach(gate.id, stage.id, f"{gate.id} reads waived, and nobody may or did waive it")
            yield from _rejudged(gate, stage, rule, record, protocol)


def span_breaches(plan: Plan, protocol: Protocol) -> Iterator[Breach]:
    """Yield joints that are to be spanned on a ground that is no rule of the stage or does not hold."""
    rules = {rule.id: rule for rule in protocol.spans}
    for stage in plan.stages:
        for span in stage.spans:
            needs = set()
            for ground in span.because:
                rule = rules.get(ground.rule)
                if rule is None or (rule.stage, rule.joint) != (stage.kind, span.joint) or ground.verdict is None:
                    yield Breach(
                        ground.rule, stage.id, f"{stage.id} spans the {span.joint} by {ground.rule}, no rule of it"
                    )
                    continue
                needs.add(rule.need)
                if state_of_values(rule.when, ground.verdict) != "holds":
                    yield Breach(rule.id, stage.id, f"{stage.id} spans the {span.joint} on a ground that does not hold")
            if span.need != ("needed" if "needed" in needs else "advised"):
                yield Breach("spans", stage.id, f"{stage.id} calls the span of the {span.joint} {span.need}")


def _missing(stage: PlanStage, protocol: Protocol) -> Iterator[Breach]:
    if stage.status in BEGUN or protocol.stage(stage.kind).role == "reexamination":
        return
    undecided = any(item.verdict is not None and item.verdict.state == "unknown" for item in stage.because)
    if undecided and not stage.gates:
        return
    known = {gate.id for gate in stage.gates}
    for rule in protocol.gates:
        if rule.guards == stage.kind and rule.number in (None, stage.number) and rule.id not in known:
            yield Breach(rule.id, stage.id, f"{stage.id} lacks its gate {rule.id}")


def _one_gate(plan: Plan, stage: PlanStage, gate: GateState) -> Iterator[Breach]:
    if gate.state not in ("waived", "later") and gate.state != gate.verdict.state:
        yield Breach(gate.id, stage.id, f"{gate.id} reads {gate.state}, its verdict {gate.verdict.state}")
    if gate.mended_by is not None and not _earlier(plan, gate.mended_by, stage):
        yield Breach(gate.id, stage.id, f"{gate.id} is to be mended by {gate.mended_by}, which is not earlier")
    if stage.status == "ready" and gate.state in ("fails", "unknown") and gate.mended_by is None:
        yield Breach(gate.id, stage.id, f"{stage.id} reads ready although {gate.id} {gate.state}")
    if gate.state == "later" and gate.look_again_on is None and stage.date is not None:
        yield Breach(gate.id, stage.id, f"{gate.id} is to be judged later without a day to look again")


def _earlier(plan: Plan, mender: str, stage: PlanStage) -> bool:
    for other in plan.stages:
        if other.id == mender and other.date is not None and stage.date is not None:
            return other.date < stage.date
        if other.id == mender and stage.date is None:
            return True
    return False


def _rejudged(gate: GateState, stage: PlanStage, rule: Gate, record: Record, protocol: Protocol) -> Iterator[Breach]:
    state = state_of_values(rule.requires, gate.verdict)
    if state != gate.verdict.state:
        yield Breach(gate.id, stage.id, f"{gate.id} reads {gate.verdict.state} on values that read {state}")
    for leaf in gate.verdict.leaves():
        if not in_record(leaf, record, protocol):
            text = f"{gate.id} rests on {leaf.finding} {leaf.value} of {leaf.measured_on}, which the record lacks"
            yield Breach(gate.id, stage.id, text)


def in_record(leaf: Verdict, record: Record, protocol: Protocol) -> bool:
    """Return whether the record holds what a judged test rests on."""
    if leaf.finding is None or leaf.measured_on is None or protocol.finding(leaf.finding).derived:
        return True
    return any(
        visit.date == leaf.measured_on and item.finding == leaf.finding and item.value == leaf.value
        for visit in record.visits
        for item in visit.measurements
    )


def state_of_values(test: Condition, verdict: Verdict) -> str:
    """Return the state that the values kept in a verdict give; what is no finding is taken as it reads."""
    parts = test.all if test.all is not None else test.any
    if parts is not None:
        if len(parts) != len(verdict.parts):
            return "cut short"
        states = {state_of_values(part, kept) for part, kept in zip(parts, verdict.parts, strict=True)}
        deciding, neutral = ("fails", "holds") if test.all is not None else ("holds", "fails")
        return deciding if deciding in states else "unknown" if "unknown" in states else neutral
    if test.negate is not None and len(verdict.parts) == 1:
        inner = state_of_values(test.negate, verdict.parts[0])
        return {"holds": "fails", "fails": "holds"}.get(inner, inner)
    if test.finding is None:
        return verdict.state
    if test.missing == "fails" and verdict.state == "fails" and verdict.measured_on is None:
        return "fails"
    if verdict.why_unknown is not None or verdict.value is None:
        return "fails" if test.missing == "fails" else "unknown"
    return "holds" if _compared(test, verdict.value) else "fails"


def _compared(test: Condition, value: float | str | bool) -> bool:
    if test.known:
        return True
    if test.equals is not None:
        return value == test.equals
    if test.one_of is not None:
        return value in test.one_of
    number = float(value)
    return (
        (test.at_least is None or number >= test.at_least)
        and (test.above is None or number > test.above)
        and (test.at_most is None or number <= test.at_most)
        and (test.below is None or number < test.below)
    )
