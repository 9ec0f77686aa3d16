"""The interface for other programs: its examples run, and it says what the verbs say."""

from __future__ import annotations

import datetime
import doctest
import inspect
import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from pathway import api
from pathway.cli.main import main

DAY = datetime.date(2026, 11, 25)
CLIENT = (Path(__file__).parent / "data" / "client.py").read_text(encoding="utf-8")


def test_every_example_of_the_interface_gives_what_it_says() -> None:
    child = api.example("oak-12", DAY)
    known = {"api": api, "day": DAY, "child": child}
    runner, tried = doctest.DocTestRunner(), 0
    for test in doctest.DocTestFinder().find(api, extraglobs=known):
        tried += runner.run(test).attempted
    assert runner.failures == 0
    assert tried >= 10


def test_every_function_is_offered_and_documented() -> None:
    functions = [name for name, _ in inspect.getmembers(api, inspect.isfunction) if name[0] != "_"]
    own = [name for name in functions if getattr(api, name).__module__ == "pathway.api"]
    assert set(own) <= set(api.__all__)
    assert all(inspect.getdoc(getattr(api, name)) for name in api.__all__)


class TestSaysWhatTheVerbsSay:
    def test_plan(self) -> None:
        printed = CliRunner().invoke(main, ["plan", "oak-12", "--on", str(DAY), "--json"]).output
        made = api.plan(api.example("oak-12", DAY), DAY, compared=True)
        assert json.loads(printed) == json.loads(api.plan_json(made))

    def test_worksheet(self) -> None:
        words = ["worksheet", "lengthening", "oak-12", "--on", str(DAY), "--set", "amount_mm=40", "--json"]
        sheet = api.worksheet("lengthening", api.example("oak-12", DAY), DAY, {"amount_mm": "40"})
        assert json.loads(CliRunner().invoke(main, words).output) == json.loads(sheet.model_dump_json())

    def test_a_case_file_is_written_and_read_back(self, tmp_path: Path) -> None:
        child = api.example("oak-12", DAY)
        (tmp_path / "oak-12.toml").write_text(api.case_text(child), encoding="utf-8")
        assert api.read_case(tmp_path / "oak-12.toml", DAY) == child

    def test_new_facts_are_in_the_record_and_what_they_change_is_told(self) -> None:
        child = api.example("oak-12", DAY)
        entered = (
            f'[[visit]]\ndate = {DAY}\nmethod = "standing_full_length_film"\nright = {{ femur_length_mm = 420 }}\n'
        )
        assert api.with_events(child, entered, DAY).visits[-1].measurements[0].value == 420
        assert api.follow_up(child, entered, DAY).changes


class TestRefuses:
    @pytest.mark.parametrize(
        ("call", "said"),
        [
            (lambda: api.example("nobody-00", DAY), "one of alder-06"),
            (lambda: api.read_case(Path("nobody.toml"), DAY), "nobody.toml"),
            (lambda: api.read_case_text("[", DAY, name="mine.toml"), "mine.toml"),
            (lambda: api.follow_up(api.example("oak-12", DAY), "[[visit]]", DAY), "entered, line 1"),
            (lambda: api.worksheet("lengthening", api.example("oak-12", DAY), DAY, {"amount": "1"}), "amount"),
            (lambda: api.rules(Path("no-such-folder")), "no-such-folder"),
        ],
    )
    def test_with_a_sentence(self, call, said: str) -> None:
        with pytest.raises(api.Refused) as refused:
            call()
        assert said in refused.value.problems[0].sentence


def test_another_program_is_checked_by_the_types_it_finds(tmp_path: Path) -> None:
    """mypy is the outside check here: the package says that it is typed."""
    file = tmp_path / "client.py"
    file.write_text(CLIENT, encoding="utf-8")
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path / "cache"), str(file)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False)
    assert done.returncode == 0, done.stdout
    (tmp_path / "wrong.py").write_text(CLIENT + "\nwrong: int = api.plan(child, day)\n", encoding="utf-8")
    command[-1] = str(tmp_path / "wrong.py")
    assert subprocess.run(command, capture_output=True, text=True, cwd=tmp_path, check=False).returncode == 1
