"""Which stages this child needs, with which gates, and what comes after what.

The stage graph is built in one pass over the protocol's stages by rank, so that a rule may ask whether an
earlier stage is planned. Repeated stages are numbered; lengthenings are emitted as often as the protocol
allows, the surplus for the strategy to drop.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from pathway.days import add_months
from pathway.protocol.model import Contraindication, Gate, Indication, Interval, Protocol, Stage
from pathway.protocol.roles import follows
from pathway.record import Decision, Operation, Record
from pathway.rule_engine.conditions import Facts, judge
from pathway.rule_engine.verdict import Verdict

if TYPE_CHECKING:
    import networkx as nx

Need = Literal["done", "under_way", "planned", "possible", "optional", "unknown"]
"""`possible`: emitted for the strategy to use or drop; `unknown`: the indication cannot be judged."""
GateStatus = Literal["holds", "fails", "unknown", "waived", "later"]
Point = Literal["start", "end"]


@dataclass(frozen=True, slots=True)
class GateState:
    """A gate judged on the day; `mended_by` names an earlier planned stage that is meant to mend it."""

    gate: Gate
    state: GateStatus
    verdict: Verdict
    waived_because: str | None = None
    mended_by: str | None = None


@dataclass(frozen=True, slots=True)
class StageNeed:
    """One stage, numbered, with why it is needed, its gates, and what speaks against it.

    `operation` is the operation done, for stages done or under way.
    """

    id: str
    stage: Stage
    number: int
    need: Need
    indicated: tuple[tuple[Indication, Verdict], ...] = ()
    gates: tuple[GateState, ...] = ()
    against: tuple[tuple[Contraindication, Verdict], ...] = ()
    declined: Decision | None = None
    operation: Operation | None = None
    done_on: datetime.date | None = None
    ended_on: datetime.date | None = None

    @property
    def within_protocol(self) -> bool:
        """Return whether no contraindication stands against the stage."""
        return not self.against


@dataclass(frozen=True, slots=True)
class Edge:
    """`later` (a stage id) follows `earlier` by the rule's interval, from one point to the other."""

    earlier: str
    earlier_point: Point
    later: str
    later_point: Point
    rule: Interval


@dataclass(frozen=True, slots=True)
class Considered:
    """An indication or contraindication judged on the day, whether or not its stage is needed.

    `waived` rules are judged and do not count: a contraindication waived by a decision, an indication of a
    stage that was declined or has been done as often as it may be.
    """

    rule: Indication | Contraindication
    verdict: Verdict
    waived: bool = False


@dataclass(frozen=True, slots=True)
class StageGraph:
    """The stages of one child in rank order, the edges between them, and every rule that was considered.

    `past` ties what is done to what was done before it: for showing, it binds no date.
    """

    needs: tuple[StageNeed, ...]
    edges: tuple[Edge, ...]
    past: tuple[Edge, ...] = ()
    considered: tuple[Considered, ...] = ()

    def need(self, id: str) -> StageNeed:
        """Return one stage by id; raises KeyError when it is not in the graph."""
        for need in self.needs:
            if need.id == id:
                return need
        raise KeyError(id)

    def of_kind(self, kind: str) -> tuple[StageNeed, ...]:
        """Return the stages of one kind in their order."""
        return tuple(need for need in self.needs if need.stage.id == kind)

    def digraph(self) -> nx.DiGraph[str]:
        """Return the graph for networkx: an arc from each stage to those that wait for it."""
        import networkx as nx  # noqa: PLC0415  (no plan waits for it: only those who draw or search the graph)

        graph: nx.DiGraph[str] = nx.DiGraph()
        graph.add_nodes_from(need.id for need in self.needs)
        graph.add_edges_from((edge.earlier, edge.later) for edge in self.edges if not edge.rule.either_order)
        return graph


