"""`registry import --fhir`: what is printed, what is kept, and the exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pathway.casefile import case_text
from pathway.cli.main import main
from pathway.record import Record
from pathway.registry.store import open_registry
from tests.examples import example
from tests.exports.fhir.test_read import observation, of

ON = ["--on", "2026-11-25"]


def run(*arguments: str | Path) -> Result:
    result = CliRunner(env={"COLUMNS": "80", "LOGNAME": "ward-3"}).invoke(main, [str(part) for part in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("LIMB_PATHWAY_REGISTRY", str(tmp_path / "registry.db"))
    (tmp_path / "bare.toml").write_text(case_text(Record(child=example("rowan-02").child)), encoding="utf-8")
    assert run("registry", "import", tmp_path / "bare.toml", *ON).exit_code == 0
    return tmp_path


def saved(place: Path, made: object) -> Path:
    file = place / "bundle.json"
    file.write_text(made if isinstance(made, str) else json.dumps(made), encoding="utf-8")
    return file


def kept(place: Path) -> Record:
    with open_registry(str(place / "registry.db")) as store:
        return store.record("rowan-02")


def test_case_to_bundle_to_registry(place: Path) -> None:
    pytest.importorskip("fhir.resources", reason="the extra fhir is not installed here")
    bundle = place / "bundle.json"
    whole = place / "whole.toml"
    whole.write_text(case_text(example("rowan-02")), encoding="utf-8")
    assert run("fhir", whole, "-o", bundle, *ON).exit_code == 0
    result = run("registry", "import", "--fhir", bundle, "--by", "first surgeon", *ON)
    assert result.exit_code == 0, result.stderr
    assert "lengths imported; entry" in result.stdout
    assert "of findings other than leg lengths" in result.stderr
    wanted = {
        (visit.date, item.finding, item.side, item.value)
        for visit in example("rowan-02").visits
        for item in visit.measurements
        if item.finding in ("femur_length_mm", "tibia_length_mm", "leg_length_discrepancy_mm")
    }
    assert {(v.date, m.finding, m.side, m.value) for v in kept(place).visits for m in v.measurements} == wanted
    again = run("registry", "import", "--fhir", bundle, *ON)
    assert "rowan-02: nothing new; " in again.stdout
    with open_registry(str(place / "registry.db")) as store:
        assert {entry.who for entry in store.entries("rowan-02")} == {"ward-3", "first surgeon"}


def test_another_programs_bundle_needs_the_name_of_the_child_and_may_need_the_method(place: Path) -> None:
    file = saved(place, of(observation(method=None)))
    assert "--child" in run("registry", "import", "--fhir", file, "--method", "tape", *ON).stderr
    result = run("registry", "import", "--fhir", file, "--child", "rowan-02", "--method", "tape", *ON)
    assert result.stdout == "rowan-02: 1 length imported; entry 2.\n"
    assert kept(place).visits[0].measurements[0].method == "tape"


def test_a_fault_is_told_and_nothing_is_taken_in_unless_the_rest_is_wanted(place: Path) -> None:
    inches = {"value": 4.7, "unit": "in", "code": "[in_i]"}
    file = saved(place, of(observation(), observation(effectiveDateTime="2026-11-19", valueQuantity=inches)))
    result = run("registry", "import", "--fhir", file, "--child", "rowan-02", *ON)
    assert result.exit_code == 2
    assert "found the unit 'in', expected mm, cm or m" in result.stderr
    assert "1 fault, nothing was imported; --rest imports the others" in result.stderr
    assert kept(place).visits == ()
    result = run("registry", "import", "--fhir", file, "--child", "rowan-02", "--rest", *ON)
    assert (result.exit_code, result.stdout) == (0, "rowan-02: 1 length imported; entry 2.\n")
    assert "found the unit 'in'" in result.stderr


@pytest.mark.parametrize(
    ("made", "more", "sentence"),
    [
        ("{", [], "found no JSON (line 1)"),
        ("[" * 100_000, [], "nested too deep"),
        ("[]", [], "expected a Bundle of FHIR R4"),
        (of(observation()), ["--child", "oak-12"], "found no child oak-12"),
        (of(observation()), ["--child", "Erika M."], "expected small letters, digits and hyphens"),
        (of(observation()), ["--child", "rowan-02", "--method", "guess"], "--method: found 'guess', expected one of"),
        (of(observation()), ["rowan-02"], "found case files and --fhir"),
    ],
)
def test_what_cannot_be_is_said(made: object, more: list[str], sentence: str, place: Path) -> None:
    result = run("registry", "import", "--fhir", saved(place, made), *more, *ON)
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert kept(place).visits == ()


def test_nothing_to_take_in_is_said(place: Path) -> None:
    assert "found no file" in run("registry", "import").stderr
    assert "expected --fhir FILE" in run("registry", "import", "rowan-02", "--child", "rowan-02").stderr
    assert "no such file" in run("registry", "import", "--fhir", place / "none.json").stderr
