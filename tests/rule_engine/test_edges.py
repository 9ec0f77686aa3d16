"""What comes after what: the edges of the stage graph."""

from __future__ import annotations

import networkx as nx
import pytest

from tests.rule_engine.graphs import BOTH, NONE, edges, graph_of
from tests.sample import HEALTHY, SHALLOW_AND_BENT, at_age, five_year_old, operation

EVERYTHING = {
    **SHALLOW_AND_BENT,
    "proximal_femur_continuity": "mobile_pseudarthrosis",
    "knee_dislocated": True,
    "foot_plantigrade": "no",
}


def test_preparations_of_the_hip_and_the_knee_share_a_sitting(protocol) -> None:
    found = edges(graph_of(five_year_old(EVERYTHING), protocol))
    for later, rule in (
        ("proximal_femoral_osteotomy_1", "hip.osteotomy_in_same_sitting"),
        ("pseudarthrosis_repair_1", "hip.repair_in_same_sitting"),
        ("knee_preparation_1", "knee.in_sitting_of_hip"),
    ):
        assert ("hip_preparation_1", later, rule) in found


@pytest.mark.parametrize("done", ["hip_preparation", "proximal_femoral_osteotomy"])
def test_a_sitting_is_shared_only_while_neither_is_done(done, protocol) -> None:
    record = five_year_old(SHALLOW_AND_BENT, operations=(operation(done, at_age(3)),))
    assert "hip.osteotomy_in_same_sitting" not in {
        rule for one, other, rule in edges(graph_of(record, protocol)) if f"{done}_1" in (one, other)
    }


def test_a_sitting_is_not_shared_with_what_is_under_way(protocol) -> None:
    record = five_year_old(SHALLOW_AND_BENT, operations=(operation("hip_preparation", at_age(4.99)),))
    assert ("hip_preparation_1", "proximal_femoral_osteotomy_1", "hip.osteotomy_in_same_sitting") not in edges(
        graph_of(record, protocol)
    )


def test_every_preparation_comes_before_the_first_lengthening(protocol) -> None:
    found = edges(graph_of(five_year_old(EVERYTHING), protocol))
    waiting = {one for one, other, _ in found if other == "femoral_lengthening_1"}
    assert waiting >= {
        "hip_preparation_1",
        "pseudarthrosis_repair_1",
        "proximal_femoral_osteotomy_1",
        "hardware_removal_1",
        "knee_preparation_1",
        "ankle_foot_preparation_1",
    }


def test_the_second_lengthening_waits_for_the_first_not_for_the_preparations(protocol) -> None:
    found = edges(graph_of(five_year_old(SHALLOW_AND_BENT), protocol))
    assert {(one, rule) for one, other, rule in found if other == "femoral_lengthening_2"} == {
        ("femoral_lengthening_1", "femoral_lengthening.three_years_apart"),
        ("femoral_lengthening_1", "femoral_lengthening.a_year_apart"),
        ("femoral_nail_removal_1", "femoral_nail.out_before_next"),
    }


def test_lengthenings_of_one_bone_are_tied_number_by_number(protocol) -> None:
    found = edges(graph_of(five_year_old(), protocol, BOTH))
    for bone, most in (("femoral", 4), ("tibial", 3)):
        pairs = {(one, other) for one, other, rule in found if rule == f"{bone}_lengthening.three_years_apart"}
        assert pairs == {(f"{bone}_lengthening_{n}", f"{bone}_lengthening_{n + 1}") for n in range(1, most)}


def test_femur_and_tibia_are_tied_in_either_order(protocol) -> None:
    found = edges(graph_of(five_year_old(), protocol, BOTH))
    pairs = {(one, other) for one, other, rule in found if rule == "lengthening.bones_apart"}
    assert len(pairs) == 4 * 3


def test_followers_hang_on_the_end_of_their_own_lengthening(protocol) -> None:
    graph = graph_of(five_year_old(), protocol)
    hanging = [edge for edge in graph.edges if edge.later.startswith(("femoral_device_removal", "hip_surveillance"))]
    assert len(hanging) == 8
    for edge in hanging:
        assert edge.earlier_point == "end"
        assert edge.earlier.rpartition("_")[2] == edge.later.rpartition("_")[2]


def test_optional_stages_tie_nothing(protocol) -> None:
    record = five_year_old({**HEALTHY, "neck_shaft_angle_deg": 110.0})
    graph = graph_of(record, protocol)
    assert graph.stage("proximal_femoral_osteotomy_1").state == "optional"
    assert not [edge for edge in graph.edges if "proximal_femoral_osteotomy_1" in (edge.earlier, edge.later)]


def test_what_is_done_on_both_ends_ties_nothing(protocol) -> None:
    done = (
        operation("hip_preparation", at_age(2)),
        operation("femoral_lengthening", at_age(4), achieved_mm=50, device_removed=at_age(4.5)),
    )
    found = edges(graph_of(five_year_old(operations=done), protocol))
    assert not [pair for pair in found if pair[:2] == ("hip_preparation_1", "femoral_lengthening_1")]


class TestWhatIsDoneWaitsForNothing:
    """A preparation that comes after a lengthening is tied to the next lengthening, never to the one done."""

    LENGTHENED = operation("femoral_lengthening", at_age(3.2), achieved_mm=50, device_removed=at_age(3.8))

    def test_it_waits_before_the_next_one(self, protocol) -> None:
        found = edges(graph_of(five_year_old(SHALLOW_AND_BENT, operations=(self.LENGTHENED,)), protocol))
        assert ("hip_preparation_1", "femoral_lengthening_2", "hip_preparation.before_lengthening") in found
        assert not [pair for pair in found if pair[1] == "femoral_lengthening_1"]

    def test_without_a_next_one_it_is_tied_to_no_lengthening(self, protocol) -> None:
        record = five_year_old(SHALLOW_AND_BENT, operations=(self.LENGTHENED,))
        found = edges(graph_of(record, protocol, NONE))
        assert not [pair for pair in found if "femoral_lengthening" in pair[1]]

    def test_a_rule_of_either_order_still_binds_the_other_bone(self, protocol) -> None:
        tibial = operation("tibial_lengthening", at_age(4), achieved_mm=30, device_removed=at_age(4.5))
        found = edges(graph_of(five_year_old(operations=(tibial,)), protocol, BOTH))
        assert ("femoral_lengthening_1", "tibial_lengthening_1", "lengthening.bones_apart") in found


@pytest.mark.parametrize("predicted", [BOTH, NONE])
@pytest.mark.parametrize("findings", [HEALTHY, SHALLOW_AND_BENT, EVERYTHING])
def test_the_graph_has_no_cycle(findings, predicted, protocol) -> None:
    graph = graph_of(five_year_old(findings), protocol, predicted)
    assert nx.is_directed_acyclic_graph(graph.order())
    assert set(graph.order()) == {item.id for item in graph.stages}
