"""The command line: what it prints, where, and with which exit code."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.protocol.model import Protocol

ON = ["--on", "2026-11-25"]


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def test_demo_prints_the_plan_of_an_invented_child_where_there_is_no_terminal() -> None:
    result = run("demo")
    assert result.exit_code == 0
    assert "rowan-02" in result.stdout
    assert "Invented child" in result.stdout
    assert "the treating surgeon decides" in result.stdout
    assert "invented" in result.stderr


def test_plan_prints_stages_with_dates_amounts_gates_and_courses() -> None:
    result = run("plan", "rowan-02", *ON)
    assert result.exit_code == 0
    for heading in (
        "Classification",
        "Leg difference",
        "Stages",
        "Conditions not yet met",
        "Courses",
    ):
        assert heading in result.stdout
    assert "Femoral lengthening 1: 4.0 cm" in result.stdout
    assert "Not met today (hip preparation is planned to correct it)" in " ".join(result.stdout.split())


def test_plan_as_json_is_one_object_and_the_same_bytes_each_time() -> None:
    first, second = run("plan", "rowan-02", *ON, "--json"), run("plan", "rowan-02", *ON, "--json")
    assert first.stdout == second.stdout
    plan = json.loads(first.stdout)
    assert plan["schema_version"] == 1
    assert plan["child"]["id"] == "rowan-02"
    assert {"classification", "growth", "stages", "alternatives", "open_questions", "cautions"} <= set(plan)


def test_plan_reads_a_file_of_the_disk(tmp_path: Path) -> None:
    source = Path(__file__).parents[2] / "example_patients" / "oak-12.toml"
    case = tmp_path / "mine.toml"
    case.write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
    result = run("plan", str(case), *ON)
    assert result.exit_code == 0
    assert "Growth arrest of the other leg" in result.stdout
    assert case.read_text(encoding="utf-8") == source.read_text(encoding="utf-8")


def test_plain_uses_no_symbols() -> None:
    result = run("plan", "hazel-08", *ON, "--plain")
    assert result.exit_code == 0
    assert not set("●◐▶○✕◇") & set(result.stdout)


def test_lines_fit_the_terminal() -> None:
    result = CliRunner(env={"COLUMNS": "80"}).invoke(main, ["plan", "rowan-02", *ON])
    assert max(len(line) for line in result.stdout.splitlines()) <= 80


def test_why_gives_reasons_values_thresholds_and_sources() -> None:
    result = run("why", "rowan-02", "femoral_lengthening_1", *ON)
    assert result.exit_code == 0
    said = " ".join(result.stdout.split())
    assert "centre-edge angle 12 deg on 2026-11-18" in said
    assert "more than 20 deg" in said
    assert "Suzuki S et al." in said
    assert "at least 12 months after the start of hip preparation" in said


def test_why_accepts_a_kind_and_words() -> None:
    assert run("why", "rowan-02", "hip preparation", *ON).exit_code == 0


def test_why_of_an_unknown_stage_names_those_there_are() -> None:
    result = run("why", "rowan-02", "knee_replacement", *ON)
    assert result.exit_code == 2
    assert "femoral_lengthening_1" in result.stderr
    assert result.stdout == ""


def test_growth_shows_the_classical_methods_side_by_side() -> None:
    result = run("growth", "hazel-08", *ON)
    assert result.exit_code == 0
    for method in ("multiplier method", "straight-line method", "growth-remaining method", "annual-growth rule"):
        assert method in result.stdout


@pytest.mark.parametrize("more", [(), ("--plain",)])
def test_growth_in_a_pipe_and_with_plain_gives_only_the_table(more: tuple[str, ...]) -> None:
    said = run("growth", "rowan-02", *ON, *more).stdout
    assert "A film in 6 months would narrow" in said
    assert not {char for char in said if ord(char) > 0x24FF}
    assert "age        day         median     50 of 100     90 of 100" in said


def test_growth_without_any_length_says_so() -> None:
    result = run("growth", "elm-01", *ON)
    assert result.exit_code == 0
    assert "No length was measured" in result.stdout


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "schema_version"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"schema_version = 1\n[child]\nid =", "line 3"),
    ],
)
def test_bad_files_give_sentences_and_exit_2(tmp_path: Path, content: bytes, words: str) -> None:
    case = tmp_path / "bad.toml"
    case.write_bytes(content)
    result = run("plan", str(case), *ON)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.stderr
    assert result.stdout == ""


def test_all_faults_of_a_file_come_at_once(tmp_path: Path) -> None:
    case = tmp_path / "bad.toml"
    text = (Path(__file__).parents[2] / "example_patients" / "alder-06.toml").read_text(encoding="utf-8")
    text = text.replace('sex = "boy"', 'sex = "male"').replace("femur_length_mm = 254", "femur_length_mm = 25.4")
    case.write_text(text, encoding="utf-8")
    result = run("plan", str(case), *ON)
    assert result.exit_code == 2
    assert len(result.stderr.strip().splitlines()) == 2
    assert "line " in result.stderr


def test_a_missing_file_and_a_folder_are_said_in_words(tmp_path: Path) -> None:
    missing, folder = run("plan", str(tmp_path / "none.toml"), *ON), run("plan", str(tmp_path), *ON)
    assert missing.exit_code == folder.exit_code == 2
    assert "no such file" in missing.stderr
    assert "a folder" in folder.stderr


def test_an_oversized_file_is_refused(tmp_path: Path) -> None:
    case = tmp_path / "huge.toml"
    case.write_bytes(b"#" * 3_000_000)
    result = run("plan", str(case), *ON)
    assert result.exit_code == 2
    assert "is it a case file" in result.stderr


def test_rules_in_contradiction_are_named_and_exit_1(monkeypatch: pytest.MonkeyPatch, protocol: Protocol) -> None:
    # A clinic that wants hip and femur in one sitting and also half a year between them.
    sitting = next(rule for rule in protocol.intervals if rule.id == "hip.osteotomy_in_same_sitting")
    apart = sitting.model_copy(
        update={"id": "hip.half_a_year_apart", "at_least_months": 6, "at_most_months": None, "because": "Rest first."}
    )
    wrong = protocol.model_copy(update={"intervals": (*protocol.intervals, apart)})
    monkeypatch.setattr("pathway.protocol.load.load_protocol", lambda: wrong)
    result = run("plan", "rowan-02", *ON)
    assert result.exit_code == 1
    assert "cannot all be met" in result.stderr
    assert "Rest first." in result.stderr
    assert "corrected in one operation" in result.stderr
    assert "rowan-02" in result.stdout


def test_blocked_years_are_planned_around(tmp_path: Path) -> None:
    case = tmp_path / "blocked.toml"
    text = (Path(__file__).parents[2] / "example_patients" / "hazel-08.toml").read_text(encoding="utf-8")
    text += (
        '\n[[decision]]\ndate = 2026-11-04\nby = "family"\nkind = "block_dates"\n'
        'from = 2026-11-25\nto = 2038-03-01\nreason = "abroad"\n'
    )
    case.write_text(text, encoding="utf-8")
    result = run("plan", str(case), *ON, "--json")
    assert result.exit_code == 0
    for stage in json.loads(result.stdout)["stages"]:
        if stage["status"] not in ("done", "under_way") and stage["operation"] and stage["date"]:
            assert stage["date"] > "2038-03-01"


def test_help_imports_no_heavy_library() -> None:
    code = (
        "import sys; from click.testing import CliRunner; from pathway.cli.main import main; "
        "assert CliRunner().invoke(main, ['--help']).exit_code == 0; "
        "never = ('numpy', 'networkx', 'textual', 'pydantic', 'pendulum', 'icalendar', 'fhir', 'babel'); "
        "print([m for m in never if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("femur_length_mm = 287", "femur_length_mm = 70", "a newborn's femur"),
        ("  [visit.left]\n  femur_length_mm = 287\n  tibia_length_mm = 226\n", "", "found"),
    ],
)
def test_lengths_that_cannot_be_are_refused_by_name(tmp_path: Path, old: str, new: str, words: str) -> None:
    case = tmp_path / "mine.toml"
    text = (Path(__file__).parents[2] / "example_patients" / "alder-06.toml").read_text(encoding="utf-8")
    assert old in text
    if not new:
        text = text[: text.index("[[visit]]")] + (
            '[[visit]]\ndate = 2020-06-15\nmethod = "block_test"\n  [visit.right]\n  leg_length_discrepancy_mm = 110\n'
        )
    case.write_text(text.replace(old, new), encoding="utf-8")
    result = run("plan", str(case), *ON)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "visit of" in result.stderr
    assert "Traceback" not in result.stderr
