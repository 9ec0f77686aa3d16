"""The verbs on the rules, and a clinic's folder laid over them by every verb."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.problems import Problem

ON = ["--on", "2026-11-25"]
HIP = "femoral_lengthening.hip_covered"
CLINIC = f"""
name = "hill clinic"
[[gate]]
id = "{HIP}"
requires = {{ finding = "center_edge_angle_deg", above = 22 }}
provenance = "judgement"
sources = ["own_judgement"]
[[gate]]
id = "femoral_lengthening.therapy_ready"
off = true
because = "Therapy is arranged before referral."
"""


def run(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(main, list(arguments))


@pytest.fixture
def clinic(tmp_path: Path) -> str:
    folder = tmp_path / "hill"
    folder.mkdir()
    (folder / "gates.toml").write_text(CLINIC, encoding="utf-8")
    return str(folder)


def test_list_shows_kinds_statements_and_where_they_come_from() -> None:
    result = run("rules", "list")
    assert result.exit_code == 0
    assert "Gates (" in result.stdout
    assert HIP in result.stdout
    assert "FROM MEMORY" in result.stdout
    assert max(len(line) for line in result.stdout.splitlines() if "http" not in line) <= 80


def test_list_of_one_kind_and_as_json() -> None:
    text = run("rules", "list", "--kind", "gate").stdout
    assert HIP in text
    assert "goal_band_mm" not in text
    data = json.loads(run("rules", "list", "--kind", "gates", "--json").stdout)
    assert {rule["kind"] for rule in data["rules"]} == {"gates"}


def test_list_of_a_kind_that_is_none_names_those_there_are() -> None:
    result = run("rules", "list", "--kind", "doors")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "gates" in result.stderr


def test_list_as_markdown_is_the_catalogue() -> None:
    catalogue = (Path(__file__).parents[2] / "rules" / "CATALOGUE.md").read_text(encoding="utf-8")
    assert run("rules", "list", "--markdown").stdout == catalogue


def test_show_gives_words_sources_and_use() -> None:
    result = run("rules", "show", HIP)
    assert result.exit_code == 0
    for words in ("centre-edge angle more than 20 deg", "Suzuki S et al.", "Note: ", "Refers to"):
        assert words in result.stdout
    data = json.loads(run("rules", "show", HIP, "--json").stdout)
    assert data["entries"][0]["fields"]["requires"]["above"] == 20


def test_show_of_an_unknown_rule_names_near_ones() -> None:
    result = run("rules", "show", "femoral_lengthening.hip_coverd")
    assert (result.exit_code, result.stdout) == (2, "")
    assert HIP in result.stderr


def test_check_says_that_the_rules_hold_together(clinic) -> None:
    assert "no fault" in run("rules", "check").stdout
    result = run("rules", "check", "--protocol", clinic)
    assert result.exit_code == 0
    assert "with hill clinic" in result.stdout


def test_check_tells_what_the_proof_finds(clinic, monkeypatch) -> None:
    fault = Problem("gates.toml", "rule one", None, "a hole", "none", "close it")
    monkeypatch.setattr("pathway.protocol.prove.prove", lambda protocol: (fault,))
    for arguments in (
        ("rules", "check"),
        ("rules", "check", "--protocol", clinic),
        ("plan", "rowan-02", "--protocol", clinic),
    ):
        result = run(*arguments)
        assert (result.exit_code, result.stdout) == (2, "")
        assert fault.sentence in result.stderr


def test_overlay_prints_a_review_sheet(clinic) -> None:
    result = run("rules", "overlay", clinic)
    assert result.exit_code == 0
    for words in ("CHANGED", "SWITCHED OFF", "ours", "theirs", "reason", "Reviewed by:"):
        assert words in result.stdout
    data = json.loads(run("rules", "overlay", clinic, "--json").stdout)
    assert [item["what"] for item in data["differences"]] == ["changed", "switched off"]


@pytest.mark.parametrize(
    "verb",
    [
        ["plan", "rowan-02", *ON],
        ["why", "rowan-02", "femoral_lengthening_1", *ON],
        ["growth", "rowan-02", *ON],
        ["demo", "--plain"],
        ["rules", "list"],
        ["rules", "show", HIP],
    ],
)
def test_every_verb_takes_the_clinics_folder_and_says_local(verb, clinic) -> None:
    with_clinic, without = run(*verb, "--protocol", clinic), run(*verb)
    assert (with_clinic.exit_code, without.exit_code) == (0, 0)
    assert "local" in with_clinic.stdout.lower()
    assert "(local)" not in without.stdout
    assert "Local rules" not in without.stdout


def test_the_plan_lists_local_rules_and_what_was_switched_off(clinic) -> None:
    plan = json.loads(run("plan", "rowan-02", *ON, "--protocol", clinic, "--json").stdout)
    assert plan["protocol"]["local_rules"] == [HIP]
    assert plan["protocol"]["switched_off"] == [
        {"id": "femoral_lengthening.therapy_ready", "because": "Therapy is arranged before referral."}
    ]
    gates = {gate["id"]: gate for stage in plan["stages"] for gate in stage["gates"]}
    assert (gates[HIP]["local"], gates[HIP]["verdict"]["threshold"]) == (True, 22)
    assert "Femoral lengthening 1 (local): Not met" in " ".join(
        run("plan", "rowan-02", *ON, "--protocol", clinic).stdout.split()
    )


@pytest.mark.parametrize("verb", [["plan", "rowan-02"], ["rules", "check"], ["rules", "list"], ["demo", "--plain"]])
def test_a_broken_folder_is_refused_with_file_and_rule(verb, tmp_path) -> None:
    (tmp_path / "own.toml").write_text(CLINIC.replace("22", "220"), encoding="utf-8")
    result = run(*verb, "--protocol", str(tmp_path))
    assert (result.exit_code, result.stdout) == (2, "")
    assert "own.toml" in result.stderr
    assert HIP in result.stderr
    assert "Traceback" not in result.stderr


def test_a_folder_that_is_not_there_is_refused() -> None:
    result = run("plan", "rowan-02", "--protocol", "nowhere")
    assert result.exit_code == 2
    assert "no such folder" in result.stderr


class TestWhy:
    """What would change a stage, and why one is not in the plan."""

    def test_why_says_what_would_change_it(self) -> None:
        text = " ".join(run("why", "rowan-02", "hip_preparation", *ON).stdout.split())
        assert "What would change it" in text
        assert "centre-edge angle more than 20 deg (now 12 deg, 2.2 measurement errors from the threshold)" in text

    def test_why_says_which_reading_to_repeat(self) -> None:
        text = " ".join(run("why", "hazel-08", "hip_preparation_2", *ON).stdout.split())
        assert "centre-edge angle: 18 deg measured, threshold 20, error ±4: repeat the measurement" in text

    def test_why_as_json_holds_the_same(self) -> None:
        data = json.loads(run("why", "rowan-02", "hip_preparation", *ON, "--json").stdout)
        assert {item["effect"] for item in data["what_would_change"]} == {"drop", "block"}
        assert {"stage", "sources", "near_thresholds", "decides_most", "caution"} <= set(data)

    def test_why_of_a_stage_that_is_not_in_the_plan_says_why_not(self) -> None:
        result = run("why", "rowan-02", "knee preparation", *ON)
        assert result.exit_code == 0
        assert "not in the plan: no indication applies" in result.stdout
        assert "it would be needed if" in result.stdout

    def test_why_not_as_json(self) -> None:
        data = json.loads(run("why", "rowan-02", "knee_preparation", *ON, "--json").stdout)
        assert (data["stage"], data["kind"]) == (None, "knee_preparation")
        assert data["considered"][0]["reason"]["verdict"]["state"] == "fails"
        assert {item["effect"] for item in data["what_would_change"]} == {"add"}


def test_the_group_has_all_its_verbs_in_a_process_that_asks_for_nothing_else() -> None:
    """Verbs are read when they are asked for: one that another file adds to the group would not be there."""
    done = subprocess.run(
        [sys.executable, "-m", "pathway", "rules", "--help"], capture_output=True, text=True, check=True
    )
    named = re.findall(r"^  ([a-z]+)  ", done.stdout.split("Commands:")[1], re.MULTILINE)
    assert named == ["check", "export", "holidays", "list", "overlay", "show", "sources"]
