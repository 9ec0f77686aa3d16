"""What every clinic has around an operation: the visit before each frame, physiotherapy, a second team, a look at the
whole child; and the plan goes on from what nobody planned.

Outside: American Academy of Pediatrics 2016, Pediatrics 138(2):e20161484 (assent); Stanitski 1995, J Pediatr Orthop 15
(2 of 30 stopped for psychological reasons, 4 of 36 femora healed early).
"""

from __future__ import annotations

import datetime
from functools import cache

import pytest

from pathway.casefile import read_case
from pathway.days import add_months
from pathway.plan.make import make_plan
from pathway.plan.model import Plan, PlanStage
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Accompanying, Stage
from pathway.protocol.question import Question
from pathway.protocol.roles import may_be_declined
from pathway.record import Decision, Record
from tests.examples import FOLDER, NAMES, ON, example, example_plan

PROTOCOL = load_protocol()
COMING = ("ready", "blocked", "later")


def lengthenings(plan: Plan) -> list[PlanStage]:
    kinds = {stage.id for stage in PROTOCOL.stages if stage.role == "lengthening"}
    return [stage for stage in plan.stages if stage.kind in kinds and stage.date and stage.status in COMING]


@pytest.mark.parametrize("name", NAMES)
def test_each_lengthening_to_come_has_its_preparation_two_to_three_months_before(name: str) -> None:
    plan = example_plan(name)
    if plan.child.affected_side == "both":
        return
    for stage in lengthenings(plan):
        assert stage.date is not None
        visit = plan.stage(f"preparation_visit_with_{stage.id}")
        assert visit.date == max(add_months(stage.date, -3), plan.on)
        assert not visit.operation
        assert "school" in visit.what and "assent" in visit.what and "pain plan" in visit.what


def test_exercises_last_from_the_operation_until_half_a_year_after_the_frame() -> None:
    plan = example_plan("rowan-02")
    first = plan.stage("femoral_lengthening_1")
    therapy = plan.stage("lengthening_therapy_with_femoral_lengthening_1")
    assert therapy.date == first.date
    assert first.end_date is not None
    assert therapy.end_date == add_months(first.end_date, 6)


def test_a_second_team_is_heard_before_the_first_lengthening_alone() -> None:
    plan = example_plan("rowan-02")
    teams = [stage.id for stage in plan.stages if stage.kind == "second_team"]
    assert teams == ["second_team_with_femoral_lengthening_1"]


@pytest.mark.parametrize(("name", "asked"), [("ash-01", True), ("elm-01", True), ("rowan-02", False)])
def test_the_whole_child_is_looked_at_in_the_first_two_years(name: str, asked: bool) -> None:
    assert ("whole_child_look" in {stage.kind for stage in example_plan(name).stages}) == asked


def test_handing_over_to_adult_care_has_its_day_at_sixteen() -> None:
    visit = example_plan("rowan-02").stage("transition_to_adult_care")
    assert visit.age_years is not None
    assert 16 <= visit.age_years < 16.2


@cache
def begun(bone: str) -> tuple[Record, Plan]:
    """Return a child whose first lengthening is under way, with what a film shows of the new bone."""
    text = (FOLDER / "rowan-02.toml").read_text(encoding="utf-8")
    text = text.replace("date_of_birth = 2024-03-14", "date_of_birth = 2021-03-14")
    text += f"""
[[operation]]
date = 2026-09-01
kind = "femoral_lengthening"
side = "left"
achieved_mm = 20

[[visit]]
date = 2026-11-20

[visit.left]
regenerate = {{ value = "{bone}", method = "standing_full_length_film" }}
"""
    record = read_case(text, "begun", PROTOCOL, ON)
    assert isinstance(record, Record), record
    return record, make_plan(Question(record, PROTOCOL, ON), compared=False)


