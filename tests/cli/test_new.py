"""The verb `new`: what it offers is what a record takes, and what cannot be is said before a file is written."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest
from click.testing import CliRunner

from pathway.cli.main import main
from pathway.cli.new import SEXES, SIDES
from pathway.record import Child, Sex

ON = ["--on", "2026-11-25"]


def test_it_offers_the_sexes_and_sides_of_the_record() -> None:
    assert get_args(Sex) == SEXES
    assert get_args(Child.model_fields["affected_side"].annotation) == SIDES


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["Pine"], "small letters a to z"),
        ([], "small letters a to z"),
        (["pine-01", "--diagnosis", "short"], "one of congenital_femoral_deficiency"),
        (["pine-01", "--born", "2031-01-01"], "a day up to 2026-11-25"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_written(words, said, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, ["new", *words, *ON])
    assert result.exit_code == 2
    assert said in result.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_case_file_is_never_written_over(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert CliRunner().invoke(main, ["new", "pine-01", *ON]).exit_code == 0
    (tmp_path / "pine-01.toml").write_text("mine", encoding="utf-8")
    assert CliRunner().invoke(main, ["new", "pine-01", *ON]).exit_code == 2
    assert (tmp_path / "pine-01.toml").read_text(encoding="utf-8") == "mine"
