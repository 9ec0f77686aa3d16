"""Why a stage stands in a plan: read from the verdicts that the plan keeps, nothing is judged anew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pathway.plan.graph import graph_of
from pathway.plan.model import After, GateState, JointSpan, Plan, PlanDevice, PlanStage, Reason
from pathway.problems import Problem, Refused
from pathway.protocol.model import Protocol
from pathway.protocol.traced import how_indirect
from pathway.rule_engine.verdict import Verdict

PROVENANCE_WORDS = {
    "read": "read",
    "memory": "from memory, check before use",
    "practice": "common practice",
    "computed": "computed",
    "judgement": "our own judgement",
}
SPANNED = {"knee": "Knee spanned", "pelvis": "Device extended to the pelvis"}
DEVICE_CANNOT = "the device planned spans no joint: the team decides before the operation"
MARKS = {"holds": "+", "fails": "-", "unknown": "?", "waived": "~", "later": ">"}


def need_words(span: JointSpan) -> str:
    """Return how much a joint needs to be spanned, and where the device planned cannot do it, that."""
    return span.need if span.device_can else f"{span.need}, but {DEVICE_CANNOT}"


@dataclass(frozen=True, slots=True)
class Line:
    """One line of an explanation: how deep it hangs, its mark (a state) or "", its text."""

    depth: int
    state: str
    text: str


class UnknownStage(Refused):
    """The plan has no such stage; the sentence lists those it has."""


def find_stage(plan: Plan, wanted: str) -> PlanStage:
    """Return the stage of that id, or the first of that kind; raises UnknownStage naming those there are."""
    name = wanted.strip().lower().replace("-", "_").replace(" ", "_")
    for stage in plan.stages:
        if stage.id == name:
            return stage
    for stage in plan.stages:
        if stage.kind == name:
            return stage
    known = ", ".join(stage.id for stage in plan.stages)
    raise UnknownStage(Problem(plan.child.id, "", None, f"the plan has no stage {wanted!r}", "", f"it has: {known}"))


def kind_of(wanted: str, protocol: Protocol) -> str | None:
    """Return the kind of stage of that name (a number at its end left out), or None where there is none."""
    name = wanted.strip().lower().replace("-", "_").replace(" ", "_")
    kinds = {stage.id for stage in protocol.stages}
    return next((kind for kind in (name, name.rstrip("0123456789").rstrip("_")) if kind in kinds), None)


def why(plan: Plan, stage: PlanStage) -> tuple[Line, ...]:
    """Return the chain of reasons of a stage down to findings and sources, as lines."""
    return tuple(_lines(plan, stage, citations_of(plan)))


def citations_of(plan: Plan) -> dict[str, str]:
    """Return the citation of each source that the plan cites."""
    return {source.id: source.citation for source in plan.sources}


def is_local(plan: Plan, rule: str) -> bool:
    """Return whether the clinic changed or added a rule."""
    return rule in plan.protocol.local_rules


def _lines(plan: Plan, stage: PlanStage, citations: dict[str, str]) -> Iterator[Line]:
    local = " (local)" if is_local(plan, stage.kind) else ""
    on_road = stage.road == "prosthetic" and stage.status not in ("done", "under_way")
    where = "is shown on the prosthetic road" if on_road else "is in the plan"
    yield Line(0, "", f"Why {stage.label.lower()}{local} {where}")
    for item in stage.because:
        if not item.against:
            yield from reason_lines(item, citations)
    against = [item for item in stage.because if item.against]
    if against:
        yield Line(0, "", "Reasons against it")
    for item in against:
        yield from reason_lines(item, citations)
    if stage.device is not None:
        yield from _device(stage.device, citations)
    if stage.gates:
        yield Line(0, "", "Conditions to be met before it starts")
        for gate in stage.gates:
            yield from _gate(gate, citations)
    ties = graph_of(plan).edges_into(stage.id)
    if ties:
        yield Line(0, "", "What comes before it")
        for edge in ties:
            yield from _after(plan, edge.rule, citations)
    if stage.spans:
        yield Line(0, "", "Joints that the device is carried across")
        for span in stage.spans:
            yield Line(1, "", f"{SPANNED[span.joint]}: {need_words(span)}")
            for item in span.because:
                yield from reason_lines(item, citations, depth=2)
    if stage.amount_limits:
        yield Line(0, "", "Limits on the amount")
        for limit in stage.amount_limits:
            warns = "warns: the planned amount is above it" if limit.beyond else "warns"
            kind = "binds" if limit.binds else warns if limit.warns else "allows more"
            local = " [local]" if is_local(plan, limit.rule) else ""
            yield Line(1, "", f"{limit.limit_mm:.0f} mm ({kind}): {limit.words}{local}")
            yield from indirect_lines(limit.indirect)
            yield from source_lines(2, limit.sources, citations)
    if stage.delay:
        yield Line(0, "", "If it is delayed")
        for text in stage.delay:
            yield Line(1, "", text)
    if stage.preferred:
        yield Line(0, "", "Wishes for its date")
        yield Line(1, "", stage.preferred)
    if stage.stop_rules:
        yield Line(0, "", "When to slow or stop")
        for text in stage.stop_rules:
            yield Line(1, "", text)


def reason_lines(item: Reason, citations: dict[str, str], depth: int = 1) -> Iterator[Line]:
    """Yield a rule with its origin, its judged condition and its sources."""
    yield Line(depth, item.verdict.state if item.verdict else "", f"{item.text} [{_origin(item)}]")
    if item.verdict is not None:
        yield from _verdict(depth + 1, item.verdict)
    yield from indirect_lines(item.indirect)
    yield from source_lines(depth + 1, item.sources, citations)


def _device(device: PlanDevice, citations: dict[str, str]) -> Iterator[Line]:
    local = " [local]" if device.local else ""
    yield Line(0, "", f"With which device: {device.label}{local}")
    yield Line(1, "", device.why)
    if device.verdict is not None:
        yield from _verdict(1, device.verdict)
    for text in device.checks:
        yield Line(1, "", f"to be checked: {text}")
    yield Line(1, "", device.removal)
    yield Line(1, "", device.walking)
    if device.complications:
        yield Line(1, "", device.complications)
    yield from source_lines(1, device.sources, citations)
    for other in device.others:
        yield Line(1, "holds" if other.possible else "fails", f"{other.label}: {other.why}")


def _gate(gate: GateState, citations: dict[str, str]) -> Iterator[Line]:
    yield Line(1, gate.state, f"{gate.sentence} [{_origin(gate)}]")
    yield Line(2, "", gate.because)
    yield from indirect_lines(gate.indirect)
    if gate.look_again_on is not None:
        yield Line(2, "", f"to be measured again from {gate.look_again_on}")
    yield from source_lines(2, gate.sources, citations)


def after_words(plan: Plan, edge: After) -> str:
    """Return a tie to an earlier stage in words: how long after what, and why."""
    label = next((stage.label for stage in plan.stages if stage.id == edge.stage), edge.stage)
    point = "the start" if edge.from_point == "start" else "the end"
    if edge.at_most_months == 0:
        text = f"on the day of {point} of {label.lower()}"
    elif not edge.at_least_months:
        text = f"after {point} of {label.lower()}"
    else:
        text = f"at least {edge.at_least_months} months after {point} of {label.lower()}"
    local = " [local]" if is_local(plan, edge.rule) else ""
    return f"{text}: {edge.because}{local}"


def _after(plan: Plan, edge: After, citations: dict[str, str]) -> Iterator[Line]:
    yield Line(1, "", after_words(plan, edge))
    yield from indirect_lines(edge.indirect)
    yield from source_lines(2, edge.sources, citations)


def _verdict(depth: int, verdict: Verdict) -> Iterator[Line]:
    if verdict.parts:
        for part in verdict.parts:
            yield from _verdict(depth, part)
        return
    yield Line(depth, verdict.state, f"{verdict.sentence} (asked: {verdict.test})")


def _origin(item: Reason | GateState) -> str:
    local = "local, " if item.local else ""
    return f"{local}{PROVENANCE_WORDS[item.provenance]}, {item.strength.replace('_', ' ')}"


def indirect_lines(indirect: str) -> Iterator[Line]:
    """Yield how far the evidence of a rule is from this child, where its rule says so."""
    if indirect:
        yield Line(2, "", how_indirect(indirect))


def source_lines(depth: int, sources: tuple[str, ...], citations: dict[str, str]) -> Iterator[Line]:
    """Yield each source with its citation."""
    for source in sources:
        yield Line(depth, "", f"source: {citations.get(source, source)}")
