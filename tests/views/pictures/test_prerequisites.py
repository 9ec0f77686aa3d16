"""Prerequisites: layers from left to right, lines that never seem to swap their ends."""

from __future__ import annotations

import itertools

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.plan.graph import graph_of
from pathway.views.pictures.layer_layout import DOWN, LEFT, RIGHT, UP, Grid, grid
from pathway.views.pictures.picture import Link, Role
from pathway.views.pictures.prerequisites import layers
from tests.offenders import for_each
from tests.plans import files, plan


def akin(first: Link, second: Link) -> bool:
    return first[0] == second[0] or first[1] == second[1]


@st.composite
def graphs(draw: st.DrawFn) -> nx.DiGraph[str]:
    count = draw(st.integers(2, 14))
    pairs = list(itertools.combinations(range(count), 2))
    chosen = draw(st.lists(st.sampled_from(pairs), max_size=24, unique=True))
    graph: nx.DiGraph[str] = nx.DiGraph((f"{a:02}", f"{b:02}") for a, b in chosen)
    return nx.transitive_reduction(graph)


def laid(graph: nx.DiGraph[str]) -> Grid:
    texts = {node: ("name",) * (1 + int(node) % 3) for node in graph}
    return grid(graph, texts, {node: int(node) for node in graph})


@settings(max_examples=150, deadline=None)
@given(graphs())
def test_strange_lines_only_ever_cross_at_right_angles(graph) -> None:
    cells: dict[tuple[int, int], list[tuple[Link, int]]] = {}
    for link, path in laid(graph).paths():
        for row, column, mask in path:
            cells.setdefault((row, column), []).append((link, mask))
    for users in cells.values():
        for (first, mask), (second, other) in itertools.combinations(users, 2):
            assert akin(first, second) or {mask, other} == {UP | DOWN, LEFT | RIGHT}


@settings(max_examples=100, deadline=None)
@given(graphs())
def test_no_line_runs_through_a_name_and_no_name_over_another(graph) -> None:
    made = laid(graph)
    taken: set[tuple[int, int]] = set()
    for place in made.places.values():
        block = {
            (place.row + offset, place.column + step)
            for offset, line in enumerate(place.text)
            for step in range(2 + len(line))
        }
        assert not block & taken
        taken |= block
    lines = {(row, column) for _, path in made.paths() for row, column, _ in path}
    assert not lines & taken
    assert all(0 <= row < made.height and 0 <= column < made.width for row, column in lines | taken)


@settings(max_examples=100, deadline=None)
@given(graphs())
def test_every_link_goes_from_left_to_right(graph) -> None:
    made = laid(graph)
    assert {link for link, _ in made.paths()} == set(graph.edges)
    for first, last in graph.edges:
        assert made.places[first].column < made.places[last].column


@for_each(itertools.product(files(), [60, 77, 117, 197]))
def test_no_cell_belongs_to_two_strange_links(child, width) -> None:
    picture = layers(plan(child), width)
    for span in picture.spans:
        assert all(akin(first, second) for first, second in itertools.combinations(span.links, 2))
        assert span.column + len(span.text) <= picture.width
        assert span.row < picture.height


@pytest.mark.parametrize("child", files())
def test_every_stage_is_named_whole(child) -> None:
    picture = layers(plan(child), 80)
    for stage in plan(child).stages:
        words = [s.text.strip() for s in picture.spans if s.target == stage.id and s.role is Role.LABEL]
        assert " ".join(words) == stage.label


def test_a_wide_enough_place_is_not_overrun() -> None:
    assert layers(plan("rowan-02"), 140).width == 140


def test_a_link_that_others_imply_is_left_out() -> None:
    graph = graph_of(plan("rowan-02")).direct_order()
    assert nx.transitive_reduction(graph).edges == graph.edges
    assert not graph.has_edge("hip_preparation_1", "femoral_lengthening_1")
    assert nx.has_path(graph, "hip_preparation_1", "femoral_lengthening_1")


def test_the_chain_of_a_stage_is_all_that_must_come_before_it() -> None:
    graph = graph_of(plan("rowan-02"))
    assert graph.chain("hip_preparation_1") == {"second_hip_look", "hip_preparation_1"}
    before = graph.chain("femoral_lengthening_2")
    assert {"hip_preparation_1", "hardware_removal_1", "femoral_lengthening_1"} <= before
    with pytest.raises(KeyError):
        graph.chain("no_such_stage")


def test_the_alternative_in_words_says_what_comes_before() -> None:
    alt = layers(plan("rowan-02"), 80).alt
    assert "Removal of hip implants, later: after Osteotomy of the proximal femur." in alt
