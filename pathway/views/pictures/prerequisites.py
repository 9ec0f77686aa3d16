"""Order of the stages: the stages of a plan in layers from left to right, joined by lines.

The graph is reduced to its direct links, put into layers, ordered so that lines cross little, and drawn so
that no cell belongs to two lines that share neither their start nor their end.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from pathway.plan.graph import graph_of
from pathway.plan.model import Plan, PlanStage
from pathway.views.pictures.picture import Canvas, Link, Picture, Role, stage_role
from pathway.views.words.plan import STATUS_MARKS, when_words

if TYPE_CHECKING:
    import networkx as nx

    from pathway.views.pictures.layer_layout import Grid

NARROWEST, WIDEST = 12, 22
ALONE = "Independent of other stages:"
UP, RIGHT, DOWN, LEFT = 1, 2, 4, 8
GLYPHS = {
    UP | DOWN: "│",
    LEFT | RIGHT: "─",
    RIGHT | DOWN: "╭",
    LEFT | DOWN: "╮",
    RIGHT | UP: "╰",
    LEFT | UP: "╯",
    UP | DOWN | RIGHT: "├",
    UP | DOWN | LEFT: "┤",
    LEFT | RIGHT | DOWN: "┬",
    LEFT | RIGHT | UP: "┴",
    UP | DOWN | LEFT | RIGHT: "┼",
    RIGHT: "─",
    LEFT: "─",
    UP: "│",
    DOWN: "│",
}


def layers(plan: Plan, width: int) -> Picture:
    """Return the picture of what comes before what.

    Names are wrapped at whole words to make the layers fit `width` cells; where they cannot be narrow enough
    the picture is wider, and its `width` says so.
    """
    graph = graph_of(plan).direct_order()
    stages = {stage.id: stage for stage in plan.stages}
    joined = [node for node in graph if graph.degree(node)]
    alone = [stage for stage in plan.stages if not graph.degree(stage.id)]
    sub = graph.subgraph(joined)
    wrap = WIDEST
    made = _grid(sub, stages, wrap)
    while made.width > width and wrap > NARROWEST:
        wrap -= 1
        made = _grid(sub, stages, wrap)
    foot = _alone_rows(alone, width)
    canvas = Canvas(max(width, made.width), made.height + (len(foot) + 2 if foot else 0) - (0 if joined else 1))
    lines = _Lines()
    for link, cells in made.paths():
        lines.add(link, cells)
    lines.draw(canvas)
    for node, place in made.places.items():
        _draw_stage(canvas, place.column, place.row, stages[node], place.text)
    if foot:
        _draw_alone(canvas, made.height + 1 if joined else 0, foot)
    return canvas.picture(" ".join(_alt(plan, sub, alone)))


def _grid(graph: nx.DiGraph[str], stages: dict[str, PlanStage], wrap: int) -> Grid:
    from pathway.views.pictures.layer_layout import grid  # noqa: PLC0415  (it loads the graph library)

    order = {id: index for index, id in enumerate(stages)}
    texts = {node: _wrapped(stages[node].label, wrap) for node in graph}
    return grid(graph, texts, order)


def _wrapped(label: str, wrap: int) -> tuple[str, ...]:
    return tuple(textwrap.wrap(label, wrap, break_long_words=False, break_on_hyphens=False)) or ("",)


def _draw_stage(canvas: Canvas, column: int, row: int, stage: PlanStage, text: Sequence[str]) -> None:
    canvas.put(row, column, STATUS_MARKS[stage.status], stage_role(stage.status), stage.id)
    for offset, line in enumerate(text):
        canvas.put(row + offset, column + 1, f" {line}", Role.LABEL, stage.id)


class _Lines:
    """Collects where lines run and which directions meet in a cell."""

    def __init__(self) -> None:
        self.masks: dict[tuple[int, int], int] = {}
        self.owners: dict[tuple[int, int], list[Link]] = {}

    def add(self, link: Link, cells: Sequence[tuple[int, int, int]]) -> None:
        """Add one line as (row, column, directions)."""
        for row, column, mask in cells:
            key = (row, column)
            owners = self.owners.setdefault(key, [])
            if any(not _akin(link, other) for other in owners):
                # Two strange lines cross here: the upright one runs through, the level one stops short.
                if mask & (UP | DOWN):
                    self.masks[key], self.owners[key] = mask, [link]
                continue
            self.masks[key] = self.masks.get(key, 0) | mask
            if link not in owners:
                owners.append(link)

    def draw(self, canvas: Canvas) -> None:
        """Draw all lines with the glyph that their directions ask for."""
        for (row, column), mask in self.masks.items():
            cell = canvas.cell(row, column)
            if cell is not None:
                cell.glyph, cell.role, cell.links = GLYPHS[mask], Role.EDGE, tuple(self.owners[row, column])


def _akin(first: Link, second: Link) -> bool:
    return first[0] == second[0] or first[1] == second[1]


def _alone_rows(alone: Sequence[PlanStage], width: int) -> list[list[PlanStage]]:
    rows: list[list[PlanStage]] = []
    used = width
    for stage in alone:
        need = 5 + len(stage.label)
        if used + need > width + 3:
            rows.append([])
            used = 0
        rows[-1].append(stage)
        used += need
    return rows


def _draw_alone(canvas: Canvas, row: int, rows: list[list[PlanStage]]) -> None:
    canvas.put(row, 0, ALONE, Role.LEGEND)
    for offset, line in enumerate(rows, start=1):
        column = 0
        for stage in line:
            _draw_stage(canvas, column, row + offset, stage, (stage.label,))
            column += 5 + len(stage.label)


def _alt(plan: Plan, graph: nx.DiGraph[str], alone: Sequence[PlanStage]) -> Iterator[str]:
    labels = {stage.id: stage.label for stage in plan.stages}
    yield "Order of the stages."
    for stage in plan.stages:
        if stage.id in graph:
            before = [labels[other] for other in graph.predecessors(stage.id)]
            words = f"after {' and '.join(before)}" if before else "first in its chain"
            yield f"{stage.label}, {when_words(plan, stage)}: {words}."
    if alone:
        yield f"{ALONE} {', '.join(stage.label for stage in alone)}."
