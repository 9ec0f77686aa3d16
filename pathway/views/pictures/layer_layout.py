"""Where the stages of a layered graph lie: layers, order within them, rows, and the tracks of the lines.

A long link passes through the layers between as a place of its own, so every line only joins neighbours.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import networkx as nx

from pathway.views.pictures.picture import Link

SWEEPS = 24
UP, RIGHT, DOWN, LEFT = 1, 2, 4, 8
GAP_ROWS = 1
PULL = (8.0, 2.0, 1.0)
"""How strongly two neighbours want one row: both passing through, one of them, neither (long lines stay straight)."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a stage stands: its first cell and its name in lines."""

    row: int
    column: int
    text: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Node:
    """A stage in a layer, or (with `link`) the place where a long link passes through the layer."""

    layer: int
    stage: str = ""
    link: Link | None = None


@dataclass(frozen=True, slots=True)
class Grid:
    """The finished layout: places of the stages and the lines between them, cell by cell."""

    width: int
    height: int
    places: Mapping[str, Place]
    lines: tuple[tuple[Link, tuple[tuple[int, int, int], ...]], ...]

    def paths(self) -> Iterator[tuple[Link, tuple[tuple[int, int, int], ...]]]:
        """Yield each link with its cells as (row, column, directions)."""
        yield from self.lines


def grid(graph: nx.DiGraph[str], texts: Mapping[str, tuple[str, ...]], order: Mapping[str, int]) -> Grid:
    """Return the layout of an acyclic graph; `order` settles what the graph leaves open."""
    if not graph:
        return Grid(0, 0, {}, ())
    return _Layout(graph, texts, order).grid()


