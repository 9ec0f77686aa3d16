"""`followup` and `compare` as a person types them: what changes is shown before anything is saved."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main

ON = ("--on", "2027-05-20")
EXAMPLES = Path(__file__).parents[2] / "example_patients"


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


@pytest.fixture
def case(tmp_path: Path) -> Path:
    copy = tmp_path / "rowan.toml"
    copy.write_text((EXAMPLES / "rowan-02.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return copy


def test_what_changes_is_shown_and_nothing_is_saved_unless_wished(case: Path) -> None:
    before = case.read_bytes()
    result = run("followup", str(case), *ON, "--set", "left.center_edge_angle_deg=26")
    assert result.exit_code == 0, result.output
    assert "Because of centre-edge angle left 26 deg on 2027-05-20" in " ".join(result.stdout.split())
    assert "surgeon decides" in result.stdout
    assert "Nothing was saved: there is no terminal to ask in; add --save to save it." in result.stderr
    assert case.read_bytes() == before


def test_saving_adds_to_the_file_and_alters_nothing_in_it(case: Path) -> None:
    before = case.read_text(encoding="utf-8")
    result = run("followup", str(case), *ON, "--set", "left.center_edge_angle_deg=26", "--save")
    assert result.exit_code == 0, result.output
    assert case.read_text(encoding="utf-8").startswith(before)
    again = run("followup", str(case), *ON, "--set", "left.center_edge_angle_deg=26")
    assert "Nothing changes in the plan." in again.stdout


def test_a_skeletal_age_is_entered_with_its_method_or_as_a_stage_and_asked_back_outside_its_ages(case: Path) -> None:
    read = ("--set", "skeletal_age_years=2.5", "--set", "skeletal_age_method=hand_atlas")
    result = run("followup", str(case), *ON, *read, "--save")
    assert result.exit_code == 0, result.output
    assert 'skeletal_age_method = "hand_atlas"' in case.read_text(encoding="utf-8")
    staged = ("--set", "skeletal_stage=half-moon", "--set", "skeletal_age_method=elbow_stages")
    asked = run("followup", str(case), "--on", "2027-06-20", *staged)
    assert asked.exit_code == 0, asked.output
    # Dimeglio et al. 2005: a half-moon is 13.5 years in a boy and 11.5 in a girl, far from a child of three.
    assert "Is the skeletal age on 2027-06-20 really 1" in " ".join(asked.stderr.split())


def test_an_operation_and_decisions_are_entered_with_what_they_need(case: Path) -> None:
    words = ("--done", "hip_preparation", "--decline", "contralateral_growth_arrest", "--reason", "no second leg")
    result = run("followup", str(case), *ON, *words, "--json")
    assert result.exit_code == 0, result.output
    data = json.loads(result.stdout)
    assert "hip preparation on 2027-05-20" in data["entered"]
    assert {"kind", "about", "before", "after", "sentence", "because"} <= data["changes"][0].keys()


def test_a_second_visit_of_a_day_adds_to_the_first_and_the_file_before_stays_beside_it(case: Path) -> None:
    run("followup", str(case), *ON, "--set", "left.center_edge_angle_deg=26", "--save")
    before = case.read_text(encoding="utf-8")
    result = run("followup", str(case), *ON, "--set", "left.acetabular_index_deg=18", "--save")
    assert result.exit_code == 0, result.output
    assert case.with_name("rowan.before-1.txt").read_text(encoding="utf-8") == before
    assert "rowan.before-1.txt" in result.stderr
    visits = tomllib.loads(case.read_text(encoding="utf-8"))["visit"]
    (day,) = (visit for visit in visits if str(visit["date"]) == "2027-05-20")
    assert day["left"] == {"center_edge_angle_deg": 26, "acetabular_index_deg": 18}


def test_an_operation_entered_twice_is_completed_and_not_counted_twice(case: Path) -> None:
    done = ("--done", "hip_preparation", "--complication")
    for complication in ("deep_infection", "hip_subluxation"):
        result = run("followup", str(case), *ON, *done, complication, "--save")
        assert result.exit_code == 0, result.output
    (operation,) = tomllib.loads(case.read_text(encoding="utf-8"))["operation"]
    assert operation["complications"] == ["deep_infection", "hip_subluxation"]


def test_a_fragment_is_added_as_it_was_written_and_its_faults_have_its_lines(case: Path, tmp_path: Path) -> None:
    fragment = tmp_path / "visit.toml"
    words = (
        '# measured twice\n[[visit]]\ndate = 2027-05-20\nmethod = "ct_scout"\n[visit.left]\nfemur_length_mm = 125.0\n'
    )
    fragment.write_text(words, encoding="utf-8")
    before = case.read_text(encoding="utf-8")
    result = run("followup", str(case), *ON, "--from", str(fragment), "--save")
    assert result.exit_code == 0, result.output
    assert case.read_text(encoding="utf-8") == f"{before.rstrip()}\n\n{words}"
    fragment.write_text(words.replace("125.0", "12.5"), encoding="utf-8")
    result = run("followup", str(case), *ON, "--from", str(fragment))
    assert f"{fragment}, line 6, visit[1].left.femur_length_mm: found 12.5" in result.stderr


def test_two_files_of_a_child_are_compared_with_the_causes(case: Path, tmp_path: Path) -> None:
    other = tmp_path / "later.toml"
    other.write_bytes(case.read_bytes())
    run("followup", str(other), *ON, "--set", "left.center_edge_angle_deg=26", "--save")
    result = run("compare", str(case), str(other), *ON)
    assert result.exit_code == 0
    assert "Because of centre-edge angle left 26 deg on 2027-05-20" in " ".join(result.stdout.split())


def test_one_file_on_two_days_changes_by_time_alone(case: Path) -> None:
    result = run("compare", str(case), str(case), "--before", "2026-11-25", "--on", "2028-11-25")
    assert result.exit_code == 0
    assert "Because of the time that has passed" in " ".join(result.stdout.split())


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--set", "left.femur_length_mm=26.5"), "did you mean 265: mm, not cm"),
        (("--set", "left.femur_length_mm=120", "--set", "left.femur_length_mm=121"), "expected each finding once"),
        (("--set", "femur=12"), 'found "femur=12", expected side.finding=value'),
        (("--set", "left.femur_length=120"), "expected a finding of the protocol"),
        (("--set", "left.femur_length_mm=-5"), "expected"),
        (("--done", "hip_operation"), "expected"),
        (("--decline", "contralateral_growth_arrest"), "expected the reason in words"),
        (("--set", "left.femur_length_mm=120", "--method", "guess"), "expected"),
        (("--from", "nowhere.toml"), "found no such file"),
        ((), "found nothing to enter"),
    ],
)
def test_what_cannot_be_entered_is_told_in_one_sentence(case: Path, words: tuple[str, ...], sentence: str) -> None:
    before = case.read_bytes()
    result = run("followup", str(case), *ON, *words, "--save")
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert "Traceback" not in result.output
    assert case.read_bytes() == before


def test_an_example_is_not_written_to() -> None:
    result = run("followup", "rowan-02", *ON, "--set", "left.center_edge_angle_deg=26", "--save")
    assert result.exit_code == 2
    assert "copy it before you save to it" in result.stderr


def test_two_children_are_not_compared(case: Path) -> None:
    result = run("compare", str(case), "hazel-08", *ON)
    assert result.exit_code == 2
    assert "expected one child" in result.stderr


def test_one_case_file_alone_is_compared_with_itself_on_an_earlier_day() -> None:
    alone = run("compare", "rowan-02", "--before", "2026-01-10", "--on", "2026-11-25")
    twice = run("compare", "rowan-02", "rowan-02", "--before", "2026-01-10", "--on", "2026-11-25")
    assert alone.exit_code == 0
    assert alone.stdout == twice.stdout
    assert "from 2026-01-10 to 2026-11-25" in alone.stdout
    neither = run("compare", "rowan-02")
    assert neither.exit_code == 2
    assert "found one plan, expected two" in neither.stderr
