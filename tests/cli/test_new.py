"""`new` as a person types it: what cannot be used is answered with what was meant, and asked again in a terminal."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import get_args

import pytest
from click.testing import CliRunner, Result

from pathway.cli.main import main
from pathway.cli.new import SEXES, SIDES
from pathway.protocol.load import load_protocol
from pathway.record import Sex, Side

ON = ("--on", "2026-11-25")


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody sits there."""
    monkeypatch.setattr("click.testing._NamedTextIOWrapper.isatty", lambda _stream: True, raising=False)


def run(*words: str, answers: str | None = None) -> Result:
    return CliRunner().invoke(main, ["new", *words, *ON], input=answers)


def test_what_can_be_said_is_what_a_record_takes() -> None:
    assert get_args(Sex) == SEXES
    assert (*get_args(Side), "both") == SIDES


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("--born", "31.05.2024"), "found '31.05.2024', expected a day as year-month-day, such as 2024-05-31"),
        (("--born", "31.05.2024"), "did you mean 2024-05-31"),
        (("--born", "in May"), "date of birth: found 'in May', expected a day as year-month-day, such as 2024-05-31."),
        (("--born", "2034-05-31"), "found 2034-05-31, expected a day up to 2026-11-25; correct the year"),
        (("--diagnosis", "fibular hemimelia"), "did you mean fibular_deficiency"),
        (("--diagnosis", "Fibulahemimelie"), "did you mean fibular_deficiency"),
        (("--diagnosis", "congenital_short_femurr"), "did you mean congenital_short_femur."),
    ],
)
def test_what_cannot_be_used_is_answered_with_what_was_meant(here: Path, given: tuple[str, ...], said: str) -> None:
    result = run("pine-01", *given)
    assert result.exit_code == 2
    assert said in result.stderr
    assert list(here.iterdir()) == []


def test_in_a_terminal_a_wrong_answer_is_asked_again(here: Path, terminal: None) -> None:
    result = run("pine-01", answers="31.05.2024\n2024-05-31\nboy\nthe left\nleft\npffd\n\n")
    assert result.exit_code == 0, result.output
    assert result.stderr.count("Date of birth (year-month-day; Enter: leave it open)") == 2
    assert "did you mean 2024-05-31" in result.stderr
    assert "affected side: found 'the left', expected one of left, right, both; did you mean left." in result.stderr
    assert "did you mean congenital_femoral_deficiency" in result.stderr
    child = tomllib.loads((here / "pine-01.toml").read_text("utf-8"))["child"]
    assert (str(child["date_of_birth"]), child["sex"], child["affected_side"]) == ("2024-05-31", "boy", "left")
    assert "diagnosis" not in child, "Enter leaves it open"


def test_the_help_names_the_diagnoses_and_promises_to_write_over_nothing() -> None:
    said = " ".join(CliRunner().invoke(main, ["new", "--help"]).stdout.split())
    assert all(one.id in said for one in load_protocol().diagnoses)
    assert "Nothing is written over." in said
    assert "An earlier one of its kind" not in said
    assert "--replace" not in said


def test_a_case_file_that_is_there_stays_and_a_new_name_is_asked_for(here: Path) -> None:
    assert run("pine-01").exit_code == 0
    before = (here / "pine-01.toml").read_bytes()
    again = run("pine-01")
    assert again.exit_code == 2
    assert "pine-01.toml: found a case file, expected a new file; name another." in again.stderr
    assert (here / "pine-01.toml").read_bytes() == before


@pytest.mark.parametrize(("verb", "option"), [("plan", "--on"), ("followup", "--device-off")])
def test_every_day_is_asked_for_in_plain_words(verb: str, option: str) -> None:
    result = CliRunner().invoke(main, [verb, "oak-12", option, "31.05.2024"])
    assert result.exit_code == 2
    assert "found '31.05.2024', expected a day as year-month-day, such as 2024-05-31; did you mean 2024-05-31." in (
        " ".join(result.stderr.split())
    )


@pytest.mark.parametrize(
    ("topic", "page"), [("import", "tables"), ("table", "tables"), ("due", "registry"), ("replan", "registry")]
)
def test_the_manual_points_from_a_verb_of_the_registry_to_its_page(topic: str, page: str) -> None:
    result = CliRunner().invoke(main, ["manual", topic])
    assert result.exit_code == 2
    assert f"`limb-pathway manual {page}` tells of it, `limb-pathway registry {topic} --help` its" in result.stderr
    assert CliRunner().invoke(main, ["manual", page]).exit_code == 0
