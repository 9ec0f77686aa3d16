"""A plan with the worksheets of its operations: every operation to come has its numbers, and they are the plan's."""

from __future__ import annotations

import json

import pytest
from click.testing import CliRunner

from pathway.cli.main import main
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.views.words.worksheet import not_yet_text
from pathway.worksheets.kinds import kind_for
from pathway.worksheets.of_plan import sheets_of
from tests.examples import NAMES, ON, example, example_plan


@pytest.mark.parametrize("name", NAMES)
def test_every_operation_to_come_with_a_kind_has_its_sheet(name: str) -> None:
    plan, protocol = example_plan(name), load_protocol()
    sheets = sheets_of(Question(example(name), protocol, ON), plan)
    dated = [stage for stage in plan.stages if stage.date and stage.status != "done"]
    wanted = [stage.id for stage in dated if kind_for(stage, protocol)]
    assert sorted([*(str(sheet.stage) for sheet in sheets.made), *(item.stage for item in sheets.not_yet)]) == sorted(
        wanted
    )
    assert all(any("surgeon decides" in caution for caution in sheet.cautions) for sheet in sheets.made)


def without(record: Record, *findings: str) -> Record:
    """Return a record as if nobody had measured some findings."""
    visits = (
        visit.model_copy(update={"measurements": tuple(m for m in visit.measurements if m.finding not in findings)})
        for visit in record.visits
    )
    return record.model_copy(update={"visits": tuple(visits)})


def test_a_sheet_whose_angle_nobody_measured_is_told_with_what_it_needs_and_the_others_are_made() -> None:
    bare = without(example("ash-01"), "neck_shaft_angle_deg", "apparent_neck_shaft_angle_deg")
    made = sheets_of(Question(bare, load_protocol(), ON), example_plan("ash-01"))
    assert made.made
    (waits,) = made.not_yet
    assert (waits.stage, waits.problems[0].key) == ("proximal_femoral_osteotomy_1", "neck_shaft_angle_deg")
    said = " ".join(not_yet_text(waits, 80).split())
    assert "No worksheet yet for Osteotomy of the proximal femur" in said
    assert "--set neck_shaft_angle_deg" in said


@pytest.mark.parametrize("name", NAMES)
def test_a_lengthening_gains_in_its_sheet_what_it_gains_in_the_plan(name: str) -> None:
    plan = example_plan(name)
    for sheet in sheets_of(Question(example(name), load_protocol(), ON), plan).made:
        if sheet.kind == "lengthening":
            amount = next(item.value for item in sheet.inputs if item.name == "amount_mm")
            assert amount == plan.stage(str(sheet.stage)).amount_mm


def test_the_command_prints_them_after_the_plan() -> None:
    result = CliRunner().invoke(main, ["plan", "rowan-02", "--on", "2026-11-25", "--worksheets"])
    assert result.exit_code == 0
    assert result.stdout.startswith("Plan for rowan-02")
    assert "Lengthening of the femur, 40 mm (femoral_lengthening_1)" in " ".join(result.stdout.split())


def test_a_sheet_without_version_is_printed_with_what_must_be_measured() -> None:
    result = CliRunner().invoke(main, ["plan", "ash-01", "--on", "2026-11-25", "--worksheets"])
    assert result.exit_code == 0
    said = " ".join(result.stdout.split())
    assert "Valgus osteotomy of the upper femur" in said
    assert "Version was not measured" in said


def test_the_json_holds_them_beside_the_plan() -> None:
    result = CliRunner().invoke(main, ["plan", "rowan-02", "--on", "2026-11-25", "--worksheets", "--json"])
    data = json.loads(result.stdout)
    assert data["child"]["id"] == "rowan-02"
    assert {sheet["kind"] for sheet in data["worksheets"]} >= {"osteotomy", "lengthening", "growth-arrest"}
