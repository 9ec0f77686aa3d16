"""The order of stages has no circle: what comes before what by intervals, mending gates and questions on stages.

Stages that are done in one sitting count as one.
"""

from __future__ import annotations

from collections.abc import Iterator

import networkx as nx

from pathway.protocol.model import Condition, Protocol
from pathway.protocol.prove.complaint import Complaint

Precedence = tuple[str, str, str]
"""The earlier stage, the later one, and the rule that says so."""


def order_faults(protocol: Protocol) -> Iterator[Complaint]:
    """Yield stages of equal rank, and each circle of stages, named by its rules."""
    yield from _equal_ranks(protocol)
    sittings = _sittings(protocol)
    graph: nx.DiGraph[frozenset[str]] = nx.DiGraph()
    for earlier, later, rule in _precedences(protocol):
        one, two = sittings[earlier], sittings[later]
        if one == two:
            found = f"{earlier} before {later}, which another rule puts into one sitting"
            yield Complaint(rule, found, "one of the two", "correct one of the rules")
        elif not graph.has_edge(one, two):
            graph.add_edge(one, two, said=(earlier, later, rule))
    for group in nx.strongly_connected_components(graph):
        if len(group) > 1:
            arcs = [graph.edges[arc[:2]]["said"] for arc in nx.find_cycle(graph.subgraph(group))]
            way = "; ".join(f"{earlier} before {later} ({rule})" for earlier, later, rule in arcs)
            yield Complaint(arcs[0][2], f"a circle: {way}", "an order without a circle", "correct one of these rules")


def _equal_ranks(protocol: Protocol) -> Iterator[Complaint]:
    # Stages are judged and shown by rank: of two with one rank, the order of the files would decide.
    seen: dict[int, str] = {}
    for stage in protocol.stages:
        if stage.rank in seen:
            found = f"the rank {stage.rank}, which {seen[stage.rank]} has too"
            yield Complaint(stage.id, found, "a rank of its own", "give one of them another rank")
        seen[stage.rank] = stage.id


def _sittings(protocol: Protocol) -> dict[str, frozenset[str]]:
    graph: nx.Graph[str] = nx.Graph()
    graph.add_nodes_from(stage.id for stage in protocol.stages)
    for rule in protocol.intervals:
        if rule.together and rule.at_most_months == 0:
            graph.add_edge(rule.earlier_stage, rule.later_stage)
    return {stage: frozenset(group) for group in nx.connected_components(graph) for stage in group}


def _precedences(protocol: Protocol) -> Iterator[Precedence]:
    for rule in protocol.intervals:
        same = rule.earlier_stage == rule.later_stage
        sitting = rule.together and rule.at_most_months == 0 and not same
        if not (rule.either_order or rule.next or sitting):
            yield rule.earlier_stage, rule.later_stage, rule.id
    for gate in protocol.gates:
        if gate.otherwise is not None:
            yield gate.otherwise, gate.guards, gate.id
        yield from _asked(gate.requires, gate.guards, gate.id)
    for indication in protocol.indications:
        yield from _asked(indication.when, indication.stage, indication.id, protocol)
    for contra in protocol.contraindications:
        if contra.instead is not None:
            yield from _asked(contra.when, contra.stage, contra.id)


def _asked(condition: Condition, stage: str, rule: str, grounds: Protocol | None = None) -> Iterator[Precedence]:
    """Yield the stages asked about, as earlier ones; `grounds` are the rules where an indication asks.

    There `planned` and `offered` only tell what else the child comes to, and `done` of a stage that is repeated speaks
    of an earlier number, while what follows from it may prepare the next one.
    """
    for leaf in condition.leaves():
        if leaf.stage is None or leaf.stage == stage:
            continue
        if grounds is not None and (leaf.equals in ("planned", "offered") or grounds.stage(leaf.stage).most > 1):
            continue
        yield leaf.stage, stage, rule
