"""`limb-pathway` without a verb: whose children the screens are opened on, and what is said where it cannot be."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from pathway.children.registry_storage import RegistryStorage
from pathway.children.storage import Storage
from pathway.children.surroundings import Surroundings
from pathway.cli.main import main
from tests.plans import DAY, files


class Opened:
    """What the screens were opened with."""

    def __init__(self) -> None:
        self.files: Mapping[str, str] = {}
        self.on: object = None
        self.storage: Storage | None = None
        self.listed: tuple[str, ...] = ()

    def run(
        self,
        files: Mapping[str, str],
        on: object,
        child: str | None,
        protocol: Any,
        storage: Storage | None = None,
        around: Surroundings | None = None,
    ) -> None:
        from pathway.protocol.load import load_protocol

        self.files, self.on, self.storage = files, on, storage
        assert around is not None
        assert around.now().tzinfo is datetime.UTC
        if storage is not None:
            self.listed = tuple(item.name for item in storage.listed(load_protocol(), DAY))


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Opened:
    made = Opened()
    monkeypatch.setattr("tui.app.run", made.run)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv("LIMB_PATHWAY_REGISTRY", raising=False)
    monkeypatch.setenv("TEXTUAL_DRIVER", "a terminal")
    return made


def run(*words: str, **variables: str) -> Result:
    return CliRunner(env=variables).invoke(main, list(words))


def with_oak(place: Path) -> str:
    result = run("registry", "import", "oak-12", "--registry", str(place), "--on", str(DAY))
    assert result.exit_code == 0, result.output
    return str(place)


def test_without_a_registry_the_example_children_open(opened) -> None:
    assert run().exit_code == 0
    assert (opened.storage, set(opened.files)) == (None, set(files()))


def test_a_registry_named_by_option_or_variable_opens_with_its_children(opened, tmp_path) -> None:
    place = with_oak(tmp_path / "clinic.db")
    for words, variables in ((("--registry", place), {}), ((), {"LIMB_PATHWAY_REGISTRY": place})):
        opened.storage = None
        assert run(*words, **variables).exit_code == 0
        assert isinstance(opened.storage, RegistryStorage)
        assert (opened.listed, opened.storage.place) == (("oak-12",), "clinic.db")


def test_the_registry_of_the_user_opens_where_there_is_one(opened) -> None:
    result = run("registry", "import", "oak-12", "--on", str(DAY))
    assert result.exit_code == 0, result.output
    assert run("--on", str(DAY)).exit_code == 0
    assert opened.listed == ("oak-12",)
    assert opened.on == DAY


def test_a_registry_that_is_not_there_is_said_before_any_screen_opens(opened, tmp_path) -> None:
    result = run("--registry", str(tmp_path / "none.db"))
    assert result.exit_code == 2
    assert "none.db: found no registry" in result.stderr
    assert opened.storage is None


@pytest.mark.parametrize("option", ["--registry", "--by", "--on", "--key-file"])
def test_an_option_before_a_verb_is_not_silently_lost(opened, option) -> None:
    result = run(option, str(DAY), "plan", "oak-12")
    assert result.exit_code == 2
    assert f"{option}: found before `plan`, expected after it" in result.stderr


def test_a_verb_is_not_disturbed_by_the_variable_of_the_registry(opened, tmp_path) -> None:
    result = run("plan", "oak-12", "--on", str(DAY), LIMB_PATHWAY_REGISTRY=str(tmp_path / "none.db"))
    assert result.exit_code == 0, result.output


def test_a_registry_without_a_terminal_is_told_where_its_children_are_printed(opened, tmp_path, monkeypatch) -> None:
    place = with_oak(tmp_path / "clinic.db")
    monkeypatch.delenv("TEXTUAL_DRIVER")
    result = run("--registry", place)
    assert result.exit_code == 2
    assert "found no terminal, expected one" in result.stderr
    assert "registry due" in result.stderr
    assert opened.storage is None
