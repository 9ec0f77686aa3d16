"""Which stages this child needs, with which gates, and what comes after what.

The pathway graph is built in one pass over the protocol's stages by rank, so that a rule may ask whether an
earlier stage is planned. Repeated stages are numbered; lengthenings are emitted as often as the protocol
allows, the surplus for the strategy to drop.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from pathway.days import add_months
from pathway.preferences import wishes_of
from pathway.protocol.model import Contraindication, Gate, Indication, Interval, Protocol, Stage
from pathway.protocol.question import Question
from pathway.protocol.roles import carrier_of, numbered_with, only_with_role, predecessor_of, with_role
from pathway.record import Decision, Operation, Record
from pathway.rule_engine.conditions import Facts, judge
from pathway.rule_engine.devices import device_of, devices_of
from pathway.rule_engine.graph import (
    ChildGraph,
    Considered,
    Edge,
    GateState,
    PathwayGraph,
    Point,
    StageItem,
    State,
)
from pathway.rule_engine.roads import standing_of
from pathway.rule_engine.spans import Span, spans_of
from pathway.rule_engine.verdict import Verdict


def stage(facts: Facts, question: Question) -> ChildGraph:
    """Return the pathway graph of one child on one day.

    A stage whose required indication holds is planned, one whose optional indication holds is optional, one
    whose indication cannot be judged is unknown. Gates are judged for the next undone stage of each kind;
    for the following numbers they read `later`.
    """
    items: list[StageItem] = []
    considered: list[Considered] = []
    facts = replace(facts, wished=_wished(question), planned=frozenset(), offered=frozenset())
    elsewhere = {rule.stage for rule in question.protocol.both_sided if rule.only}
    kinds = [kind for kind in question.protocol.stages if question.both_sides or kind.id not in elsewhere]
    for kind in sorted(kinds, key=lambda item: (item.rank, item.id)):
        done = _done(kind, question)
        judged = _considered(kind, len(done), facts, question.record, question.protocol)
        considered.extend(judged)
        undone = _undone(kind, len(done), [*items, *done], judged, question)
        items += [*done, *undone]
        if undone:
            facts = replace(
                facts,
                planned=facts.planned | {n.kind for n in undone if n.state in ("planned", "possible")},
                offered=facts.offered | {n.kind for n in undone if n.state == "optional"},
            )
    alternative = only_with_role("prosthetic_alternative", question.protocol)
    standing = standing_of(alternative, items, considered, wishes_of(question.record).road)
    if standing.prosthetic_first:
        items = [_waiting(item) for item in items]
    edges = (*_edges(items, question.protocol), *_past(items, question.protocol))
    verdicts: dict[str, Verdict] = {}
    spanned = {rule.stage for rule in question.protocol.spans}
    spans = {kind: spans_of(facts, question.protocol, kind) for kind in spanned}
    gated = tuple(_with_gates(item, items, facts, question, verdicts, spans) for item in items)
    roles = {kind.id: kind.role for kind in question.protocol.stages}
    mended = frozenset(name for item in items if item.state == "planned" for name in item.stage.mends)
    devices = devices_of(facts, question.protocol, mended)
    return PathwayGraph(gated, edges, considered, roles, standing, devices, _limits_off(facts, question.protocol))


def _limits_off(facts: Facts, protocol: Protocol) -> frozenset[str]:
    """Return the limits of amounts that hold only for other children."""
    asked = ((rule.id, rule.when) for rule in protocol.amount_limits if rule.when is not None)
    return frozenset(id for id, when in asked if judge(when, facts, protocol).state != "holds")


def _wished(question: Question) -> frozenset[str]:
    """Return the stages that family or team asked for: the prosthetic road, where it was wished or chosen."""
    wished = wishes_of(question.record).road == "prosthetic"
    return frozenset(stage.id for stage in with_role("prosthetic_alternative", question.protocol) if wished)


def _waiting(item: StageItem) -> StageItem:
    """Return a stage that only the lengthening road needs as one that may be asked for, not one that is planned."""
    own = item.stage.road == "lengthening" and item.state == "planned"
    return replace(item, state="optional") if own else item


def numbered(kind: str, number: int, most: int) -> str:
    """Return a stage's id: the kind, with its number where the kind may repeat, or was repeated all the same."""
    return f"{kind}_{number}" if most > 1 or number > 1 else kind


