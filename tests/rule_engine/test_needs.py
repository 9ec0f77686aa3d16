"""Which stages a child needs: by indication, by number, by what was done and what was declined."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import add_months
from tests.rule_engine.graphs import BOTH, HUGE, NONE, SMALL, graph_of, ids, kinds
from tests.sample import HEALTHY, ON, SHALLOW_AND_BENT, at_age, decision, five_year_old, operation

FOUR_LENGTHENINGS = [f"femoral_lengthening_{number}" for number in (1, 2, 3, 4)]
PREPARATIONS = {
    "hip_preparation",
    "pseudarthrosis_repair",
    "proximal_femoral_osteotomy",
    "knee_preparation",
    "ankle_foot_preparation",
}


def changed(**findings):
    return five_year_old({**HEALTHY, **findings})


class TestIndications:
    def test_a_sound_hip_knee_and_ankle_need_no_preparation(self, protocol) -> None:
        graph = graph_of(five_year_old(), protocol)
        assert not PREPARATIONS & {item.kind for item in graph.stages}

    @pytest.mark.parametrize(
        ("findings", "planned"),
        [
            ({"center_edge_angle_deg": 20.0}, {"hip_preparation"}),
            ({"acetabular_index_deg": 25.0}, {"hip_preparation"}),
            ({"hip_joint": "subluxed"}, {"hip_preparation"}),
            ({"hip_flexion_contracture_deg": 15.0}, {"hip_preparation"}),
            ({"neck_shaft_angle_deg": 89.0}, {"proximal_femoral_osteotomy", "hardware_removal"}),
            (
                {"neck_shaft_angle_deg": 110.0, "proximal_femur_ossification": "delayed"},
                {"proximal_femoral_osteotomy", "hardware_removal"},
            ),
            (
                {"proximal_femur_continuity": "mobile_pseudarthrosis"},
                {"pseudarthrosis_repair", "hardware_removal"},
            ),
            ({"knee_dislocated": True}, {"knee_preparation"}),
            ({"knee_instability": "moderate"}, {"knee_preparation"}),
            ({"foot_plantigrade": "no"}, {"ankle_foot_preparation"}),
            ({"ankle_type": "fixed_equinovalgus"}, {"ankle_foot_preparation"}),
        ],
    )
    def test_a_finding_that_asks_for_a_preparation_plans_it(self, findings, planned, protocol) -> None:
        graph = graph_of(changed(**findings), protocol)
        operations = {item.kind for item in graph.stages if item.state == "planned" and item.stage.operation}
        assert operations == planned

    @pytest.mark.parametrize(
        "findings",
        [{"center_edge_angle_deg": 20.1}, {"acetabular_index_deg": 24.9}, {"hip_flexion_contracture_deg": 10.0}],
    )
    def test_on_the_sound_side_of_the_threshold_nothing_is_planned(self, findings, protocol) -> None:
        assert "hip_preparation" not in kinds(graph_of(changed(**findings), protocol), "planned", "optional", "unknown")

    def test_an_optional_indication_makes_the_stage_optional(self, protocol) -> None:
        graph = graph_of(changed(neck_shaft_angle_deg=110.0), protocol)
        assert graph.of_kind("proximal_femoral_osteotomy")[0].state == "optional"
        assert graph.of_kind("contralateral_growth_arrest")[0].state == "optional"

    def test_a_required_indication_wins_over_an_optional_one(self, protocol) -> None:
        graph = graph_of(changed(neck_shaft_angle_deg=110.0, hilgenreiner_epiphyseal_angle_deg=65.0), protocol)
        assert graph.of_kind("proximal_femoral_osteotomy")[0].state == "planned"

    def test_an_indication_that_cannot_be_judged_makes_the_stage_unknown(self, protocol) -> None:
        graph = graph_of(five_year_old(without=("center_edge_angle_deg",)), protocol)
        (hip,) = graph.of_kind("hip_preparation")
        assert hip.state == "unknown"
        assert [verdict.asks for _, verdict in hip.indicated] == [("center_edge_angle_deg",)]
        assert hip.gates == ()

    def test_one_finding_that_asks_is_enough_although_another_is_unknown(self, protocol) -> None:
        record = five_year_old({**HEALTHY, "acetabular_index_deg": 30.0}, without=("center_edge_angle_deg",))
        assert graph_of(record, protocol).of_kind("hip_preparation")[0].state == "planned"

    def test_without_any_length_the_lengthening_is_unknown_and_not_numbered_on(self, protocol) -> None:
        graph = graph_of(five_year_old(), protocol, None)
        assert [(item.id, item.state) for item in graph.of_kind("femoral_lengthening")] == [
            ("femoral_lengthening_1", "unknown")
        ]

    def test_every_stage_carries_the_rules_that_put_it_there(self, protocol) -> None:
        for item in graph_of(five_year_old(SHALLOW_AND_BENT), protocol).stages:
            assert item.indicated, item.id
            assert all(rule.stage == item.kind for rule, _ in item.indicated)
            assert all(verdict.state == "holds" for _, verdict in item.indicated)

    def test_stages_stand_in_the_order_of_their_rank(self, protocol) -> None:
        ranks = [item.stage.rank for item in graph_of(five_year_old(SHALLOW_AND_BENT), protocol).stages]
        assert ranks == sorted(ranks)


class TestNumbers:
    def test_lengthenings_are_emitted_as_often_as_the_protocol_allows(self, protocol) -> None:
        graph = graph_of(five_year_old(), protocol)
        assert ids(graph, "possible")[:4] == FOUR_LENGTHENINGS
        assert protocol.stage("femoral_lengthening").most == 4

    def test_a_child_without_a_difference_needs_none(self, protocol) -> None:
        assert graph_of(five_year_old(), protocol, NONE).of_kind("femoral_lengthening") == ()

    def test_a_small_difference_is_lengthened_at_maturity_if_at_all(self, protocol) -> None:
        for item in graph_of(five_year_old(), protocol, SMALL).of_kind("femoral_lengthening"):
            assert all(rule.at_maturity and rule.optional for rule, _ in item.indicated)

    def test_the_tibia_is_lengthened_where_its_own_share_is_large(self, protocol) -> None:
        assert graph_of(five_year_old(), protocol).of_kind("tibial_lengthening") == ()
        graph = graph_of(five_year_old(), protocol, BOTH)
        assert [item.number for item in graph.of_kind("tibial_lengthening")] == [1, 2, 3]

    def test_the_number_goes_on_after_what_was_done(self, protocol) -> None:
        done = operation("femoral_lengthening", at_age(4), achieved_mm=50, device_removed=at_age(4.5))
        graph = graph_of(five_year_old(operations=(done,)), protocol)
        assert [(item.number, item.state) for item in graph.of_kind("femoral_lengthening")] == [
            (1, "done"),
            (2, "possible"),
            (3, "possible"),
            (4, "possible"),
        ]

    def test_a_stage_done_as_often_as_allowed_is_not_planned_again(self, protocol) -> None:
        twice = tuple(operation("hip_preparation", at_age(age)) for age in (2, 3))
        record = five_year_old(SHALLOW_AND_BENT, operations=twice)
        assert {item.state for item in graph_of(record, protocol).of_kind("hip_preparation")} == {"done"}

    def test_a_preparation_comes_back_when_the_finding_measured_anew_still_asks_for_it(self, protocol) -> None:
        once = operation("hip_preparation", at_age(3))
        graph = graph_of(five_year_old(SHALLOW_AND_BENT, operations=(once,)), protocol)
        assert [(item.number, item.state) for item in graph.of_kind("hip_preparation")] == [(1, "done"), (2, "planned")]

    def test_a_stage_of_one_that_was_done_twice_all_the_same_keeps_both(self, protocol) -> None:
        assert protocol.stage("shoe_lift").most == 1
        twice = tuple(operation("shoe_lift", at_age(age)) for age in (3, 4))
        lifts = graph_of(five_year_old(operations=twice), protocol).of_kind("shoe_lift")
        assert [(lift.id, lift.done_on) for lift in lifts] == [("shoe_lift", at_age(3)), ("shoe_lift_2", at_age(4))]

    def test_implants_taken_out_are_not_taken_out_again(self, protocol) -> None:
        done = (operation("proximal_femoral_osteotomy", at_age(2)), operation("hardware_removal", at_age(3.5)))
        graph = graph_of(five_year_old(operations=done), protocol)
        assert [item.state for item in graph.of_kind("hardware_removal")] == ["done"]

    def test_implants_of_a_done_osteotomy_are_still_to_come_out(self, protocol) -> None:
        graph = graph_of(five_year_old(operations=(operation("proximal_femoral_osteotomy", at_age(3)),)), protocol)
        assert [item.state for item in graph.of_kind("hardware_removal")] == ["planned"]


class TestDoneAndUnderWay:
    def test_a_lengthening_with_its_device_on_is_under_way(self, protocol) -> None:
        done = operation("femoral_lengthening", at_age(4.8), achieved_mm=50)
        graph = graph_of(five_year_old(operations=(done,)), protocol)
        first = graph.stage("femoral_lengthening_1")
        assert (first.state, first.done_on, first.ended_on) == ("under_way", done.date, None)
        assert first.operation == done
        assert graph.stage("femoral_device_removal_1").state == "planned"
        assert graph.stage("hip_surveillance_1").state == "planned"

    def test_a_removal_after_the_day_is_not_known_yet(self, protocol) -> None:
        done = operation("femoral_lengthening", at_age(4.8), achieved_mm=50, device_removed=at_age(5.5))
        assert graph_of(five_year_old(operations=(done,)), protocol).stage("femoral_lengthening_1").state == "under_way"

    def test_with_the_device_out_it_is_done_and_its_followers_have_begun(self, protocol) -> None:
        out = add_months(ON, -1)
        done = operation("femoral_lengthening", at_age(4.4), achieved_mm=50, device_removed=out)
        graph = graph_of(five_year_old(operations=(done,)), protocol)
        assert graph.stage("femoral_lengthening_1").state == "done"
        removal, films = graph.stage("femoral_device_removal_1"), graph.stage("hip_surveillance_1")
        assert (removal.state, removal.done_on) == ("under_way", out)
        assert (films.state, films.ended_on) == ("under_way", add_months(out, 36))

    def test_a_follower_is_done_when_its_months_are_over(self, protocol) -> None:
        done = operation("femoral_lengthening", at_age(3.5), achieved_mm=50, device_removed=at_age(4))
        assert graph_of(five_year_old(operations=(done,)), protocol).stage("femoral_device_removal_1").state == "done"

    def test_a_follower_ends_on_the_very_day(self, protocol) -> None:
        months = protocol.stage("femoral_device_removal").duration_months
        out = add_months(ON, -months)
        done = operation("femoral_lengthening", at_age(4), achieved_mm=50, device_removed=out)
        record = five_year_old(operations=(done,))
        assert graph_of(record, protocol).stage("femoral_device_removal_1").state == "done"
        day_before = graph_of(record, protocol, on=ON - datetime.timedelta(days=1))
        assert day_before.stage("femoral_device_removal_1").state == "under_way"

    def test_a_preparation_is_under_way_for_its_months(self, protocol) -> None:
        months = protocol.stage("hip_preparation").duration_months
        done = operation("hip_preparation", add_months(ON, -months))
        before = graph_of(five_year_old(operations=(done,)), protocol, on=ON - datetime.timedelta(days=1))
        assert before.stage("hip_preparation_1").state == "under_way"
        assert graph_of(five_year_old(operations=(done,)), protocol).stage("hip_preparation_1").state == "done"

    def test_an_operation_after_the_day_was_not_done_yet(self, protocol) -> None:
        done = operation("hip_preparation", ON + datetime.timedelta(days=1))
        graph = graph_of(five_year_old(SHALLOW_AND_BENT, operations=(done,)), protocol)
        assert [item.state for item in graph.of_kind("hip_preparation")] == ["planned"]


class TestFollowers:
    """Every lengthening is followed by the removal of its device, and a femoral one by films of the hip."""

    def test_each_number_has_its_own(self, protocol) -> None:
        graph = graph_of(five_year_old(), protocol, BOTH)
        for number in (1, 2, 3, 4):
            assert graph.stage(f"femoral_device_removal_{number}").state == "possible"
            assert graph.stage(f"hip_surveillance_{number}").state == "possible"
        assert [item.number for item in graph.of_kind("tibial_device_removal")] == [1, 2, 3]

    def test_no_lengthening_no_follower(self, protocol) -> None:
        graph = graph_of(five_year_old(), protocol, NONE)
        assert not {"femoral_device_removal", "hip_surveillance"} & {item.kind for item in graph.stages}


class TestDeclined:
    def test_a_declined_preparation_is_optional_and_keeps_the_decision(self, protocol) -> None:
        no = decision("decline", by="family", stage="hip_preparation")
        (hip,) = graph_of(five_year_old(SHALLOW_AND_BENT, decisions=(no,)), protocol).of_kind("hip_preparation")
        assert (hip.state, hip.declined) == ("optional", no)

    def test_declined_lengthenings_are_optional_and_have_no_followers(self, protocol) -> None:
        no = decision("decline", by="family", stage="femoral_lengthening")
        graph = graph_of(five_year_old(decisions=(no,)), protocol)
        assert {item.state for item in graph.of_kind("femoral_lengthening")} == {"optional"}
        assert graph.of_kind("femoral_device_removal") == ()

    def test_another_stage_is_not_touched(self, protocol) -> None:
        no = decision("decline", by="family", stage="contralateral_growth_arrest")
        graph = graph_of(five_year_old(SHALLOW_AND_BENT, decisions=(no,)), protocol)
        assert graph.of_kind("hip_preparation")[0].state == "planned"
        assert graph.of_kind("contralateral_growth_arrest")[0].declined == no


class TestContraindications:
    def test_no_expected_difference_stands_against_a_lengthening(self, protocol) -> None:
        graph = graph_of(five_year_old(), protocol, HUGE)
        assert all(item.within_protocol for item in graph.of_kind("femoral_lengthening"))
        assert graph.standing.stands == "undecided", "one film alone"

    def test_what_cannot_be_operated_on_is_no_stage_at_all(self, protocol) -> None:
        assert graph_of(changed(femoral_shaft="absent"), protocol).of_kind("femoral_lengthening") == ()
        shallow_without_hip = changed(acetabulum="absent", center_edge_angle_deg=5.0)
        assert graph_of(shallow_without_hip, protocol).of_kind("hip_preparation") == ()

    def test_a_stiff_knee_stands_against_it(self, protocol) -> None:
        graph = graph_of(changed(knee_motion_arc_deg=39.0), protocol)
        assert "femoral_lengthening.stiff_knee" in {rule.id for rule, _ in graph.stage("femoral_lengthening_1").against}
        assert graph.of_kind("prosthetic_road")[0].state == "optional"

    @pytest.mark.parametrize("arc", [40.0, 44.0, 46.0])
    def test_a_reading_within_its_error_of_the_limit_stands_against_nothing(self, arc, protocol) -> None:
        graph = graph_of(changed(knee_motion_arc_deg=arc), protocol)
        assert graph.stage("femoral_lengthening_1").against == ()
        assert graph.of_kind("prosthetic_road") == ()

    def test_what_is_not_known_stands_against_nothing(self, protocol) -> None:
        record = five_year_old(without=("knee_motion_arc_deg",))
        assert graph_of(record, protocol).stage("femoral_lengthening_1").against == ()

    def test_a_surgeon_may_waive_it_with_a_reason(self, protocol) -> None:
        waived = decision("waive_gate", gate="femoral_lengthening.stiff_knee")
        graph = graph_of(five_year_old({**HEALTHY, "knee_motion_arc_deg": 30.0}, decisions=(waived,)), protocol)
        assert graph.stage("femoral_lengthening_1").within_protocol
        assert (graph.standing.stands, graph.standing.waived) == ("both", True)

    def test_waiving_one_leaves_the_others(self, protocol) -> None:
        waived = decision("waive_gate", gate="femoral_lengthening.stiff_knee")
        stiff = {**HEALTHY, "knee_motion_arc_deg": 30.0, "femoral_shaft": "deficient"}
        graph = graph_of(five_year_old(stiff, decisions=(waived,)), protocol)
        against = {rule.id for rule, _ in graph.stage("femoral_lengthening_1").against}
        assert against == {"femoral_lengthening.femur_deficient"}

    def test_the_followers_of_a_lengthening_share_what_stands_against_it(self, protocol) -> None:
        graph = graph_of(changed(knee_motion_arc_deg=30.0), protocol)
        assert not graph.stage("femoral_device_removal_1").within_protocol


def test_an_unknown_stage_id_is_a_key_error(protocol) -> None:
    with pytest.raises(KeyError):
        graph_of(five_year_old(), protocol).stage("massage_1")
