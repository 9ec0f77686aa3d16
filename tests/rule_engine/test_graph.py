"""The pathway graph as a value: who comes before whom, by which edge, in the order of the rules."""

from __future__ import annotations

import networkx as nx
import pytest

from pathway.rule_engine.graph import PathwayGraph
from tests.rule_engine.graphs import BOTH, graph_of
from tests.sample import SHALLOW_AND_BENT, at_age, five_year_old, operation

FIRST = "femoral_lengthening_1"


def test_edges_at_a_stage_are_those_that_name_it_in_the_order_of_the_rules(protocol) -> None:
    graph = graph_of(five_year_old(SHALLOW_AND_BENT), protocol, BOTH)
    for stage in graph.stages:
        assert list(graph.edges_at(stage.id)) == [e for e in graph.edges if stage.id in (e.earlier, e.later)]
        assert list(graph.edges_into(stage.id)) == [e for e in graph.edges if stage.id == e.later]
        assert list(graph.edges_from(stage.id)) == [e for e in graph.edges if stage.id == e.earlier]
        assert graph.tied(stage.id) == bool(graph.edges_at(stage.id))
    places = [protocol.intervals.index(edge.rule) for edge in graph.edges]
    assert places == sorted(places)


def test_what_starts_at_an_end_is_led_by_it(protocol) -> None:
    graph = graph_of(five_year_old(), protocol)
    assert {item.id for item in graph.followers(FIRST)} == {"femoral_device_removal_1", "hip_surveillance_1"}
    assert all(graph.leader(item.id) == graph.stage(FIRST) for item in graph.followers(FIRST))
    assert graph.leader(FIRST) is None


def test_roles_are_those_of_the_rules(protocol) -> None:
    graph = graph_of(five_year_old(SHALLOW_AND_BENT), protocol, BOTH)
    kinds = {stage.id: stage.role for stage in protocol.stages}
    for role in ("lengthening", "device_removal", "growth_arrest"):
        assert graph.of_role(role) == tuple(item for item in graph.stages if kinds[item.kind] == role) != ()


def test_the_chain_of_a_stage_is_all_that_comes_before_it(protocol) -> None:
    graph = graph_of(five_year_old(SHALLOW_AND_BENT), protocol)
    assert graph.chain("hip_preparation_1") == {"second_hip_look", "hip_preparation_1"}
    assert {"hip_preparation_1", "hardware_removal_1", FIRST} <= graph.chain("femoral_lengthening_2")
    with pytest.raises(KeyError):
        graph.chain("no_such_stage")


def test_direct_links_leave_out_what_others_imply(protocol) -> None:
    graph = graph_of(five_year_old(SHALLOW_AND_BENT), protocol)
    direct = graph.direct_order()
    assert direct.number_of_edges() < graph.order().number_of_edges()
    assert nx.transitive_closure(direct).edges == nx.transitive_closure(graph.order()).edges


def test_past_edges_bind_nothing_and_are_shown_last(protocol) -> None:
    done = (
        operation("hip_preparation", at_age(3)),
        operation("femoral_lengthening", at_age(4.2), achieved_mm=40.0, device_removed=at_age(4.7)),
    )
    graph = graph_of(five_year_old(operations=done), protocol)
    assert graph.past and not {edge for edge in graph.edges if edge.past}
    into = graph.edges_into(FIRST)
    assert [edge.past for edge in into] == sorted(edge.past for edge in into)
    assert graph.followers(FIRST) == ()


def test_a_made_graph_is_not_changed(protocol) -> None:
    graph: PathwayGraph = graph_of(five_year_old(), protocol)
    with pytest.raises(nx.NetworkXError):
        graph.networkx.remove_node(FIRST)
