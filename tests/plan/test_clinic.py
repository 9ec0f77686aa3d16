"""Child → plan → what a clinic would do, for both roads: `clinic.toml` has the children and the sources."""

from __future__ import annotations

import datetime
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from pathway.casefile.read_and_check import read_and_check
from pathway.days import age_years, day_at_age
from pathway.growth import fit_growth
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.plan.verify import check_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Record
from tests.offenders import for_each
from tests.sample import BORN, HEALTHY, LEGS, at_age, child, decision, visit

ROWS: list[dict[str, Any]] = tomllib.loads((Path(__file__).parent / "clinic.toml").read_text(encoding="utf-8"))["row"]
PROTOCOL = load_protocol()


def record_of(row: dict[str, Any]) -> Record:
    on = at_age(row["age_years"])
    lengths = dict(zip(LEGS, map(float, row["legs"]), strict=True))
    known = {**HEALTHY, **lengths, **row.get("findings", {})}
    for name in row.get("without", ()):
        del known[name]
    visits = [visit(on, known)]
    if row.get("films") == 2:
        visits.insert(0, visit(on - datetime.timedelta(days=60), lengths))
    wishes = (decision("prefer", prefer=row["prefer"], date=on),) if "prefer" in row else ()
    diagnosis = row.get("diagnosis", "congenital_femoral_deficiency")
    return child(*visits, diagnosis=diagnosis, decisions=wishes)


@cache
def plan_of(id: str) -> Plan:
    row = next(row for row in ROWS if row["id"] == id)
    return make_plan(Question(record_of(row), PROTOCOL, at_age(row["age_years"])), compared=False)


def rows_with(key: str) -> list[dict[str, Any]]:
    return [row for row in ROWS if key in row]


def age_of(day: datetime.date) -> float:
    return age_years(BORN, day)


def words_of(plan: Plan) -> str:
    said = [*plan.notices, *(caution.text for caution in plan.cautions)]
    return " ".join([*said, *(reason.text for reason in (plan.roads.because if plan.roads else ()))])


@for_each(ROWS)
def test_a_row_names_its_source_and_what_a_clinic_would_do(row: dict[str, Any]) -> None:
    assert len(row["source"]) > 20
    assert len(row["clinic"].split()) > 5


@for_each(ROWS)
def test_the_judge_finds_nothing_wrong_and_nothing_of_the_prosthetic_road_has_a_date(row: dict[str, Any]) -> None:
    plan = plan_of(row["id"])
    assert check_plan(plan, record_of(row), PROTOCOL) == ()
    assert not [stage.id for stage in plan.stages if stage.road == "prosthetic" and stage.date]


@for_each(rows_with("road"))
def test_the_roads_stand_as_a_clinic_would_have_them(row: dict[str, Any]) -> None:
    roads = plan_of(row["id"]).roads
    assert roads is not None
    assert roads.stands == row["road"]
    assert bool(roads.chosen) == ("prefer" in row)


@for_each(rows_with("dated"))
def test_what_a_clinic_would_plan_has_a_date(row: dict[str, Any]) -> None:
    dated = {stage.id for stage in plan_of(row["id"]).stages if stage.date is not None}
    assert set(row["dated"]) <= dated


@for_each(rows_with("ages"))
def test_it_comes_at_the_ages_of_print(row: dict[str, Any]) -> None:
    for id, (low, high) in row["ages"].items():
        age = plan_of(row["id"]).stage(id).age_years
        assert age is not None
        assert low - 0.01 <= age <= high, f"{id} at {age}"


@for_each(rows_with("latest"))
def test_the_latest_day_that_is_told_is_the_clinical_one(row: dict[str, Any]) -> None:
    for id, years in row["latest"].items():
        window = plan_of(row["id"]).stage(id).window
        assert window is not None
        assert window.latest is not None
        assert age_of(window.latest) <= years + 0.01


@for_each(rows_with("undated"))
def test_what_only_the_family_decides_is_shown_without_a_date(row: dict[str, Any]) -> None:
    undated = {stage.id for stage in plan_of(row["id"]).stages if stage.date is None}
    assert set(row["undated"]) <= undated


