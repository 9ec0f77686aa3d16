"""Gates: judged today for the next stage of a kind only, mended by a planned stage, waived with a reason."""

from __future__ import annotations

import pytest

from pathway.record import Missing
from tests.rule_engine.graphs import gates, graph_of
from tests.sample import HEALTHY, SHALLOW_AND_BENT, at_age, child, decision, five_year_old, operation, visit

FIRST = "femoral_lengthening_1"


def changed(**findings):
    return five_year_old({**HEALTHY, **findings})


def test_a_child_ready_for_it_holds_every_gate_of_the_first_lengthening(protocol) -> None:
    states = gates(graph_of(five_year_old(), protocol), FIRST)
    assert len(states) == sum(gate.guards == "femoral_lengthening" for gate in protocol.gates)
    assert set(states.values()) == {"holds"}


@pytest.mark.parametrize(
    ("findings", "gate"),
    [
        ({"center_edge_angle_deg": 20.0}, "hip_covered"),
        ({"acetabular_index_deg": 25.0}, "socket_level"),
        ({"neck_shaft_angle_deg": 89.9}, "neck_upright"),
        ({"proximal_femur_ossification": "delayed"}, "neck_ossified"),
        ({"proximal_femur_continuity": "mobile_pseudarthrosis"}, "femur_in_one_piece"),
        ({"hip_joint": "subluxed"}, "hip_in_joint"),
        ({"patella_dislocated": True}, "knee_in_joint"),
        ({"knee_instability": "moderate"}, "knee_stable"),
        ({"knee_flexion_deg": 89.0}, "knee_bends"),
        ({"knee_flexion_contracture_deg": 11.0}, "knee_straightens"),
        ({"foot_plantigrade": "no"}, "foot_flat"),
        ({"active_infection": True}, "no_infection"),
        ({"therapy_arranged": False}, "therapy_ready"),
    ],
)
def test_one_finding_that_is_off_fails_its_own_gate_and_no_other(findings, gate, protocol) -> None:
    states = gates(graph_of(changed(**findings), protocol), FIRST)
    assert {name for name, state in states.items() if state != "holds"} == {gate}
    assert states[gate] == "fails"


def test_the_following_numbers_are_judged_later(protocol) -> None:
    graph = graph_of(five_year_old(), protocol)
    for number in (2, 3, 4):
        assert set(gates(graph, f"femoral_lengthening_{number}").values()) == {"later"}


def test_after_the_first_the_second_is_the_next_to_be_judged(protocol) -> None:
    done = operation("femoral_lengthening", at_age(3.2), achieved_mm=50, device_removed=at_age(3.8))
    record = five_year_old({**HEALTHY, "regenerate": "maturing"}, operations=(done,))
    states = gates(graph_of(record, protocol), "femoral_lengthening_2")
    assert states["new_bone_remodelled"] == "fails"
    assert states["hip_covered"] == "holds"
    assert set(gates(graph_of(record, protocol), "femoral_lengthening_3").values()) == {"later"}


def test_stages_that_are_done_have_no_gates_any_more(protocol) -> None:
    done = operation("femoral_lengthening", at_age(3.2), achieved_mm=50, device_removed=at_age(3.8))
    assert graph_of(five_year_old(operations=(done,)), protocol).stage(FIRST).gates == ()


class TestUnknown:
    @pytest.mark.parametrize("why", ["not_measurable", "declined", "never_measured"])
    def test_a_finding_that_was_not_obtained_leaves_the_gate_unknown_with_the_reason(self, why, protocol) -> None:
        known = {name: value for name, value in HEALTHY.items() if name != "center_edge_angle_deg"}
        missing = Missing(finding="center_edge_angle_deg", side="left", why=why)
        graph = graph_of(child(visit(at_age(5), known, missing=(missing,))), protocol)
        (gate,) = [gate for gate in graph.stage(FIRST).gates if gate.gate.id.endswith("hip_covered")]
        assert (gate.state, gate.verdict.why_unknown) == ("unknown", why)

    def test_a_finding_that_is_too_old_leaves_it_unknown_and_keeps_the_value(self, protocol) -> None:
        graph = graph_of(five_year_old(), protocol, on=at_age(6.2))
        (gate,) = [gate for gate in graph.stage(FIRST).gates if gate.gate.id.endswith("hip_covered")]
        assert (gate.state, gate.verdict.why_unknown, gate.verdict.value) == ("unknown", "out_of_date", 28.0)