class _Layout:
    def __init__(self, graph: nx.DiGraph[str], texts: Mapping[str, tuple[str, ...]], order: Mapping[str, int]) -> None:
        self.texts = texts
        self._channel: dict[int, int] = {}
        layer = _layers(graph)
        self.columns: list[list[Node]] = [[] for _ in range(max(layer.values()) + 1)]
        self.joins: list[tuple[Node, Node, Link]] = []
        nodes = {stage: Node(layer[stage], stage) for stage in sorted(graph, key=order.__getitem__)}
        for node in nodes.values():
            self.columns[node.layer].append(node)
        for link in sorted(graph.edges, key=lambda link: (order[link[0]], order[link[1]])):
            self._join(nodes[link[0]], nodes[link[1]], link)
        self.before: dict[Node, list[Node]] = {}
        self.behind: dict[Node, list[Node]] = {}
        for first, second, _ in self.joins:
            self.behind.setdefault(first, []).append(second)
            self.before.setdefault(second, []).append(first)

    def _join(self, first: Node, last: Node, link: Link) -> None:
        for layer in range(first.layer + 1, last.layer):
            through = Node(layer, "", link)
            self.columns[layer].append(through)
            self.joins.append((first, through, link))
            first = through
        self.joins.append((first, last, link))

    def grid(self) -> Grid:
        """Return the finished layout."""
        self._order()
        rows = self._rows()
        tracks = self._tracks(rows)
        lefts, width = self._lefts(tracks)
        places = {
            node.stage: Place(rows[node], lefts[node.layer], self.texts[node.stage])
            for node in itertools.chain(*self.columns)
            if node.stage
        }
        lines = tuple((link, self._cells(first, second, rows, tracks, lefts)) for first, second, link in self.joins)
        height = max(row + self._height(node) for node, row in rows.items())
        return Grid(width, height, places, lines)

    def _height(self, node: Node) -> int:
        return len(self.texts[node.stage]) if node.stage else 1

    # -- order within the layers ---------------------------------------------------------------------------

    def _order(self) -> None:
        best, fewest = [list(column) for column in self.columns], self._crossings()
        for sweep in range(SWEEPS):
            if fewest == 0:
                break
            downward = sweep % 2 == 0
            neighbours = self.before if downward else self.behind
            indices = range(1, len(self.columns)) if downward else range(len(self.columns) - 2, -1, -1)
            for index in indices:
                near = self.columns[index - 1 if downward else index + 1]
                at = {node: place for place, node in enumerate(near)}
                self.columns[index].sort(key=lambda node: _median([at[n] for n in neighbours.get(node, ())]))
            self._swap_neighbours()
            crossings = self._crossings()
            if crossings < fewest:
                best, fewest = [list(column) for column in self.columns], crossings
        self.columns = best

    def _swap_neighbours(self) -> None:
        now = self._crossings()
        for column in self.columns:
            for place in range(len(column) - 1):
                column[place], column[place + 1] = column[place + 1], column[place]
                after = self._crossings()
                if after < now:
                    now = after
                else:
                    column[place], column[place + 1] = column[place + 1], column[place]

    def _crossings(self) -> int:
        at = {node: place for column in self.columns for place, node in enumerate(column)}
        total = 0
        for _, group in itertools.groupby(self._by_layer(), key=lambda join: join[0].layer):
            ends = [(at[first], at[second]) for first, second, _ in group]
            total += sum((a[0] - b[0]) * (a[1] - b[1]) < 0 for a, b in itertools.combinations(ends, 2))
        return total

    def _by_layer(self) -> list[tuple[Node, Node, Link]]:
        return sorted(self.joins, key=lambda join: join[0].layer)

    # -- rows ----------------------------------------------------------------------------------------------

    def _rows(self) -> dict[Node, int]:
        rows: dict[Node, int] = {}
        for column in self.columns:
            rows.update(zip(column, self._spread([0.0] * len(column), [1.0] * len(column), column), strict=True))
        for sweep in range(SWEEPS):
            order = self.columns if sweep % 2 == 0 else self.columns[::-1]
            for column in order:
                wished, weights = [], []
                for node in column:
                    near = [*self.before.get(node, ()), *self.behind.get(node, ())]
                    pull = [PULL[bool(node.stage) + bool(other.stage)] for other in near]
                    wished.append(sum(p * rows[n] for p, n in zip(pull, near, strict=True)) / sum(pull))
                    weights.append(sum(pull))
                rows.update(zip(column, self._spread(wished, weights, column), strict=True))
        self._part(rows)
        top = min(rows.values())
        return {node: row - top for node, row in rows.items()}

    def _spread(self, wished: Sequence[float], weights: Sequence[float], column: Sequence[Node]) -> list[int]:
        """Return rows near those wished, in order and apart: pool the adjacent that violate, then shift back."""
        offsets = [0, *itertools.accumulate(self._height(node) + GAP_ROWS for node in column)][: len(column)]
        blocks: list[tuple[float, float, int]] = []
        for wish, weight, offset in zip(wished, weights, offsets, strict=True):
            block = (wish - offset, weight, 1)
            while blocks and blocks[-1][0] > block[0]:
                mean, mass, count = blocks.pop()
                joined = mass + block[1]
                block = ((mean * mass + block[0] * block[1]) / joined, joined, count + block[2])
            blocks.append(block)
        means = [mean for mean, _, count in blocks for _ in range(count)]
        return [round(mean) + offset for mean, offset in zip(means, offsets, strict=True)]

    def _part(self, rows: dict[Node, int]) -> None:
        """Move rows down until in every channel the lines can be put into tracks without a circle."""
        for _ in range(200):
            stuck = next((found for layer in range(len(self.columns) - 1) if (found := self._stuck(layer, rows))), None)
            if stuck is None:
                return
            column = self.columns[stuck.layer]
            for node in column[column.index(stuck) :]:
                rows[node] += 1

    def _stuck(self, layer: int, rows: Mapping[Node, int]) -> Node | None:
        graph = self._constraints(layer, rows)
        try:
            circle = nx.find_cycle(graph)
        except nx.NetworkXNoCycle:
            return None
        level = {rows[node] for edge in circle for node in edge[:2]}
        return next(node for node in self.columns[layer + 1] if rows[node] in level)

    def _constraints(self, layer: int, rows: Mapping[Node, int]) -> nx.DiGraph[Node]:
        """Return who must turn left of whom: a line that starts on a row, left of one that ends on it."""
        graph: nx.DiGraph[Node] = nx.DiGraph()
        sources = [node for node in self.columns[layer] if node in self.behind]
        graph.add_nodes_from(sources)
        for first in sources:
            for other in sources:
                if first is other:
                    continue
                for target in self.behind[other]:
                    if rows[target] == rows[first] and self.behind[first] != [target]:
                        graph.add_edge(first, other)
        return graph

    # -- columns -------------------------------------------------------------------------------------------

    def _tracks(self, rows: Mapping[Node, int]) -> dict[Node, int]:
        tracks: dict[Node, int] = {}
        for layer in range(len(self.columns) - 1):
            graph = self._constraints(layer, rows)
            bent = [node for node in graph if any(rows[n] != rows[node] for n in self.behind[node])]
            rank = {node: self._eager(node, rows) for node in graph}
            order = list(nx.lexicographical_topological_sort(graph, key=lambda node: rank[node]))
            for place, node in enumerate([node for node in order if node in bent]):
                tracks[node] = place
        return tracks

    def _eager(self, node: Node, rows: Mapping[Node, int]) -> tuple[int, int]:
        """Return what keeps crossings few: lines that go up turn top first, lines that go down bottom first."""
        lowest = max(rows[n] for n in self.behind[node])
        return (-rows[node], 1) if lowest > rows[node] else (rows[node], 0)

    def _lefts(self, tracks: Mapping[Node, int]) -> tuple[list[int], int]:
        lefts, left = [], 0
        for layer, column in enumerate(self.columns):
            lefts.append(left)
            widest = max((len(line) for node in column if node.stage for line in self.texts[node.stage]), default=0)
            count = sum(node.layer == layer for node in tracks)
            self._channel[layer] = left + 2 + widest + 1
            left = self._channel[layer] + max(count, 1) + 1
        return lefts, self._channel[len(self.columns) - 1] - 1

    def _cells(
        self,
        first: Node,
        second: Node,
        rows: Mapping[Node, int],
        tracks: Mapping[Node, int],
        lefts: Sequence[int],
    ) -> tuple[tuple[int, int, int], ...]:
        start, end = rows[first], rows[second]
        left = lefts[first.layer] + (2 + len(self.texts[first.stage][0]) + 1 if first.stage else 0)
        right = lefts[second.layer] - (1 if second.stage else 0)
        if start == end:
            return tuple((start, column, LEFT | RIGHT) for column in range(left, right))
        turn = self._channel[first.layer] + tracks[first]
        down = end > start
        cells = [(start, column, LEFT | RIGHT) for column in range(left, turn)]
        cells.append((start, turn, LEFT | (DOWN if down else UP)))
        low, high = sorted((start, end))
        cells += [(row, turn, UP | DOWN) for row in range(low + 1, high)]
        cells.append((end, turn, RIGHT | (UP if down else DOWN)))
        cells += [(end, column, LEFT | RIGHT) for column in range(turn + 1, right)]
        return tuple(cells)


def _layers(graph: nx.DiGraph[str]) -> dict[str, int]:
    layer = {stage: index for index, group in enumerate(nx.topological_generations(graph)) for stage in group}
    for stage in graph:
        if graph.in_degree(stage) == 0 and graph.out_degree(stage):
            layer[stage] = min(layer[other] for other in graph.successors(stage)) - 1
    return layer


def _median(places: Sequence[int]) -> float:
    if not places:
        return 0.0
    middle = sorted(places)
    half = len(middle) // 2
    return float(middle[half]) if len(middle) % 2 else (middle[half - 1] + middle[half]) / 2