def _done(kind: Stage, question: Question) -> list[StageItem]:
    leader = predecessor_of(kind, question.protocol)
    if leader is not None:
        return _done_followers(kind, leader, question)
    if carrier_of(kind, question.protocol) is not None:
        return _done_removals(kind, question)
    done = []
    operations = [op for op in question.record.operations if op.kind == kind.id and op.date <= question.on]
    for number, operation in enumerate(operations, start=1):
        ended = operation.device_removed
        if ended is not None and ended > question.on:
            ended = None
        if kind.bone is None:
            ended = add_months(operation.date, kind.duration_months or 0)
        state: State = "under_way" if ended is None or (kind.duration_months and ended > question.on) else "done"
        done.append(
            StageItem(
                numbered(kind.id, number, kind.most),
                kind,
                number,
                state,
                operation=operation,
                done_on=operation.date,
                ended_on=ended,
            )
        )
    return done


def _done_followers(kind: Stage, leader: Stage, question: Question) -> list[StageItem]:
    on = question.on
    lengthenings = [op for op in question.record.operations if op.kind == leader.id and op.date <= on]
    done = []
    for number, operation in enumerate(lengthenings, start=1):
        start = operation.device_removed
        if start is None or start > on:
            break
        if not _goes_with(kind, operation, leader, question.protocol):
            continue
        end = add_months(start, kind.duration_months or 0)
        state: State = "done" if end <= on else "under_way"
        done.append(StageItem(numbered(kind.id, number, kind.most), kind, number, state, done_on=start, ended_on=end))
    return done


def _goes_with(kind: Stage, operation: Operation | None, leader: Stage, protocol: Protocol) -> bool:
    """Return whether a stage belongs to a lengthening that was done: its device comes off so, its nail out so."""
    if leader.bone is None or kind.role not in ("device_removal", "implant_removal"):
        return True
    stays = device_of(operation, leader.bone, protocol).removal == "own_stage"
    if kind.role == "implant_removal":
        return stays
    return not (stays and any(carrier_of(stage, protocol) == leader for stage in protocol.stages))


def _done_removals(kind: Stage, question: Question) -> list[StageItem]:
    """Return the removals of nails that were done, each with the number of the lengthening whose nail it took out."""
    carrier = carrier_of(kind, question.protocol)
    if carrier is None:
        return []
    before = [op for op in question.record.operations if op.date <= question.on]
    carried = [
        (number, op)
        for number, op in enumerate((op for op in before if op.kind == carrier.id), start=1)
        if _goes_with(kind, op, carrier, question.protocol)
    ]
    done: list[StageItem] = []
    for operation in (op for op in before if op.kind == kind.id):
        taken = {item.number for item in done}
        own = [number for number, op in carried if number not in taken and op.date <= operation.date]
        # A nail of which no lengthening is recorded still came out: it gets the next number that is free.
        number = own[0] if own else max([*taken, *(number for number, _ in carried)], default=0) + 1
        ended = add_months(operation.date, kind.duration_months or 0)
        state: State = "under_way" if ended > question.on else "done"
        name = numbered(kind.id, number, kind.most)
        done.append(StageItem(name, kind, number, state, operation=operation, done_on=operation.date, ended_on=ended))
    return done


