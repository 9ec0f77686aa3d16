"""A clinic's rules add a way of lengthening, or call a stage by another name: the planner needs no change for it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pathway.plan.graph import graph_of
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.plan.verify import check_plan
from pathway.problems import Refused
from pathway.protocol.load import load_protocol, read_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.prove import prove
from pathway.protocol.question import Question
from pathway.record import Operation
from pathway.views.family.choices import choice_name
from pathway.views.family.story import story_of
from pathway.views.words.wording import wording
from pathway.worksheets.kinds import kind_for
from tests.examples import ON as DAY
from tests.examples import example, example_plan
from tests.family import family_text
from tests.protocol.rule_folder import copy_of_rules
from tests.sample import ON, at_age, five_year_old, operation

OWN = 'because = "So it is done here."\nprovenance = "judgement"\nsources = ["own_judgement"]\n'
BY_ROD = f"""
[[stage]]
id = "rod_lengthening"
role = "lengthening"
label = "Femoral lengthening by rod"
lane = "length"
bone = "femur"
rank = 44
most = 2
what = "The femur is drawn apart by a rod in the bone."
family_words = "The thigh bone is made longer by a rod inside it."
alters = ["femur_length_mm", "regenerate"]
provenance = "judgement"
sources = ["own_judgement"]

[[stage]]
id = "rod_out"
role = "device_removal"
label = "Rod out"
lane = "length"
rank = 45
most = 2
what = "The rod is taken out."
family_words = "The rod comes out."
duration_months = 1
provenance = "judgement"
sources = ["own_judgement"]