@for_each(rows_with("windows"))
def test_the_prosthetic_road_has_the_windows_of_print(row: dict[str, Any]) -> None:
    for id, (low, high) in row["windows"].items():
        window = plan_of(row["id"]).stage(id).window
        assert window is not None
        assert window.latest is not None
        assert low <= age_of(window.earliest) <= age_of(window.latest) <= high + 0.01, f"{id}: {window}"


@for_each(rows_with("ordered"))
def test_its_stages_stand_in_their_order(row: dict[str, Any]) -> None:
    roads = plan_of(row["id"]).roads
    assert roads is not None
    assert [id for id in roads.prosthetic if id in row["ordered"]] == row["ordered"]


@for_each(rows_with("shared"))
def test_what_both_roads_share_is_told(row: dict[str, Any]) -> None:
    roads = plan_of(row["id"]).roads
    assert roads is not None
    assert set(row["shared"]) <= set(roads.shared)


@for_each(rows_with("absent"))
def test_a_stage_that_cannot_exist_for_the_child_is_not_listed(row: dict[str, Any]) -> None:
    assert not set(row["absent"]) & {stage.kind for stage in plan_of(row["id"]).stages}


@for_each(rows_with("absent_date"))
def test_the_road_that_comes_second_has_no_date(row: dict[str, Any]) -> None:
    dated = {stage.id for stage in plan_of(row["id"]).stages if stage.date is not None}
    assert not set(row["absent_date"]) & dated


@for_each(rows_with("blocked"))
def test_what_failed_in_print_stands_with_what_speaks_against_it(row: dict[str, Any]) -> None:
    for id in row["blocked"]:
        stage = plan_of(row["id"]).stage(id)
        assert stage.status == "blocked"
        assert any(reason.against for reason in stage.because)


@for_each(rows_with("likely"))
def test_what_most_children_come_to_is_called_likely(row: dict[str, Any]) -> None:
    assert all(plan_of(row["id"]).stage(id).likely for id in row["likely"])


@for_each(rows_with("courses"))
def test_the_lengthening_road_is_worked_out_beside_it(row: dict[str, Any]) -> None:
    ids = [course.id for course in plan_of(row["id"]).alternatives]
    assert all(any(bone in id for id in ids) for bone in row["courses"])


@for_each(rows_with("no_operation_dated"))
def test_nothing_is_operated_on_before_it_is_known(row: dict[str, Any]) -> None:
    assert [stage.id for stage in plan_of(row["id"]).stages if stage.operation and stage.date] == []


@for_each(rows_with("asks"))
def test_what_is_missing_is_asked_for(row: dict[str, Any]) -> None:
    assert set(row["asks"]) <= {question.finding for question in plan_of(row["id"]).open_questions}


@for_each(rows_with("says"))
def test_the_counts_and_the_years_are_told(row: dict[str, Any]) -> None:
    assert all(words in words_of(plan_of(row["id"])) for words in row["says"])


def test_the_growth_that_a_tibia_loses_after_a_lengthening_is_counted_in_fibular_deficiency() -> None:
    """Seven children: growth at 26 to 54 % of normal afterwards, or stopped (rules: growth_total_fibula_7)."""

    def lost(diagnosis: str) -> float:
        row = {**next(row for row in ROWS if row["id"] == "three_rays_at_18_months"), "diagnosis": diagnosis}
        posterior = fit_growth(Question(record_of(row), PROTOCOL, at_age(row["age_years"])))
        assert posterior is not None
        return float(posterior.bones["tibia"].loss.mean())

    assert lost("fibular_deficiency") > 0.3
    assert lost("congenital_femoral_deficiency") < 0.1


def test_a_diagnosis_that_the_rules_do_not_hold_is_refused_by_its_name_with_those_held(protocol: Any) -> None:
    text = (
        'schema_version = 1\n[child]\nid = "x"\ndate_of_birth = 2022-03-14\nsex = "boy"\naffected_side = "left"\n'
        'diagnosis = "radial_deficiency"\n'
    )
    found = read_and_check(text, "x.toml", protocol, day_at_age(BORN, 5.0))
    assert isinstance(found, tuple)
    said = " ".join(problem.sentence for problem in found)
    assert "radial_deficiency" in said
    assert all(diagnosis.id in said for diagnosis in protocol.diagnoses)
