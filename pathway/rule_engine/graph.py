"""The pathway graph: stages with their roles, what comes after what by which rule, and every condition judged.

Staging makes the one of a child; timing, courses and the plan read it. `plan.graph.graph_of` makes the same graph of a
finished plan for the views. Two stages may be tied by several rules: as a networkx multigraph it is made when the order
of the stages is asked for, since loading that library takes longer than most of what a plan asks of the graph.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Generic, Literal, Protocol, TypeVar

from pathway.protocol.model import Contraindication, Gate, Indication, Interval, Role, Stage
from pathway.record import Decision, Operation
from pathway.rule_engine.spans import Span
from pathway.rule_engine.verdict import Verdict

if TYPE_CHECKING:
    import networkx as nx

    from pathway.rule_engine.devices import DeviceState
    from pathway.rule_engine.roads import Standing

State = Literal["done", "under_way", "planned", "possible", "optional", "unknown"]
"""`possible`: emitted for the strategy to use or drop; `unknown`: the indication cannot be judged."""
GateStatus = Literal["holds", "fails", "unknown", "waived", "later"]
Point = Literal["start", "end"]
BEGUN: tuple[State, ...] = ("done", "under_way")


@dataclass(frozen=True, slots=True)
class GateState:
    """A gate judged on the day; `mended_by` names an earlier planned stage that is meant to mend it."""

    gate: Gate
    state: GateStatus
    verdict: Verdict
    waived_because: str | None = None
    mended_by: str | None = None


@dataclass(frozen=True, slots=True)
class StageItem:
    """One stage of a child, numbered, with why it is there, its gates, and what speaks against it.

    `operation` is the operation done, for stages done or under way.
    """

    id: str
    stage: Stage
    number: int
    state: State
    indicated: tuple[tuple[Indication, Verdict], ...] = ()
    gates: tuple[GateState, ...] = ()
    against: tuple[tuple[Contraindication, Verdict], ...] = ()
    spans: tuple[Span, ...] = ()
    declined: Decision | None = None
    operation: Operation | None = None
    done_on: datetime.date | None = None
    ended_on: datetime.date | None = None

    @property
    def kind(self) -> str:
        """Return the id of the stage in the rules, without the number."""
        return self.stage.id

    @property
    def role(self) -> Role | None:
        """Return what the planner does with the stage."""
        return self.stage.role

    @property
    def begun(self) -> bool:
        """Return whether the stage is done or under way."""
        return self.state in BEGUN

    @property
    def within_protocol(self) -> bool:
        """Return whether no contraindication stands against the stage."""
        return not self.against


@dataclass(frozen=True, slots=True)
class Considered:
    """An indication or contraindication judged on the day, whether or not its stage is needed.

    `waived` rules are judged and do not count: a contraindication waived by a decision, an indication of a
    stage that was declined or has been done as often as it may be.
    """

    rule: Indication | Contraindication
    verdict: Verdict
    waived: bool = False


class Node(Protocol):
    """What a stage needs to stand in the graph: an id of its own, and the kind of stage it is one of."""

    @property
    def id(self) -> str:
        """Return the id, with its number where the kind repeats."""

    @property
    def kind(self) -> str:
        """Return the id of the stage in the rules."""


class Months(Protocol):
    """The interval behind an edge."""

    @property
    def at_least_months(self) -> int | None:
        """Return the least whole months."""

    @property
    def at_most_months(self) -> int | None:
        """Return the most whole months."""


S = TypeVar("S", bound=Node)
R = TypeVar("R", bound=Months)


@dataclass(frozen=True, slots=True)
class Edge(Generic[R]):
    """`later` (a stage id) comes after `earlier` by the interval of the rule, from one point to the other.

    With `either_order` the two may come the other way round. `past` ties what is done to what was done before it:
    for showing, it binds no date.
    """

    earlier: str
    earlier_point: Point
    later: str
    later_point: Point
    rule: R
    either_order: bool = False
    past: bool = False

    @property
    def starts_at_end(self) -> bool:
        """Return whether the later stage starts on the very day on which the earlier one ends."""
        return self.earlier_point == "end" and self.rule.at_most_months == 0


class PathwayGraph(Generic[S, R]):
    """The stages of one child in their order, the edges between them, and every rule that was considered.

    `roles` has the role of each kind of stage, `standing` how the two roads stand, `devices` how each device is judged
    (None and empty in the graph of a plan), `limits_off` the limits of amounts that are none for this child.
    `edges` bind dates, `past` ones do not; both stand in the order of the rules that made them.
    """

    def __init__(
        self,
        stages: Iterable[S],
        edges: Iterable[Edge[R]],
        considered: Iterable[Considered] = (),
        roles: Mapping[str, Role | None] | None = None,
        standing: Standing | None = None,
        devices: Iterable[DeviceState] = (),
        limits_off: frozenset[str] = frozenset(),
    ) -> None:
        made = tuple(edges)
        self.edges: tuple[Edge[R], ...] = tuple(edge for edge in made if not edge.past)
        self.past: tuple[Edge[R], ...] = tuple(edge for edge in made if edge.past)
        self._stages = {stage.id: stage for stage in stages}
        self._roles = {id: (roles or {}).get(stage.kind) for id, stage in self._stages.items()}
        self._at: dict[str, list[Edge[R]]] = {id: [] for id in self._stages}
        for edge in (*self.edges, *self.past):
            for id in {edge.earlier, edge.later}:
                self._at[id].append(edge)
        self.stages: tuple[S, ...] = tuple(self._stages.values())
        self.considered = tuple(considered)
        self.standing = standing
        self.devices = tuple(devices)
        self.limits_off = limits_off

    @cached_property
    def networkx(self) -> nx.MultiDiGraph[str]:
        """Return the graph for networkx, frozen: each node with its `stage` and `role`, each arc with its `edge`."""
        import networkx as nx  # noqa: PLC0415

        graph: nx.MultiDiGraph[str] = nx.MultiDiGraph()
        for id, stage in self._stages.items():
            graph.add_node(id, stage=stage, role=self._roles[id])
        for place, edge in enumerate((*self.edges, *self.past)):
            graph.add_edge(edge.earlier, edge.later, key=place, edge=edge)
        nx.freeze(graph)
        return graph

    def __contains__(self, id: str) -> bool:
        return id in self._stages

    def stage(self, id: str) -> S:
        """Return one stage by id; raises KeyError when it is not in the graph."""
        return self._stages[id]

    def of_kind(self, kind: str) -> tuple[S, ...]:
        """Return the stages of one kind in their order."""
        return tuple(stage for stage in self.stages if stage.kind == kind)

    def of_role(self, role: Role) -> tuple[S, ...]:
        """Return the stages of one role in their order."""
        return tuple(stage for id, stage in self._stages.items() if self._roles[id] == role)

    def edges_into(self, id: str) -> tuple[Edge[R], ...]:
        """Return the edges from earlier stages to this one, in the order of the rules, past ones last."""
        return tuple(edge for edge in self._at[id] if edge.later == id)

    def edges_from(self, id: str) -> tuple[Edge[R], ...]:
        """Return the edges from this stage to later ones, in the order of the rules, past ones last."""
        return tuple(edge for edge in self._at[id] if edge.earlier == id)

    def edges_at(self, id: str) -> tuple[Edge[R], ...]:
        """Return all edges that join a stage to others, in the order of the rules, past ones last."""
        return tuple(self._at[id])

    def followers(self, id: str) -> tuple[S, ...]:
        """Return the stages that start on the day on which this one ends: its device comes off, it is watched."""
        return tuple(self.stage(edge.later) for edge in self.edges_from(id) if edge.starts_at_end and not edge.past)

    def removals(self, id: str) -> tuple[S, ...]:
        """Return the stages that take out, after a lengthening has ended, the nail that may have done it."""
        paired = (edge for edge in self.edges_from(id) if not edge.past)
        found = {edge.later: self.stage(edge.later) for edge in paired}
        return tuple(stage for later, stage in found.items() if self._roles[later] == "implant_removal")

    def leader(self, id: str) -> S | None:
        """Return the stage on whose last day this one starts, or None where it starts by itself."""
        ends = (edge for edge in self.edges_into(id) if edge.starts_at_end and not edge.past)
        return next((self.stage(edge.earlier) for edge in ends), None)

    def tied(self, id: str) -> bool:
        """Return whether any edge joins the stage to another."""
        return bool(self._at[id])

    def order(self) -> nx.DiGraph[str]:
        """Return the order of the stages for networkx: an arc to each stage from those that it waits for."""
        import networkx as nx  # noqa: PLC0415

        arcs: nx.DiGraph[str] = nx.DiGraph()
        arcs.add_nodes_from(self.networkx)
        arcs.add_edges_from((edge.earlier, edge.later) for edge in (*self.edges, *self.past) if not edge.either_order)
        return arcs

    def direct_order(self) -> nx.DiGraph[str]:
        """Return the order without the arcs that others imply."""
        import networkx as nx  # noqa: PLC0415

        return nx.transitive_reduction(self.order())

    def chain(self, id: str) -> frozenset[str]:
        """Return the ids of a stage and of all that come before it; raises KeyError when it is not in the graph."""
        import networkx as nx  # noqa: PLC0415

        if id not in self._stages:
            raise KeyError(id)
        return frozenset(nx.ancestors(self.order(), id)) | {id}


ChildGraph = PathwayGraph[StageItem, Interval]
"""The graph that staging makes of a child."""
