"""Random networks of links, and their arcs as the textbook defines them, apart from the code under test."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from pathway.network import Link

Arcs = dict[tuple[str, str], int]


def any_links(rng: np.random.Generator, events: int) -> list[Link]:
    """Return links among `events` events tied to "e0"; about half of such networks contradict themselves."""
    names = [f"e{n}" for n in range(events)]
    links = [Link("e0", name, 0, int(rng.integers(20, 60)), f"tie {name}") for name in names[1:]]
    for number in range(int(rng.integers(1, 3 * events))):
        earlier, later = rng.choice(names, 2, replace=False)
        least = int(rng.integers(-5, 30))
        most = least + int(rng.integers(0, 20)) if rng.random() < 0.6 else None
        bounds = (least if rng.random() < 0.8 else None, most)
        links.append(Link(str(earlier), str(later), *bounds, f"rule {number}"))
    return links


def sound_links(rng: np.random.Generator, events: int) -> list[Link]:
    """Return links that a hidden timetable keeps, many of them exactly; no event comes before "e0"."""
    days = {f"e{n}": int(rng.integers(0, 12)) if n else 0 for n in range(events)}
    links = [Link("e0", name, 0, None if rng.random() < 0.5 else 40, f"tie {name}") for name in list(days)[1:]]
    for number in range(int(rng.integers(1, 4 * events))):
        earlier, later = (str(name) for name in rng.choice(list(days), 2, replace=False))
        apart = days[later] - days[earlier]
        least = apart - int(rng.integers(0, 6)) if rng.random() < 0.7 else None
        most = apart + int(rng.integers(0, 6)) if rng.random() < 0.7 else None
        links.append(Link(earlier, later, least, most, f"rule {number}"))
    return links


def arcs_of(links: list[Link]) -> Arcs:
    """Return the tightest arc of each ordered pair: `t(later) - t(earlier) <= days`."""
    arcs: Arcs = {}
    for link in links:
        for pair, days in (
            ((link.earlier, link.later), link.at_most_days),
            ((link.later, link.earlier), None if link.at_least_days is None else -link.at_least_days),
        ):
            if days is not None:
                arcs[pair] = min(days, arcs.get(pair, days))
    return arcs


def simple_cycles(arcs: Arcs) -> Iterator[tuple[tuple[str, ...], int]]:
    """Yield every simple cycle with its weight, by trying every ordering of every subset of events."""
    events = sorted({event for pair in arcs for event in pair})
    for size in range(2, len(events) + 1):
        for chosen in itertools.combinations(events, size):
            for rest in itertools.permutations(chosen[1:]):
                cycle = (chosen[0], *rest)
                pairs = list(zip(cycle, (*rest, chosen[0]), strict=True))
                if all(pair in arcs for pair in pairs):
                    yield cycle, sum(arcs[pair] for pair in pairs)