class TestMended:
    """A gate that fails today and that a planned stage is meant to mend says which one."""

    def test_shallow_socket_and_bent_neck(self, protocol) -> None:
        graph = graph_of(five_year_old(SHALLOW_AND_BENT), protocol)
        mended = {gate.gate.id.partition(".")[2]: gate.mended_by for gate in graph.stage(FIRST).gates if gate.mended_by}
        assert mended == {"hip_covered": "hip_preparation_1", "neck_upright": "proximal_femoral_osteotomy_1"}

    def test_it_still_reads_as_failing(self, protocol) -> None:
        assert gates(graph_of(five_year_old(SHALLOW_AND_BENT), protocol), FIRST)["hip_covered"] == "fails"

    def test_a_gate_that_holds_needs_no_mending(self, protocol) -> None:
        graph = graph_of(changed(acetabular_index_deg=30.0), protocol)
        (covered,) = [gate for gate in graph.stage(FIRST).gates if gate.gate.id.endswith("hip_covered")]
        assert (covered.state, covered.mended_by) == ("holds", None)

    def test_a_declined_stage_mends_nothing(self, protocol) -> None:
        no = decision("decline", by="family", stage="hip_preparation")
        graph = graph_of(five_year_old(SHALLOW_AND_BENT, decisions=(no,)), protocol)
        (covered,) = [gate for gate in graph.stage(FIRST).gates if gate.gate.id.endswith("hip_covered")]
        assert (covered.state, covered.mended_by) == ("fails", None)

    def test_an_infection_is_mended_by_no_stage(self, protocol) -> None:
        graph = graph_of(changed(active_infection=True), protocol)
        (gate,) = [gate for gate in graph.stage(FIRST).gates if gate.gate.id.endswith("no_infection")]
        assert (gate.state, gate.mended_by) == ("fails", None)


class TestWaived:
    def test_a_failing_gate_is_waived_and_the_reason_kept(self, protocol) -> None:
        waived = decision("waive_gate", gate="femoral_lengthening.therapy_ready", reason="starts in the ward")
        record = five_year_old({**HEALTHY, "therapy_arranged": False}, decisions=(waived,))
        (gate,) = [gate for gate in graph_of(record, protocol).stage(FIRST).gates if gate.gate.id == waived.gate]
        assert (gate.state, gate.waived_because) == ("waived", "starts in the ward")
        assert gate.verdict.state == "fails"

    def test_an_unknown_gate_may_be_waived_too(self, protocol) -> None:
        waived = decision("waive_gate", gate="femoral_lengthening.therapy_ready")
        record = five_year_old(without=("therapy_arranged",), decisions=(waived,))
        assert gates(graph_of(record, protocol), FIRST)["therapy_ready"] == "waived"

    def test_a_gate_that_holds_is_not_shown_as_waived(self, protocol) -> None:
        waived = decision("waive_gate", gate="femoral_lengthening.therapy_ready")
        assert gates(graph_of(five_year_old(decisions=(waived,)), protocol), FIRST)["therapy_ready"] == "holds"

    def test_infection_can_never_be_waived(self, protocol) -> None:
        waived = decision("waive_gate", gate="femoral_lengthening.no_infection")
        record = five_year_old({**HEALTHY, "active_infection": True}, decisions=(waived,))
        assert gates(graph_of(record, protocol), FIRST)["no_infection"] == "fails"

    def test_it_counts_for_the_next_number_only(self, protocol) -> None:
        waived = decision("waive_gate", gate="femoral_lengthening.therapy_ready")
        record = five_year_old({**HEALTHY, "therapy_arranged": False}, decisions=(waived,))
        assert gates(graph_of(record, protocol), "femoral_lengthening_2")["therapy_ready"] == "later"
