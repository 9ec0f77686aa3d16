"""What a session in a browser may read and write, and that nothing else is reached by links or paths."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from pathway.children.file_storage import FileStorage
from pathway.children.served import VARIABLE, as_text, of_text, served
from pathway.children.storage import SaveFailed
from pathway.cli.main import main
from pathway.problems import Refused
from tests.examples import FOLDER, example_plan
from tests.plans import DAY, rules

NAME = "rowan-02.toml"


@pytest.fixture
def clinic(tmp_path: Path) -> Path:
    made = tmp_path / "clinic"
    made.mkdir()
    (made / NAME).write_text((FOLDER / NAME).read_text(encoding="utf-8"), encoding="utf-8")
    return made


@pytest.fixture
def secret(tmp_path: Path) -> Path:
    made = tmp_path / "elsewhere.toml"
    made.write_text((FOLDER / "oak-12.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return made


def test_files_of_the_folder_are_reached(clinic) -> None:
    assert served([clinic]).real(clinic / NAME) == (clinic / NAME).resolve()
    assert served([clinic / NAME]).real(clinic / ".." / "clinic" / NAME) == (clinic / NAME).resolve()


def test_what_leads_elsewhere_is_refused_in_a_sentence(clinic, secret) -> None:
    (clinic / "link.toml").symlink_to(secret)
    (clinic / "round.toml").symlink_to(clinic / "round.toml")
    (clinic / "up").symlink_to(secret.parent)
    (clinic.parent / "clinic2").mkdir()
    beside = clinic.parent / "clinic2" / "a.toml"
    wrong = ("link.toml", "round.toml", "../elsewhere.toml", "up/elsewhere.toml", "../../etc/passwd")
    for file in (*(clinic / name for name in wrong), beside, Path("/etc/passwd")):
        with pytest.raises(Refused, match="leads elsewhere, expected a case file of the folder that is served"):
            served([clinic]).real(file)
    with pytest.raises(Refused):
        served([clinic / NAME]).real(clinic / "other.toml")


def test_a_file_that_was_served_as_a_link_is_the_one_it_led_to_then(clinic, secret) -> None:
    link = clinic / "link.toml"
    link.symlink_to(clinic / NAME)
    what = served([link])
    assert what.real(link) == (clinic / NAME).resolve()
    link.unlink()
    link.symlink_to(secret)
    with pytest.raises(Refused):
        what.real(link)


@pytest.mark.parametrize("text", ["", "{", "7", "null", "[7]"])
def test_a_session_that_was_told_nothing_it_understands_reads_no_file(text, clinic) -> None:
    with pytest.raises(Refused):
        of_text(text).real(clinic / NAME)
    assert of_text(as_text(served([clinic]))) == served([clinic])


class TestStorage:
    def test_a_link_that_leads_elsewhere_is_not_read(self, clinic, secret) -> None:
        link = clinic / "link.toml"
        link.symlink_to(secret)
        storage = FileStorage({"link": link}, rules(), DAY, served([clinic]))
        with pytest.raises(SaveFailed, match="leads elsewhere"):
            storage.read("link")

    def test_a_file_that_becomes_a_link_meanwhile_is_not_written(self, clinic, secret) -> None:
        file, before = clinic / NAME, secret.read_bytes()
        storage = FileStorage({"rowan-02": file}, rules(), DAY, served([clinic]))
        storage.read("rowan-02")
        file.unlink()
        file.symlink_to(secret)
        with pytest.raises(SaveFailed, match="leads elsewhere"):
            storage.save("rowan-02", (), example_plan("rowan-02"), rules(), "")
        assert secret.read_bytes() == before


def test_a_session_does_not_open_a_file_that_was_not_served(clinic, secret, monkeypatch) -> None:
    monkeypatch.setenv(VARIABLE, as_text(served([clinic])))
    result = CliRunner().invoke(main, ["open", str(secret)])
    assert result.exit_code == 2
    assert "leads elsewhere" in result.stderr
    assert CliRunner().invoke(main, ["open", str(clinic / NAME)]).exit_code == 0
