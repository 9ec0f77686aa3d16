"""A window is what all links together leave of an event's days."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import floyd_warshall

from pathway.network import Conflict, Link, Window, windows
from tests.ground.random_networks import any_links, arcs_of, sound_links
from tests.offenders import for_each


def test_one_link_gives_its_own_bounds() -> None:
    assert windows([Link("birth", "hip", 700, 900, "a")], "birth") == {
        "birth": Window(0, 0),
        "hip": Window(700, 900),
    }


def test_windows_run_through_events_in_between() -> None:
    links = [Link("birth", "hip", 700, 900, "a"), Link("hip", "femur", 365, None, "b")]
    assert windows(links, "birth")["femur"] == Window(1065, None)


def test_a_later_bound_narrows_the_earlier_event() -> None:
    links = [
        Link("birth", "hip", 700, None, "a"),
        Link("hip", "femur", 365, 400, "b"),
        Link("birth", "femur", None, 1100, "c"),
    ]
    assert windows(links, "birth")["hip"] == Window(700, 735)


def test_a_window_of_no_days_at_all_is_a_window() -> None:
    links = [Link("birth", "hip", 700, 700, "a"), Link("hip", "cast off", 0, 0, "b")]
    assert windows(links, "birth")["cast off"] == Window(700, 700)


def test_a_negative_least_lets_an_event_come_before_the_origin() -> None:
    assert windows([Link("today", "film", -30, 0, "a")], "today")["film"] == Window(-30, 0)


def test_the_tightest_of_several_links_counts() -> None:
    links = [Link("birth", "hip", 700, 900, "a"), Link("birth", "hip", 720, 950, "b")]
    assert windows(links, "birth")["hip"] == Window(720, 900)


def test_without_links_only_the_origin_has_a_window() -> None:
    assert windows([], "birth") == {"birth": Window(0, 0)}


def test_an_event_that_nothing_ties_from_below_is_named() -> None:
    with pytest.raises(KeyError, match="hip"):
        windows([Link("birth", "hip", None, 900, "a")], "birth")


def test_a_contradiction_away_from_the_origin_is_a_conflict_too() -> None:
    links = [
        Link("birth", "hip", 0, None, "tie"),
        Link("femur", "tibia", 10, None, "wait"),
        Link("femur", "tibia", None, 4, "hurry"),
    ]
    answer = windows(links, "birth")
    assert isinstance(answer, Conflict)
    assert set(answer.rules) == {"wait", "hurry"}


@for_each(range(320), parts=2)
def test_windows_are_the_shortest_paths_that_an_independent_solver_finds(seed) -> None:
    links = sound_links(np.random.default_rng(seed), events=4 + seed % 12)
    arcs = arcs_of(links)
    events = sorted({event for pair in arcs for event in pair})
    index = {event: n for n, event in enumerate(events)}
    rows, columns = zip(*((index[a], index[b]) for a, b in arcs), strict=True)
    shape = (len(events), len(events))
    # Stored zeros stay arcs in a sparse matrix; in a dense one they would read as "no arc".
    matrix = csr_array((np.array(list(arcs.values()), dtype=float), (rows, columns)), shape=shape)
    answer = windows(links, "e0")
    assert not isinstance(answer, Conflict)
    far = floyd_warshall(matrix)
    origin = index["e0"]
    for event in events:
        latest = far[origin, index[event]]
        expected = Window(-int(far[index[event], origin]), None if np.isinf(latest) else int(latest))
        assert answer[event] == expected


@for_each(range(60))
def test_windows_are_those_of_a_graph_library_too(seed) -> None:
    links = sound_links(np.random.default_rng(1000 + seed), events=4 + seed % 12)
    graph = nx.DiGraph()
    graph.add_weighted_edges_from((a, b, days) for (a, b), days in arcs_of(links).items())
    latest = nx.single_source_bellman_ford_path_length(graph, "e0")
    earliest = nx.single_source_bellman_ford_path_length(graph.reverse(), "e0")
    expected = {event: Window(-earliest[event], latest.get(event)) for event in graph}
    assert windows(links, "e0") == expected


@given(st.integers(0, 10_000), st.data())
def test_taking_a_rule_out_never_shrinks_a_window(seed, data) -> None:
    links = sound_links(np.random.default_rng(seed), events=7)
    ties = [link for link in links if link.rule.startswith("tie")]
    loose = [link for link in links if not link.rule.startswith("tie")]
    out = data.draw(st.sampled_from(sorted({link.rule for link in loose})))
    before, after = windows(links, "e0"), windows([*ties, *(k for k in loose if k.rule != out)], "e0")
    assert set(before) == set(after)
    for event, window in before.items():
        assert after[event].earliest_day <= window.earliest_day
        assert _or_never(after[event].latest_day) >= _or_never(window.latest_day)


@given(st.integers(0, 10_000), st.randoms(use_true_random=False))
def test_the_order_of_links_changes_neither_windows_nor_conflict(seed, shuffle) -> None:
    links = (any_links if seed % 2 else sound_links)(np.random.default_rng(seed), events=6)
    shuffled = list(links)
    shuffle.shuffle(shuffled)
    assert windows(shuffled, "e0") == windows(links, "e0")


@given(st.integers(0, 10_000))
def test_the_earliest_days_and_the_latest_days_each_keep_every_link(seed) -> None:
    links = sound_links(np.random.default_rng(seed), events=8)
    answer = windows(links, "e0")
    earliest = {event: window.earliest_day for event, window in answer.items()}
    latest = {event: _or_never(window.latest_day) for event, window in answer.items()}
    for (earlier, later), most in arcs_of(links).items():
        assert earliest[later] - earliest[earlier] <= most
        assert latest[later] <= latest[earlier] + most


@given(st.integers(0, 10_000), st.integers(1, 10))
def test_a_looser_network_never_has_a_narrower_window(seed, days) -> None:
    links = sound_links(np.random.default_rng(seed), events=7)
    tight, loose = windows(links, "e0"), windows([_loosened(link, days) for link in links], "e0")
    for event, window in tight.items():
        assert loose[event].earliest_day <= window.earliest_day
        assert _or_never(loose[event].latest_day) >= _or_never(window.latest_day)


def _or_never(day: int | None) -> float:
    return float("inf") if day is None else day


def _loosened(link: Link, days: int) -> Link:
    least = None if link.at_least_days is None else link.at_least_days - days
    most = None if link.at_most_days is None else link.at_most_days + days
    return Link(link.earlier, link.later, least, most, link.rule)
