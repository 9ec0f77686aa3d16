"""The smallest set of changed findings: it has the effect it says, and no smaller one has."""

from __future__ import annotations

import datetime
from functools import cache
from unittest import mock

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.casefile import read_case
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.protocol.references import conditions_of, entries
from pathway.questions.formula import Change
from pathway.questions.smallest_change import deciding_measurements, near_thresholds, smallest_changes
from pathway.record import Record
from pathway.rule_engine.conditions import Facts
from pathway.shipped import EXAMPLES, shipped
from tests.made_once import made_once
from tests.outside.properties.records import records
from tests.questions.changed import all_needs, is_seen, needs_of, stage_in, todays_facts, with_changes
from tests.sample import HEALTHY, ON, SHALLOW_AND_BENT, decision, five_year_old

PROTOCOL = load_protocol()
DAY = datetime.date(2026, 11, 25)
CHILDREN = ("alder-06", "birch-04", "cedar-05", "elm-01", "hazel-08", "oak-12", "rowan-02", "willow-03")
KINDS = [kind.id for kind in PROTOCOL.stages]


@cache
def planned(name: str) -> tuple[Record, Plan, Facts]:
    text = shipped(EXAMPLES).joinpath(f"{name}.toml").read_text(encoding="utf-8")
    record = read_case(text, name, PROTOCOL, DAY)
    assert isinstance(record, Record)
    return record, made_once(Question(record, PROTOCOL, DAY), compared=False), todays_facts(record, PROTOCOL, DAY)


def whats(plan: Plan, kind: str, effect: str) -> list[tuple[Change, ...]]:
    found = smallest_changes(plan, kind, PROTOCOL, stage_in(plan, kind))
    return [item.changes for item in found if item.effect == effect]


def single_changes() -> list[Change]:
    """Every finding of the catalogue at each value that may matter: what one changed finding could be."""
    bounds: dict[str, set[float]] = {}
    for _, entry in entries(PROTOCOL):
        for leaf in (leaf for condition in conditions_of(entry) for leaf in condition.leaves() if leaf.finding):
            given = (leaf.at_least, leaf.above, leaf.at_most, leaf.below)
            bounds.setdefault(leaf.finding, set()).update(bound for bound in given if bound is not None)
    found = []
    for rule in PROTOCOL.findings:
        values: list[float | str | bool] = [*rule.choices] if rule.kind == "choice" else [True, False]
        if rule.kind == "number" and rule.plausible is not None:
            near = {b + d for b in bounds.get(rule.id, ()) for d in (-3, -0.01, 0, 0.01, 3)}
            values = [*rule.plausible, *sorted(near)]
        found += [Change(rule.id, "affected", rule.label, rule.unit, 0.0, None, value, "", 1.0) for value in values]
    gone = {
        (leaf.finding, leaf.equals)
        for rule in PROTOCOL.contraindications
        if rule.impossible
        for leaf in rule.when.leaves()
    }
    # That there might be nothing to operate on is no reading to take again, and is not told.
    return [change for change in found if (change.finding, change.to) not in gone]


@pytest.mark.parametrize("name", CHILDREN)
def test_each_set_has_the_effect_it_says_when_the_stages_are_found_anew(name) -> None:
    record, plan, facts = planned(name)
    tried = 0
    for kind in KINDS:
        for item in smallest_changes(plan, kind, PROTOCOL, stage_in(plan, kind)):
            assert not is_seen(item.effect, kind, needs_of(kind, facts, record, PROTOCOL, DAY), PROTOCOL)
            changed = with_changes(facts, item.changes, DAY)
            assert is_seen(item.effect, kind, needs_of(kind, changed, record, PROTOCOL, DAY), PROTOCOL), (kind, item)
            tried += 1
    assert tried >= 15


@pytest.mark.parametrize("name", CHILDREN)
def test_where_two_are_needed_none_alone_is_enough(name) -> None:
    record, plan, facts = planned(name)
    large: dict[str, set[str]] = {}
    for kind in KINDS:
        found = smallest_changes(plan, kind, PROTOCOL, stage_in(plan, kind))
        large[kind] = {item.effect for item in found if len(item.changes) > 1}
    effects = [(kind, effect) for kind, found in large.items() for effect in sorted(found)]
    for one in single_changes() if effects else ():
        needs = all_needs(with_changes(facts, [one], DAY), record, PROTOCOL, DAY)
        for kind, effect in effects:
            assert not is_seen(effect, kind, needs.get(kind, ()), PROTOCOL), (kind, effect, one)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.data())
