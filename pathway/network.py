"""Simple temporal network over whole days: links with the rule's name in, windows or a named conflict out.

It knows no medicine. A link says that `later` comes at least and at most so many days after `earlier`.
The windows are shortest paths from and to the origin (Dechter, Meiri, Pearl 1991); a network has a solution
exactly when it has no negative cycle.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import networkx as nx
import numpy as np


@dataclass(frozen=True, slots=True)
class Link:
    """`later` happens at least / at most so many days after `earlier`; `rule` says who demands it."""

    earlier: str
    later: str
    at_least_days: int | None
    at_most_days: int | None
    rule: str


@dataclass(frozen=True, slots=True)
class Window:
    """Earliest and latest day of an event after the origin; `latest_day` None when nothing bounds it."""

    earliest_day: int
    latest_day: int | None


@dataclass(frozen=True, slots=True)
class Conflict:
    """The fewest links' rules that contradict each other, and by how many days they miss."""

    rules: tuple[str, ...]
    events: tuple[str, ...]
    short_by_days: int


def windows(links: Iterable[Link], origin: str) -> Mapping[str, Window] | Conflict:
    """Return the window of every event reachable from `origin`, or the conflict of fewest links.

    An event that nothing ties to the origin from below starts at the origin at the earliest: callers add a
    link of at least 0 days where that is meant; without one its earliest day cannot be told and KeyError is
    raised with the event's name.
    """
    links = tuple(links)
    graph = _distance_graph(links)
    graph.add_node(origin)
    if nx.negative_edge_cycle(graph):
        return fewest_rules_in_conflict(links)
    latest = nx.single_source_bellman_ford_path_length(graph, origin)
    earliest = nx.single_source_bellman_ford_path_length(graph.reverse(copy=False), origin)
    unbound = sorted(set(graph) - set(earliest))
    if unbound:
        raise KeyError(f"event without a lower bound from {origin}: {', '.join(unbound)}")
    return {
        event: Window(-int(earliest[event]), int(latest[event]) if event in latest else None) for event in sorted(graph)
    }


def fewest_rules_in_conflict(links: Iterable[Link]) -> Conflict:
    """Return the negative cycle with the fewest arcs, as the rules on it.

    Min-plus powers of the arc matrix: the first power with a negative diagonal entry gives the length of the
    shortest negative cycle, and the kept predecessors give the cycle. Ties are broken by event name, so the
    answer does not depend on the order of links. networkx's own cycle finder fails on such networks (issue
    5916 of its tracker), therefore this one. Raises ValueError for a consistent network.
    """
    events, weight, rule = _arc_matrix(tuple(links))
    n = len(events)
    walk = weight.copy()
    steps: list[np.ndarray] = []
    for _ in range(n):
        negative = np.flatnonzero(np.diagonal(walk) < 0)
        if negative.size:
            start = int(negative[np.argmin(np.diagonal(walk)[negative])])
            return _conflict(events, rule, _cycle(start, steps), int(walk[start, start]))
        through = walk[:, :, None] + weight[None, :, :]
        steps.append(np.argmin(through, axis=1))
        walk = np.min(through, axis=1)
    raise ValueError("the network is consistent: there is no conflict to name")


def _distance_graph(links: tuple[Link, ...]) -> nx.DiGraph[str]:
    graph: nx.DiGraph[str] = nx.DiGraph()
    for earlier, later, days, _ in _arcs(links):
        old = graph.get_edge_data(earlier, later)
        if old is None or days < old["weight"]:
            graph.add_edge(earlier, later, weight=days)
    return graph


def _arcs(links: tuple[Link, ...]) -> list[tuple[str, str, int, str]]:
    arcs = []
    for link in links:
        if link.at_most_days is not None:
            arcs.append((link.earlier, link.later, link.at_most_days, link.rule))
        if link.at_least_days is not None:
            arcs.append((link.later, link.earlier, -link.at_least_days, link.rule))
    return arcs


def _arc_matrix(links: tuple[Link, ...]) -> tuple[list[str], np.ndarray, dict[tuple[int, int], str]]:
    events = sorted({link.earlier for link in links} | {link.later for link in links})
    index = {event: i for i, event in enumerate(events)}
    weight = np.full((len(events), len(events)), np.inf)
    rule: dict[tuple[int, int], str] = {}
    for earlier, later, days, name in _arcs(links):
        pair = (index[earlier], index[later])
        if days < weight[pair] or (days == weight[pair] and name < rule[pair]):
            weight[pair] = days
            rule[pair] = name
    return events, weight, rule


def _cycle(start: int, steps: list[np.ndarray]) -> list[int]:
    nodes = [start]
    here = start
    for via in reversed(steps):
        here = int(via[start, here])
        nodes.append(here)
    nodes.append(start)
    return nodes[::-1]


def _conflict(events: list[str], rule: dict[tuple[int, int], str], nodes: list[int], weight: int) -> Conflict:
    pairs = list(pairwise(nodes))
    return Conflict(
        rules=tuple(dict.fromkeys(rule[pair] for pair in pairs)),
        events=tuple(events[node] for node in nodes),
        short_by_days=-weight,
    )