def _undone(
    kind: Stage,
    done: int,
    items: list[StageItem],
    judged: list[Considered],
    question: Question,
) -> list[StageItem]:
    record, protocol = question.record, question.protocol
    indicated = [(item.rule, item.verdict) for item in judged if isinstance(item.rule, Indication)]
    leader = numbered_with(kind, protocol)
    if leader is not None:
        return _followers(kind, leader, items, indicated, protocol)
    required = [pair for pair in indicated if not pair[0].optional and pair[1].state == "holds"]
    optional = [pair for pair in indicated if pair[0].optional and pair[1].state == "holds"]
    unknown = [pair for pair in indicated if pair[1].state == "unknown"]
    if done >= kind.most or not (required or optional or unknown):
        return []
    if done and _waits_for_another(kind, required):
        return []
    against = tuple(
        (item.rule, item.verdict)
        for item in judged
        if isinstance(item.rule, Contraindication) and item.verdict.state == "holds" and not item.waived
    )
    if any(rule.impossible for rule, _ in against):
        return []
    state: State = "planned" if required else "optional" if optional else "unknown"
    reasons = tuple(required or optional or unknown)
    repeats = kind.bone is not None and state != "unknown"
    last = kind.most if repeats else done + 1
    found: list[StageItem] = []
    for number in range(done + 1, last + 1):
        name = numbered(kind.id, number, kind.most)
        declined = _declined(kind, name, record) or (found[-1].declined if found else None)
        own: State = state if state == "unknown" else "optional" if declined else "possible" if repeats else state
        found.append(StageItem(name, kind, number, own, reasons, against=against, declined=declined))
    return found


def _declined(kind: Stage, name: str, record: Record) -> Decision | None:
    """The decision against a stage, by its kind or its number; what follows a declined one is declined too."""
    return next((d for d in record.decisions if d.kind == "decline" and d.stage in (kind.id, name)), None)


def _waits_for_another(kind: Stage, required: list[tuple[Indication, Verdict]]) -> bool:
    # A stage that follows from another one (implants out) is done once for it, not for ever again; a stage
    # that mends a finding comes back when the finding, measured anew, still asks for it.
    return kind.bone is None and (not required or all(not v.measured_on for _, v in required))


def _followers(
    kind: Stage,
    leader: Stage,
    items: list[StageItem],
    indicated: list[tuple[Indication, Verdict]],
    protocol: Protocol,
) -> list[StageItem]:
    """Return what follows each lengthening and is not done yet; a nail stays in after its lengthening is done."""
    leaders = [item for item in items if item.kind == leader.id]
    here = {item.number for item in items if item.kind == kind.id}
    last = max(here, default=0)
    inside = carrier_of(kind, protocol) is not None
    states = ("under_way", "planned", "possible", *(("done",) if inside else ()))
    return [
        StageItem(
            numbered(kind.id, lead.number, kind.most),
            kind,
            lead.number,
            "planned" if lead.begun else lead.state,
            tuple(indicated),
            against=lead.against,
            declined=lead.declined,
        )
        for lead in leaders
        if lead.number not in here
        and (inside or lead.number > last)
        and lead.state in states
        and (not lead.begun or _goes_with(kind, lead.operation, leader, protocol))
    ]


def _considered(kind: Stage, done: int, facts: Facts, record: Record, protocol: Protocol) -> list[Considered]:
    """Judge every rule for and against a kind of stage of which `done` are done."""
    waived = {decision.gate for decision in record.decisions if decision.kind == "waive_gate"}
    over = done >= kind.most or _declined(kind, numbered(kind.id, done + 1, kind.most), record) is not None
    grounds, opposed = protocol.indications_of(kind.id), protocol.contraindications_of(kind.id)
    return [
        *(Considered(rule, judge(rule.when, facts, protocol), over) for rule in grounds),
        *(Considered(rule, judge(rule.when, facts, protocol), rule.id in waived) for rule in opposed),
    ]


def _with_gates(
    item: StageItem,
    items: list[StageItem],
    facts: Facts,
    question: Question,
    verdicts: dict[str, Verdict],
    spans: Mapping[str, tuple[Span, ...]],
) -> StageItem:
    """Return the stage with its gates and, by kind, its `spans`; `verdicts` keeps what is judged, for repeated ones."""
    if item.state in ("done", "under_way", "unknown"):
        return item
    rules = [rule for rule in question.protocol.gates_of(item.kind) if rule.number in (None, item.number)]
    if not rules:
        return replace(item, spans=spans[item.kind]) if item.kind in spans else item
    first = min(n.number for n in items if n.kind == item.kind and not n.begun)
    for gate in rules:
        if gate.id not in verdicts:
            verdicts[gate.id] = judge(gate.requires, facts, question.protocol)
    return replace(
        item,
        gates=tuple(_gate(gate, verdicts[gate.id], item.number > first, items, question.record) for gate in rules),
        spans=spans.get(item.kind, ()),
    )