def test_for_any_child_each_set_has_the_effect_it_says(data) -> None:
    record, on = data.draw(records(PROTOCOL))
    with mock.patch("pathway.plan.make.courses", return_value=()):
        plan = make_plan(Question(record, PROTOCOL, on))
    facts = todays_facts(record, PROTOCOL, on)
    for kind in KINDS:
        for item in smallest_changes(plan, kind, PROTOCOL, stage_in(plan, kind)):
            needs = needs_of(kind, with_changes(facts, item.changes, on), record, PROTOCOL, on)
            assert is_seen(item.effect, kind, needs, PROTOCOL), (kind, item)


class TestOneChild:
    """The sets of a boy of five, read against the rules that are behind them."""

    def test_a_shallow_socket_alone_keeps_hip_preparation_in(self) -> None:
        plan = made_once(
            Question(five_year_old({**HEALTHY, "center_edge_angle_deg": 12.0}), PROTOCOL, ON), compared=False
        )
        ((change,),) = whats(plan, "hip_preparation", "drop")
        assert (change.finding, change.now, change.words) == ("center_edge_angle_deg", 12.0, "more than 20 deg")
        assert change.to == 21.0
        assert change.distance == pytest.approx((21 - 12) / PROTOCOL.finding("center_edge_angle_deg").sd)

    def test_with_the_finding_so_changed_the_child_is_planned_without_the_stage(self) -> None:
        plan = made_once(
            Question(five_year_old({**HEALTHY, "center_edge_angle_deg": 12.0}), PROTOCOL, ON), compared=False
        )
        ((change,),) = whats(plan, "hip_preparation", "drop")
        again = made_once(Question(five_year_old({**HEALTHY, change.finding: change.to}), PROTOCOL, ON), compared=False)
        assert stage_in(plan, "hip_preparation") is not None
        assert stage_in(again, "hip_preparation") is None
        gates = {gate.id: gate.state for gate in again.stage("femoral_lengthening_1").gates}
        assert gates["femoral_lengthening.hip_covered"] == "holds"

    def test_every_ground_must_go_before_a_stage_falls_away(self) -> None:
        bent = {**HEALTHY, "center_edge_angle_deg": 12.0, "acetabular_index_deg": 30.0}
        plan = made_once(Question(five_year_old(bent), PROTOCOL, ON), compared=False)
        (changes,) = whats(plan, "hip_preparation", "drop")
        assert {(item.finding, item.words) for item in changes} == {
            ("center_edge_angle_deg", "more than 20 deg"),
            ("acetabular_index_deg", "less than 25 deg"),
        }

    def test_the_nearest_of_several_single_findings_comes_first(self) -> None:
        plan = made_once(
            Question(five_year_old({**HEALTHY, "center_edge_angle_deg": 21.0}), PROTOCOL, ON), compared=False
        )
        first, *_ = whats(plan, "hip_preparation", "add")
        assert [(item.finding, item.words) for item in first] == [("center_edge_angle_deg", "at most 20 deg")]

    def test_a_stage_behind_another_falls_with_the_findings_of_the_other(self) -> None:
        plan = made_once(Question(five_year_old(SHALLOW_AND_BENT), PROTOCOL, ON), compared=False)
        (upstream,) = whats(plan, "proximal_femoral_osteotomy", "drop")
        (downstream,) = whats(plan, "hardware_removal", "drop")
        # From 110 to 120 deg the osteotomy may still be done, yet nothing is planned that leaves implants behind.
        assert [(item.finding, item.words) for item in upstream] == [("neck_shaft_angle_deg", "at least 120 deg")]
        assert [(item.finding, item.words) for item in downstream] == [("neck_shaft_angle_deg", "at least 110 deg")]

    def test_unlocking_names_every_finding_that_holds_a_stage_up(self) -> None:
        plan = made_once(Question(five_year_old(SHALLOW_AND_BENT), PROTOCOL, ON), compared=False)
        (changes,) = whats(plan, "femoral_lengthening", "unlock")
        assert {(item.finding, item.words) for item in changes} == {
            ("center_edge_angle_deg", "more than 20 deg"),
            ("neck_shaft_angle_deg", "at least 90 deg"),
        }

    def test_a_flag_and_a_choice_are_changed_to_what_would_do(self) -> None:
        plan = made_once(Question(five_year_old(), PROTOCOL, ON), compared=False)
        ways = {(item.finding, item.words) for (item,) in whats(plan, "knee_preparation", "add")}
        assert ("knee_dislocated", "yes") in ways
        assert ("knee_instability", "moderate or severe") in ways

    def test_what_is_not_known_is_measured_first(self) -> None:
        plan = made_once(Question(five_year_old(without=("ankle_type",)), PROTOCOL, ON), compared=False)
        ((change,),) = whats(plan, "ankle_foot_preparation", "drop")
        assert (change.finding, change.now, change.why_unknown) == ("ankle_type", None, "never_measured")
        assert change.words == "stable normal"

    def test_a_waived_gate_needs_no_change(self) -> None:
        gates = ("femoral_lengthening.hip_covered", "femoral_lengthening.neck_upright")
        waived = tuple(decision("waive_gate", gate=gate) for gate in gates)
        plan = made_once(Question(five_year_old(SHALLOW_AND_BENT, decisions=waived), PROTOCOL, ON), compared=False)
        assert whats(plan, "femoral_lengthening", "unlock") == []

    def test_nothing_is_said_of_a_stage_done(self) -> None:
        _, plan, _ = planned("hazel-08")
        done = next(item for item in plan.stages if item.status == "done")
        assert smallest_changes(plan, done.kind, PROTOCOL, done) == ()