def stage(facts: Facts, record: Record, protocol: Protocol, on: datetime.date) -> StageGraph:
    """Return the stage graph of one child on one day.

    A stage whose required indication holds is planned, one whose optional indication holds is optional, one
    whose indication cannot be judged is unknown. Gates are judged for the next undone stage of each kind;
    for the following numbers they read `later`.
    """
    needs: list[StageNeed] = []
    considered: list[Considered] = []
    for kind in sorted(protocol.stages, key=lambda item: (item.rank, item.id)):
        done = _done(kind, record, protocol, on)
        needs.extend(done)
        facts = replace(
            facts,
            planned=frozenset(n.stage.id for n in needs if n.need in ("planned", "possible")),
            offered=frozenset(n.stage.id for n in needs if n.need == "optional"),
        )
        judged = _considered(kind, len(done), facts, record, protocol)
        considered.extend(judged)
        needs.extend(_undone(kind, len(done), needs, judged, record, protocol))
    edges, past = tuple(_edges(needs, protocol)), tuple(_past(needs, protocol))
    verdicts: dict[str, Verdict] = {}
    gated = tuple(_with_gates(need, needs, facts, record, protocol, verdicts) for need in needs)
    return StageGraph(gated, edges, past, tuple(considered))


def numbered(kind: str, number: int, most: int) -> str:
    """Return a stage's id: the kind, with its number where the kind may repeat, or was repeated all the same."""
    return f"{kind}_{number}" if most > 1 or number > 1 else kind


def _done(kind: Stage, record: Record, protocol: Protocol, on: datetime.date) -> list[StageNeed]:
    leader = follows(kind, protocol)
    if leader is not None:
        return _done_followers(kind, leader, record, on)
    done = []
    operations = [op for op in record.operations if op.kind == kind.id and op.date <= on]
    for number, operation in enumerate(operations, start=1):
        ended = operation.device_removed
        if ended is not None and ended > on:
            ended = None
        if kind.bone is None:
            ended = add_months(operation.date, kind.duration_months or 0)
        need: Need = "under_way" if ended is None or (kind.duration_months and ended > on) else "done"
        done.append(
            StageNeed(
                numbered(kind.id, number, kind.most),
                kind,
                number,
                need,
                operation=operation,
                done_on=operation.date,
                ended_on=ended,
            )
        )
    return done


def _done_followers(kind: Stage, leader: Stage, record: Record, on: datetime.date) -> list[StageNeed]:
    lengthenings = [op for op in record.operations if op.kind == leader.id and op.date <= on]
    done = []
    for number, operation in enumerate(lengthenings, start=1):
        start = operation.device_removed
        if start is None or start > on:
            break
        end = add_months(start, kind.duration_months or 0)
        need: Need = "done" if end <= on else "under_way"
        done.append(StageNeed(numbered(kind.id, number, kind.most), kind, number, need, done_on=start, ended_on=end))
    return done


def _undone(
    kind: Stage,
    done: int,
    needs: list[StageNeed],
    judged: list[Considered],
    record: Record,
    protocol: Protocol,
) -> list[StageNeed]:
    indicated = [(item.rule, item.verdict) for item in judged if isinstance(item.rule, Indication)]
    leader = follows(kind, protocol)
    if leader is not None:
        return _followers(kind, leader, done, needs, indicated)
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
    need: Need = "planned" if required else "optional" if optional else "unknown"
    reasons = tuple(required or optional or unknown)
    repeats = kind.bone is not None and need != "unknown"
    last = kind.most if repeats else done + 1
    found: list[StageNeed] = []
    for number in range(done + 1, last + 1):
        name = numbered(kind.id, number, kind.most)
        declined = _declined(kind, name, record) or (found[-1].declined if found else None)
        own: Need = need if need == "unknown" else "optional" if declined else "possible" if repeats else need
        found.append(StageNeed(name, kind, number, own, reasons, against=against, declined=declined))
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
    done: int,
    needs: list[StageNeed],
    indicated: list[tuple[Indication, Verdict]],
) -> list[StageNeed]:
    leaders = [need for need in needs if need.stage.id == leader.id]
    return [
        StageNeed(
            numbered(kind.id, lead.number, kind.most),
            kind,
            lead.number,
            "planned" if lead.need == "under_way" else lead.need,
            tuple(indicated),
            against=lead.against,
            declined=lead.declined,
        )
        for lead in leaders
        if lead.number > done and lead.need in ("under_way", "planned", "possible")
    ]


def _considered(kind: Stage, done: int, facts: Facts, record: Record, protocol: Protocol) -> list[Considered]:
    """Judge every rule for and against a kind of stage of which `done` are done."""
    waived = {decision.gate for decision in record.decisions if decision.kind == "waive_gate"}
    over = done >= kind.most or _declined(kind, numbered(kind.id, done + 1, kind.most), record) is not None
    grounds = [rule for rule in protocol.indications if rule.stage == kind.id]
    opposed = [rule for rule in protocol.contraindications if rule.stage == kind.id]
    return [
        *(Considered(rule, judge(rule.when, facts, protocol), over) for rule in grounds),
        *(Considered(rule, judge(rule.when, facts, protocol), rule.id in waived) for rule in opposed),
    ]


