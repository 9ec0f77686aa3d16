"""The verb that prints worksheets: exit codes, sentences, JSON, and an overlay that changes a default."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from tests.examples import FOLDER

ON = ("--on", "2026-11-25")


def run(*arguments: str) -> Result:
    return CliRunner(env={"COLUMNS": "80"}).invoke(main, ["worksheet", *arguments])


@pytest.mark.parametrize(
    ("kind", "settings"),
    [
        ("lengthening", ()),
        ("growth-arrest", ()),
        ("guided-growth", ("--set", "width_mm=40", "--set", "angle_deg=8")),
        ("lift", ()),
    ],
)
def test_each_kind_is_printed_with_caution_inputs_and_sources(kind: str, settings: tuple[str, ...]) -> None:
    done = run(kind, "rowan-02", *ON, *settings)
    assert done.exit_code == 0, done.output
    text = " ".join(done.stdout.split())
    assert "the treating surgeon decides; follow local protocol" in text
    assert "Check every number against the radiograph" in text
    assert "Inputs (change one with --set name=value)" in text
    assert max(len(line) for line in done.stdout.splitlines()) <= 80


def test_json_is_the_sheet() -> None:
    data = json.loads(run("lengthening", "rowan-02", *ON, "--stage", "femoral_lengthening_2", "--json").stdout)
    assert (data["kind"], data["stage"], data["child"]) == ("lengthening", "femoral_lengthening_2", "rowan-02")
    inputs = {item["name"]: item for item in data["inputs"]}
    assert inputs["amount_mm"]["value"] == 50
    assert inputs["operation_on"]["value"].startswith("2032-09-")
    calendar = next(s for s in data["sections"] if s["title"] == "Calendar of turns")["tables"][0]["rows"]
    assert calendar[-1][4] == 50
    assert sum(row[3] for row in calendar) == 50


def test_an_input_set_by_hand_is_said_so() -> None:
    data = json.loads(run("lengthening", "rowan-02", *ON, "--set", "rate_mm_per_day=0.5", "--json").stdout)
    rate = next(item for item in data["inputs"] if item["name"] == "rate_mm_per_day")
    assert (rate["value"], rate["origin"]) == (0.5, "by_hand")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("lift", "rowan-02", "--set", "difrence_mm=3"), "did you mean difference_mm"),
        (("lift", "rowan-02", "--set", "difference_mm=999"), "expected a number from 0 to 400 mm"),
        (("lift", "rowan-02", "--set", "difference_mm"), "expected name=value"),
        (("lengthening", "rowan-02", "--stage", "femoral_lenghtening_2"), "did you mean femoral_lengthening_2"),
        (("guided-growth", "birch-04"), "width_mm: found no value"),
        (("guided-growth", "rowan-02"), "no plate; take the film again in 12 months"),
        (("lengthening", "nobody"), "found no such file"),
        (("lenghtening", "rowan-02"), "lengthening"),
    ],
)
def test_bad_input_is_a_sentence_and_exit_2(arguments: tuple[str, ...], said: str) -> None:
    done = run(*arguments, *ON)
    assert done.exit_code == 2
    assert said in done.stderr
    assert not done.stdout
    assert "Traceback" not in done.stderr


def test_a_clinic_s_default_is_used(tmp_path: Path) -> None:
    rules = '[[value]]\nid = "lengthening_latency_days"\nvalue = 10\nprovenance = "practice"\n'
    rules += 'sources = ["common_practice"]\n'
    (tmp_path / "ours.toml").write_text(rules, encoding="utf-8")
    done = run("lengthening", "rowan-02", *ON, "--protocol", str(tmp_path), "--json")
    inputs = {item["name"]: item for item in json.loads(done.stdout)["inputs"]}
    assert inputs["latency_days"]["value"] == 10
    assert inputs["latency_days"]["local"] is True
    text = run("lengthening", "rowan-02", *ON, "--protocol", str(tmp_path)).stdout
    assert "default (local); common_practice" in text


def test_a_child_affected_on_both_sides_is_cautioned(tmp_path: Path) -> None:
    text = (FOLDER / "rowan-02.toml").read_text(encoding="utf-8").replace('"left"', '"both"', 1)
    (tmp_path / "both.toml").write_text(text, encoding="utf-8")
    done = run("lift", str(tmp_path / "both.toml"), *ON)
    assert done.exit_code == 0
    assert "Both legs are affected" in " ".join(done.stdout.split())


@pytest.mark.parametrize("child", ["alder-06", "birch-04", "cedar-05", "elm-01", "hazel-08", "oak-12", "willow-03"])
@pytest.mark.parametrize("kind", ["lengthening", "growth-arrest", "lift"])
def test_every_example_child_gets_a_sheet_or_a_sentence(child: str, kind: str) -> None:
    done = run(kind, child, *ON)
    assert done.exit_code in (0, 2), done.output
    assert bool(done.stdout) == (done.exit_code == 0)
    assert not done.exception or isinstance(done.exception, SystemExit)