def _gate(gate: Gate, verdict: Verdict, later: bool, items: list[StageItem], record: Record) -> GateState:
    waiver = next((d for d in record.decisions if d.kind == "waive_gate" and d.gate == gate.id), None)
    if later:
        return GateState(gate, "later", verdict)
    if waiver is not None and gate.waivable and verdict.state != "holds":
        return GateState(gate, "waived", verdict, waived_because=waiver.reason)
    mended_by = None
    if verdict.state == "fails" and gate.otherwise is not None:
        mended_by = next((n.id for n in items if n.kind == gate.otherwise and n.state == "planned"), None)
    return GateState(gate, verdict.state, verdict, mended_by=mended_by)


def _edges(items: list[StageItem], protocol: Protocol) -> Iterator[Edge[Interval]]:
    placed: dict[str, list[StageItem]] = {}
    for item in items:
        if item.state not in ("unknown", "optional") or _on_prosthetic_road(item):
            placed.setdefault(item.kind, []).append(item)
    for rule in protocol.intervals:
        for first, second in _pairs(rule, placed.get(rule.earlier_stage, []), placed.get(rule.later_stage, [])):
            # What is done waits for nothing still to come; only a rule of either order binds the other way.
            if first.begun and second.begun:
                continue
            if (second.begun and not rule.either_order) or (rule.together and (first.begun or second.begun)):
                continue
            yield _edge(rule, first, second)


def _on_prosthetic_road(item: StageItem) -> bool:
    """Return whether a stage is one of the prosthetic road: dated by nobody, but in its order."""
    return item.stage.road == "prosthetic" and item.state == "optional"


def _past(items: list[StageItem], protocol: Protocol) -> Iterator[Edge[Interval]]:
    begun = [item for item in items if item.done_on is not None]
    kinds = {item.kind for item in begun}
    for rule in protocol.intervals:
        if rule.either_order or not {rule.earlier_stage, rule.later_stage} <= kinds:
            continue
        for second in begun:
            if second.kind != rule.later_stage:
                continue
            before = [
                first
                for first in begun
                if first.kind == rule.earlier_stage
                and first.id != second.id
                and (first.done_on or datetime.date.max) <= (second.done_on or datetime.date.min)
                and (numbered_with(second.stage, protocol) is None or first.number == second.number)
            ]
            if before:
                yield _edge(rule, before[-1], second, past=True)


def _edge(rule: Interval, earlier: StageItem, later: StageItem, *, past: bool = False) -> Edge[Interval]:
    points: list[Point] = ["end" if event.endswith(".end") else "start" for event in (rule.earlier, rule.later)]
    return Edge(earlier.id, points[0], later.id, points[1], rule, rule.either_order, past)


def _pairs(rule: Interval, earlier: list[StageItem], later: list[StageItem]) -> Iterable[tuple[StageItem, StageItem]]:
    if rule.next and rule.earlier_stage == rule.later_stage:
        yield from itertools.pairwise(earlier)
    elif rule.next:
        following = {item.number: item for item in later}
        yield from ((item, following[item.number + 1]) for item in earlier if item.number + 1 in following)
    elif rule.starts_at_end or rule.paired:
        by_number = {item.number: item for item in later}
        yield from ((item, by_number[item.number]) for item in earlier if item.number in by_number)
    elif rule.either_order:
        yield from ((first, second) for first in earlier for second in later)
    else:
        # A numbered stage waits for the last preparation; the following numbers wait for the first.
        undone = [item for item in later if not item.begun] or later
        yield from ((first, undone[0]) for first in earlier if undone)