def _with_gates(
    need: StageNeed,
    needs: list[StageNeed],
    facts: Facts,
    record: Record,
    protocol: Protocol,
    verdicts: dict[str, Verdict],
) -> StageNeed:
    """Return the stage with its gates; `verdicts` keeps what is judged, for stages that are repeated."""
    if need.need in ("done", "under_way", "unknown"):
        return need
    rules = [gate for gate in protocol.gates if gate.guards == need.stage.id]
    first = min(n.number for n in needs if n.stage.id == need.stage.id and n.need not in ("done", "under_way"))
    for gate in rules:
        if gate.id not in verdicts:
            verdicts[gate.id] = judge(gate.requires, facts, protocol)
    return replace(
        need, gates=tuple(_gate(gate, verdicts[gate.id], need.number > first, needs, record) for gate in rules)
    )


def _gate(gate: Gate, verdict: Verdict, later: bool, needs: list[StageNeed], record: Record) -> GateState:
    waiver = next((d for d in record.decisions if d.kind == "waive_gate" and d.gate == gate.id), None)
    if later:
        return GateState(gate, "later", verdict)
    if waiver is not None and gate.waivable and verdict.state != "holds":
        return GateState(gate, "waived", verdict, waived_because=waiver.reason)
    mended_by = None
    if verdict.state == "fails" and gate.otherwise is not None:
        mended_by = next((n.id for n in needs if n.stage.id == gate.otherwise and n.need == "planned"), None)
    return GateState(gate, verdict.state, verdict, mended_by=mended_by)


def _edges(needs: list[StageNeed], protocol: Protocol) -> Iterable[Edge]:
    placed = [need for need in needs if need.need not in ("unknown", "optional")]
    for rule in protocol.intervals:
        earlier_point: Point = "end" if rule.earlier.endswith(".end") else "start"
        later_point: Point = "end" if rule.later.endswith(".end") else "start"
        kinds = rule.earlier_stage, rule.later_stage
        earlier, later = ([need for need in placed if need.stage.id == kind] for kind in kinds)
        for first, second in _pairs(rule, earlier, later):
            begun = [need.need in ("done", "under_way") for need in (first, second)]
            # What is done waits for nothing still to come; only a rule of either order binds the other way.
            if all(begun) or (begun[1] and not rule.either_order) or (rule.together and any(begun)):
                continue
            yield Edge(first.id, earlier_point, second.id, later_point, rule)


def _past(needs: list[StageNeed], protocol: Protocol) -> Iterable[Edge]:
    begun = [need for need in needs if need.done_on is not None]
    for rule in protocol.intervals:
        for second in begun:
            if second.stage.id != rule.later_stage or rule.either_order:
                continue
            before = [
                first
                for first in begun
                if first.stage.id == rule.earlier_stage
                and first.id != second.id
                and (first.done_on or datetime.date.max) <= (second.done_on or datetime.date.min)
                and (follows(second.stage, protocol) is None or first.number == second.number)
            ]
            if before:
                points: tuple[Point, Point] = (
                    "end" if rule.earlier.endswith(".end") else "start",
                    "end" if rule.later.endswith(".end") else "start",
                )
                yield Edge(before[-1].id, points[0], second.id, points[1], rule)


def _pairs(rule: Interval, earlier: list[StageNeed], later: list[StageNeed]) -> Iterable[tuple[StageNeed, StageNeed]]:
    if rule.next:
        yield from itertools.pairwise(earlier)
    elif rule.at_most_months == 0 and rule.earlier.endswith(".end"):
        by_number = {need.number: need for need in later}
        yield from ((need, by_number[need.number]) for need in earlier if need.number in by_number)
    elif rule.either_order:
        yield from ((first, second) for first in earlier for second in later)
    else:
        # A numbered stage waits for the last preparation; the following numbers wait for the first.
        undone = [need for need in later if need.need not in ("done", "under_way")] or later
        yield from ((first, undone[0]) for first in earlier if undone)