[[indication]]
id = "rod_lengthening.large_difference"
stage = "rod_lengthening"
when = {{ quantity = "predicted_femur_discrepancy_at_maturity_mm", at_least = 30, chance = 0.5 }}
{OWN}
[[indication]]
id = "rod_out.after_lengthening"
stage = "rod_out"
when = {{ stage = "rod_lengthening", equals = "planned" }}
{OWN}
[[gate]]
id = "rod_lengthening.no_infection"
guards = "rod_lengthening"
requires = {{ finding = "active_infection", equals = false }}
{OWN}
[[interval]]
id = "rod_lengthening.apart"
earlier = "rod_lengthening.start"
later = "rod_lengthening.start"
next = true
at_least_months = 36
{OWN}
[[interval]]
id = "rod_out.at_end"
earlier = "rod_lengthening.end"
later = "rod_out.start"
at_least_months = 0
at_most_months = 0
{OWN}
[[interval]]
id = "rod_lengthening.apart_from_tibia"
earlier = "rod_lengthening.end"
later = "tibial_lengthening.start"
either_order = true
at_least_months = 12
{OWN}
[[age_window]]
id = "rod_lengthening.not_before_eight"
stage = "rod_lengthening"
hard = true
at_least_months = 96
{OWN}
[[amount_limit]]
id = "rod_lengthening.most"
stage = "rod_lengthening"
most_mm = 50
{OWN}"""
BOTH_APART = f"""
[[interval]]
id = "rod_lengthening.apart_from_frame"
earlier = "femoral_lengthening.end"
later = "rod_lengthening.start"
either_order = true
at_least_months = 12
{OWN}"""
NO_FRAME = f"""
[[contraindication]]
id = "femoral_lengthening.not_here"
stage = "femoral_lengthening"
when = {{ quantity = "age_years", at_least = 0 }}
{OWN}"""
RODS = ("rod_lengthening_1", "rod_lengthening_2")
ARREST, RENAMED = "contralateral_growth_arrest", "knee_plate_closure"


def _with_rod(folder: Path, *more: str) -> Protocol:
    (folder / "own.toml").write_text("".join((BY_ROD, BOTH_APART, *more)), encoding="utf-8")
    return load_protocol(folder)


@pytest.fixture(scope="module")
def by_rod(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Protocol]:
    """Return the plan of a boy of five, and its rules, where a frame stands against the protocol and a rod does not."""
    protocol = _with_rod(tmp_path_factory.mktemp("own"), NO_FRAME)
    return make_plan(Question(five_year_old(), protocol, ON), compared=False), protocol


class TestASecondWayOfLengthening:
    """It is a lengthening like the first: in the course, the dates, the graph, the judge and the words."""

    def test_the_rules_hold_together_and_each_stage_has_room(self, by_rod) -> None:
        assert not [complaint for complaint in prove(by_rod[1]) if "rod" in str(complaint)]

    def test_it_is_chosen_where_the_first_way_stands_against_the_protocol(self, by_rod) -> None:
        plan, _ = by_rod
        assert plan.recommended is not None and plan.recommended.within_protocol
        kinds = {stage.kind for stage in plan.recommended.stages}
        assert "rod_lengthening" in kinds and "femoral_lengthening" not in kinds
        assert plan.recommended.id.startswith(("one_femoral", "two_femoral"))

    def test_its_limits_ages_and_device_months_are_its_own(self, by_rod) -> None:
        plan, protocol = by_rod
        rods = [stage for stage in plan.stages if stage.id in RODS]
        assert rods
        for stage in rods:
            assert stage.amount_mm is not None and stage.amount_mm <= 50
            assert stage.age_years is not None and stage.age_years >= 8
            assert [note.rule for note in stage.amount_limits] == ["rod_lengthening.most"]
            assert stage.physes == ()
            assert [gate.id for gate in stage.gates] == ["rod_lengthening.no_infection"]
            days = protocol.number("femur_days_per_cm") * stage.amount_mm / 10
            assert stage.date is not None and stage.end_date is not None
            assert (stage.end_date - stage.date).days == pytest.approx(days, abs=1)
        assert plan.recommended is not None
        months = sum(stage.duration_months or 0 for stage in rods)
        assert plan.recommended.burden.device_months == pytest.approx(months, abs=0.2)

    def test_its_device_comes_off_on_its_last_day(self, by_rod) -> None:
        plan, _ = by_rod
        graph = graph_of(plan)
        for stage in (stage for stage in plan.stages if stage.id in RODS):
            (out,) = graph.followers(stage.id)
            assert (out.kind, out.number, out.date) == ("rod_out", stage.number, stage.end_date)
            assert graph.leader(out.id) == stage

    def test_the_judge_finds_what_goes_against_its_rules(self, by_rod) -> None:
        plan, protocol = by_rod
        assert check_plan(plan, five_year_old(), protocol) == ()
        first = RODS[0]
        for change, breach in (
            ({"amount_mm": 60.0}, "rod_lengthening.most"),
            ({"date": at_age(7)}, "not_before_eight"),
        ):
            stages = tuple(s.model_copy(update=change) if s.id == first else s for s in plan.stages)
            found = check_plan(plan.model_copy(update={"stages": stages}), five_year_old(), protocol)
            assert any(item.rule.endswith(breach) and item.stage == first for item in found)
        without = plan.model_copy(update={"stages": tuple(s for s in plan.stages if s.kind != "rod_out")})
        assert "rod_out.after_lengthening" in {item.rule for item in check_plan(without, five_year_old(), protocol)}

    def test_worksheet_and_words_take_it_for_a_lengthening(self, by_rod) -> None:
        plan, protocol = by_rod
        assert kind_for(plan.stage(RODS[0]), protocol) == "lengthening"
        assert "How much: about" in family_text(plan)
        assert plan.recommended is not None
        shown = choice_name(story_of(plan, protocol).choices[0], wording())
        assert "thigh" in shown.lower()

    def test_one_done_counts_as_length_gained_and_keeps_the_other_way_waiting(self, tmp_path: Path) -> None:
        protocol = _with_rod(tmp_path)
        day = at_age(9)
        done = operation("rod_lengthening", at_age(8), achieved_mm=40.0, device_removed=at_age(8.5))
        plan = make_plan(Question(five_year_old(operations=(done,)), protocol, day), compared=False)
        before = make_plan(Question(five_year_old(), protocol, day), compared=False)
        assert plan.stage("rod_lengthening_1").status == plan.stage("rod_out_1").status == "done"
        assert plan.growth.at_maturity is not None and before.growth.at_maturity is not None
        gained = before.growth.at_maturity.discrepancy_mm.p50 - plan.growth.at_maturity.discrepancy_mm.p50
        assert gained == pytest.approx(40, abs=10)
        frames = [s for s in plan.stages if s.kind == "femoral_lengthening" and s.date is not None]
        assert frames
        assert all(s.date is not None and s.date >= at_age(9.5) for s in frames)

    def test_two_ways_on_one_bone_that_nothing_keeps_apart_are_refused(self, tmp_path: Path) -> None:
        (tmp_path / "own.toml").write_text(BY_ROD, encoding="utf-8")
        with pytest.raises(Refused, match="both lengthen one bone"):
            load_protocol(tmp_path)


def test_a_way_that_may_be_done_once_has_an_id_without_a_number(tmp_path: Path) -> None:
    once = BY_ROD.replace("most = 2", "most = 1").replace(
        '[[interval]]\nid = "rod_lengthening.apart"\nearlier = "rod_lengthening.start"\n'
        f'later = "rod_lengthening.start"\nnext = true\nat_least_months = 36\n{OWN}',
        "",
    )
    (tmp_path / "own.toml").write_text(once + BOTH_APART + NO_FRAME, encoding="utf-8")
    plan = make_plan(Question(five_year_old(), load_protocol(tmp_path), ON), compared=False)
    chosen = [stage for course in plan.alternatives for stage in course.stages if stage.id == "rod_lengthening"]
    assert chosen and all(stage.kind == "rod_lengthening" for stage in chosen)


@pytest.mark.parametrize("name", ["rowan-02", "oak-12"])
def test_the_growth_arrest_by_another_name_gives_the_same_plan(name: str, tmp_path: Path) -> None:
    rules = copy_of_rules(tmp_path)
    for path in rules.rglob("*.toml"):
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace(ARREST, RENAMED), encoding="utf-8")
    renamed = read_protocol(rules)
    assert ARREST not in {stage.id for stage in renamed.stages}
    record = example(name)
    operations = tuple(_renamed(item) for item in record.operations)
    plan = make_plan(Question(record.model_copy(update={"operations": operations}), renamed, DAY))
    assert json.loads(plan.model_dump_json()) == json.loads(
        example_plan(name).model_dump_json().replace(ARREST, RENAMED)
    )
    assert RENAMED in {stage.kind for stage in plan.stages}


def _renamed(done: Operation) -> Operation:
    return done.model_copy(update={"kind": RENAMED}) if done.kind == ARREST else done


def test_a_stored_plan_gives_the_same_graph() -> None:
    plan = example_plan("rowan-02")
    graph = graph_of(Plan.model_validate_json(plan.model_dump_json()))
    assert [stage.id for stage in graph.stages] == [stage.id for stage in plan.stages]
    assert {edge.rule for stage in plan.stages for edge in graph.edges_into(stage.id)} == {
        tie for stage in plan.stages for tie in stage.after
    }
