"""Simple temporal network over whole days: links with the rule's name in, windows or a named conflict out.

It knows no medicine. A link says that `later` comes at least and at most so many days after `earlier`.
The windows are shortest paths from and to the origin (Dechter, Meiri, Pearl 1991); a network has a solution
exactly when it has no negative cycle. The closure is three lines of numpy (Floyd, Warshall 1962): a graph
library takes longer to load than a plan takes to make; the tests compare with two of them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise

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
class Relaxation:
    """By how many days one rule alone would have to give way; `bounds` are its links in the conflict.

    Each of the bounds keeps only the side that binds. A rule that stands in the conflict more than once gives
    way by that many days at each place.
    """

    rule: str
    days: int
    bounds: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class Conflict:
    """The fewest links' rules that contradict each other, by how many days they miss, and what would mend it.

    `relaxations` has the rules in the order of `rules`; it follows from the rest and is left out of comparisons.
    """

    rules: tuple[str, ...]
    events: tuple[str, ...]
    short_by_days: int
    relaxations: tuple[Relaxation, ...] = field(default=(), compare=False)


def windows(links: Iterable[Link], origin: str) -> Mapping[str, Window] | Conflict:
    """Return the window of every event reachable from `origin`, or the conflict of fewest links.

    An event that nothing ties to the origin from below starts at the origin at the earliest: callers add a
    link of at least 0 days where that is meant; without one its earliest day cannot be told and KeyError is
    raised with the event's name.
    """
    links = tuple(links)
    events, apart, _ = _arc_matrix(links, origin)
    np.fill_diagonal(apart, np.minimum(np.diagonal(apart), 0.0))
    for via in range(len(events)):
        np.minimum(apart, apart[:, via, None] + apart[None, via, :], out=apart)
    if (np.diagonal(apart) < 0).any():
        return fewest_rules_in_conflict(links)
    at = events.index(origin)
    latest, earliest = apart[at].tolist(), (-apart[:, at]).tolist()
    unbound = [event for event, day in zip(events, earliest, strict=True) if day == -math.inf]
    if unbound:
        raise KeyError(f"event without a lower bound from {origin}: {', '.join(unbound)}")
    return {
        event: Window(int(low), None if high == math.inf else int(high))
        for event, low, high in zip(events, earliest, latest, strict=True)
    }


def fewest_rules_in_conflict(links: Iterable[Link]) -> Conflict:
    """Return the negative cycle with the fewest arcs, as the rules on it.

    Min-plus powers of the arc matrix: the first power with a negative diagonal entry gives the length of the
    shortest negative cycle, and the kept predecessors give the cycle. Ties are broken by event name, so the
    answer does not depend on the order of links. Raises ValueError for a consistent network.
    """
    events, weight, chosen = _arc_matrix(tuple(links))
    n = len(events)
    walk = weight.copy()
    steps: list[np.ndarray] = []
    for _ in range(n):
        negative = np.flatnonzero(np.diagonal(walk) < 0)
        if negative.size:
            start = int(negative[np.argmin(np.diagonal(walk)[negative])])
            return _conflict(events, chosen, _cycle(start, steps), int(walk[start, start]))
        through = walk[:, :, None] + weight[None, :, :]
        steps.append(np.argmin(through, axis=1))
        walk = np.min(through, axis=1)
    raise ValueError("the network is consistent: there is no conflict to name")


def _arcs(links: tuple[Link, ...]) -> list[tuple[str, str, int, Link]]:
    arcs = []
    for link in links:
        if link.at_most_days is not None:
            arcs.append((link.earlier, link.later, link.at_most_days, link))
        if link.at_least_days is not None:
            arcs.append((link.later, link.earlier, -link.at_least_days, link))
    return arcs


def _arc_matrix(
    links: tuple[Link, ...], origin: str | None = None
) -> tuple[list[str], np.ndarray, dict[tuple[int, int], Link]]:
    """Return the events by name, the tightest arc of each ordered pair (inf: none), and the link it comes from."""
    names = {link.earlier for link in links} | {link.later for link in links}
    events = sorted(names if origin is None else names | {origin})
    index = {event: i for i, event in enumerate(events)}
    weight = np.full((len(events), len(events)), np.inf)
    chosen: dict[tuple[int, int], Link] = {}
    for earlier, later, days, link in _arcs(links):
        pair = (index[earlier], index[later])
        if days < weight[pair] or (days == weight[pair] and link.rule < chosen[pair].rule):
            weight[pair] = days
            chosen[pair] = link
    return events, weight, chosen


def _cycle(start: int, steps: list[np.ndarray]) -> list[int]:
    nodes = [start]
    here = start
    for via in reversed(steps):
        here = int(via[start, here])
        nodes.append(here)
    nodes.append(start)
    return nodes[::-1]


def _conflict(events: list[str], chosen: dict[tuple[int, int], Link], nodes: list[int], weight: int) -> Conflict:
    bounds: dict[str, list[Link]] = {}
    for pair in pairwise(nodes):
        link = chosen[pair]
        forward = link.earlier == events[pair[0]]
        bound = replace(link, at_least_days=None) if forward else replace(link, at_most_days=None)
        bounds.setdefault(link.rule, []).append(bound)
    return Conflict(
        rules=tuple(bounds),
        events=tuple(events[node] for node in nodes),
        short_by_days=-weight,
        relaxations=tuple(
            Relaxation(rule, math.ceil(-weight / len(places)), tuple(places)) for rule, places in bounds.items()
        ),
    )