class TestDecidingMeasurements:
    """Which single measurement decides most."""

    def test_what_is_known_is_not_named(self) -> None:
        plan = made_once(Question(five_year_old(), PROTOCOL, ON), compared=False)
        assert not {item.finding for item in deciding_measurements(plan, PROTOCOL)} & {*HEALTHY, "femur_length_mm"}

    def test_a_finding_that_a_gate_asks_for_is_named_with_the_gate(self) -> None:
        plan = made_once(Question(five_year_old(without=("foot_plantigrade",)), PROTOCOL, ON), compared=False)
        first = next(d for d in deciding_measurements(plan, PROTOCOL) if d.finding == "foot_plantigrade")
        assert "femoral_lengthening.foot_flat" in first.always_settles
        assert "femoral_lengthening" in first.stages

    def test_a_finding_that_may_leave_the_rest_open_does_not_settle_always(self) -> None:
        plan = made_once(
            Question(five_year_old(without=("center_edge_angle_deg", "acetabular_index_deg")), PROTOCOL, ON),
            compared=False,
        )
        shallow = "hip_preparation.shallow_or_tight"
        (angle,) = [d for d in deciding_measurements(plan, PROTOCOL) if d.finding == "center_edge_angle_deg"]
        assert shallow in angle.could_settle
        assert shallow not in angle.always_settles

    def test_the_lengths_come_first_where_nothing_can_be_projected(self) -> None:
        _, plan, _ = planned("elm-01")
        first, second, *_ = deciding_measurements(plan, PROTOCOL)
        assert {first.finding, second.finding} == {"femur_length_mm", "tibia_length_mm"}

    def test_for_one_stage_only_its_own_judgements_count(self) -> None:
        _, plan, _ = planned("elm-01")
        for item in deciding_measurements(plan, PROTOCOL, "hip_preparation"):
            assert item.stages == ("hip_preparation",)


class TestNearThresholds:
    """A reading within its error of a threshold asks to be repeated."""

    @pytest.mark.parametrize(("value", "near"), [(21, True), (24, True), (24.5, False), (16, True), (15.9, False)])
    def test_within_one_error(self, value, near) -> None:
        plan = made_once(
            Question(five_year_old({**HEALTHY, "center_edge_angle_deg": value}), PROTOCOL, ON), compared=False
        )
        found = near_thresholds(plan, plan.stage("femoral_lengthening_1"), PROTOCOL)
        assert any((item.value, item.threshold, item.sd) == (value, 20.0, 4.0) for item in found) is near

    def test_a_waived_gate_asks_for_nothing(self) -> None:
        waived = (decision("waive_gate", gate="femoral_lengthening.hip_covered"),)
        child = five_year_old({**HEALTHY, "center_edge_angle_deg": 19.0}, decisions=waived)
        plan = made_once(Question(child, PROTOCOL, ON), compared=False)
        found = near_thresholds(plan, plan.stage("femoral_lengthening_1"), PROTOCOL)
        assert "center_edge_angle_deg" not in {item.finding for item in found}


def test_what_would_stop_an_offered_stage_leaves_it_offered() -> None:
    # Arms that do not serve as arms speak against taking the foot, but they take the offer away too.
    record = five_year_old(
        {**HEALTHY, "foot_functional": False, "upper_limbs_functional": True}, diagnosis="fibular_deficiency"
    )
    plan = made_once(Question(record, PROTOCOL, ON), compared=False)
    facts = todays_facts(record, PROTOCOL, ON)
    stage = stage_in(plan, "foot_amputation")
    blocks = [item for item in smallest_changes(plan, "foot_amputation", PROTOCOL, stage) if item.effect == "block"]
    assert blocks
    for item in blocks:
        needs = needs_of("foot_amputation", with_changes(facts, item.changes, ON), record, PROTOCOL, ON)
        assert is_seen("block", "foot_amputation", needs, PROTOCOL), item