@pytest.mark.parametrize(
    ("bone", "kind", "status"),
    [
        ("healed_early", "second_cut", "ready"),
        ("fractured", "regenerate_fracture_repair", "ready"),
        ("slow", "regenerate_graft", "optional"),
        ("sinking", "callus_support", "optional"),
    ],
)
def test_what_the_new_bone_does_brings_its_own_stage_and_the_plan_goes_on(bone: str, kind: str, status: str) -> None:
    record, plan = begun(bone)
    found = [stage for stage in plan.stages if stage.kind == kind]
    assert [stage.status for stage in found] == [status]
    assert check_plan(plan, record, PROTOCOL) == ()
    assert lengthenings(plan), "the course goes on"


def test_nothing_of_it_is_planned_where_the_new_bone_is_sound() -> None:
    _, plan = begun("maturing")
    kinds = {"second_cut", "regenerate_fracture_repair", "regenerate_graft", "callus_support"}
    assert not kinds & {stage.kind for stage in plan.stages}


def test_the_next_lengthening_waits_a_year_for_a_bone_that_broke() -> None:
    record = begun("fractured")[0]
    done = record.operations[-1].model_copy(
        update={"kind": "regenerate_fracture_repair", "date": datetime.date(2026, 11, 22), "achieved_mm": None}
    )
    after = record.model_copy(update={"operations": (*record.operations, done)})
    plan = make_plan(Question(after, PROTOCOL, ON), compared=False)
    following = lengthenings(plan)[0]
    assert following.date is not None
    assert following.date >= add_months(datetime.date(2027, 2, 22), 12)
    assert check_plan(plan, after, PROTOCOL) == ()


@pytest.mark.parametrize(
    "change",
    [
        {"date": datetime.date(2027, 1, 4), "end_date": datetime.date(2027, 1, 4)},
        {"id": "preparation_visit_with_nothing"},
    ],
)
def test_the_judge_sees_a_visit_out_of_its_time_or_of_no_stage(change: dict[str, object]) -> None:
    plan, record = example_plan("rowan-02"), example("rowan-02")
    visit = "preparation_visit_with_femoral_lengthening_1"
    stages = tuple(one.model_copy(update=change) if one.id == visit else one for one in plan.stages)
    rules = {breach.rule for breach in check_plan(plan.model_copy(update={"stages": stages}), record, PROTOCOL)}
    assert rules & {"preparation_visit.before_lengthening", "accompanying"}


@pytest.mark.parametrize("rule", PROTOCOL.accompanying, ids=lambda rule: rule.id)
def test_what_goes_with_a_stage_can_be_declined(rule: Accompanying) -> None:
    record = example("rowan-02")
    no = Decision(date=ON, by="family", kind="decline", stage=rule.stage, reason="The family does not want it.")
    asked = Question(record.model_copy(update={"decisions": (*record.decisions, no)}), PROTOCOL, ON)
    assert rule.stage not in {stage.kind for stage in make_plan(asked, compared=False).stages if stage.date}


@pytest.mark.parametrize(
    "kind", [kind for kind in PROTOCOL.stages if not may_be_declined(kind, PROTOCOL)], ids=lambda kind: kind.id
)
def test_what_ends_a_lengthening_cannot_be_declined_by_itself(kind: Stage) -> None:
    text = (FOLDER / "rowan-02.toml").read_text(encoding="utf-8") + (
        f'\n[[decision]]\ndate = {ON}\nby = "family"\nkind = "decline"\nstage = "{kind.id}"\nreason = "No."\n'
    )
    read = read_case(text, "case.toml", PROTOCOL, ON)
    assert isinstance(read, tuple)
    assert "decline the operation that it belongs to" in read[0].sentence


@pytest.mark.parametrize("name", ["rowan-02", "hawthorn-12"])
@pytest.mark.parametrize(
    "kind", [kind for kind in PROTOCOL.stages if may_be_declined(kind, PROTOCOL)], ids=lambda kind: kind.id
)
def test_any_other_stage_can_be_declined_and_there_is_a_plan(kind: Stage, name: str) -> None:
    record = example(name)
    no = Decision(date=ON, by="family", kind="decline", stage=kind.id, reason="No.")
    asked = Question(record.model_copy(update={"decisions": (*record.decisions, no)}), PROTOCOL, ON)
    assert kind.id not in {
        stage.kind for stage in make_plan(asked, compared=False).stages if stage.status in COMING and stage.date
    }
