"""The one way in: what is no plain file of the right size is refused before anything is made of it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pathway.files.folder import CheckedFolder
from pathway.files.reading import read_bytes, read_text
from pathway.problems import Refused


def refusal(file: Path, most_bytes: int = 100) -> str:
    with pytest.raises(Refused) as caught:
        read_text(file, "a case file", most_bytes, missing="the examples are none")
    return str(caught.value)


def test_a_text_comes_with_its_lines_ending_alike(tmp_path: Path) -> None:
    file = tmp_path / "a.toml"
    file.write_bytes("\ufeffa = 'é'\r\nb = 2\n".encode())
    assert read_text(file, "a case file", 100, bom=True) == "a = 'é'\nb = 2\n"


def test_what_is_missing_or_a_folder_is_told_with_what_to_do(tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    assert refusal(gone) == f"{gone}: found no such file, expected a case file; the examples are none."
    assert refusal(tmp_path) == f"{tmp_path}: found a folder, expected a case file; name a file in it."


def test_a_pipe_is_refused_at_once_and_not_waited_for(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    assert "no regular file (a pipe or a device)" in refusal(pipe)


def test_a_device_is_refused() -> None:
    assert "no regular file (a pipe or a device)" in refusal(Path("/dev/zero"))


def test_the_size_is_a_limit_also_for_files_that_hide_theirs(tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes(b"x" * 100)
    assert len(read_bytes(file, "a case file", 100)) == 100
    file.write_bytes(b"x" * 101)
    assert refusal(file) == f"{file}: found 101 bytes, expected at most 100; is it a case file?."[:-2] + "?"


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="no /proc on this system")
def test_a_file_of_size_nought_that_holds_much_is_too_large_all_the_same() -> None:
    assert "expected at most 100" in refusal(Path("/proc/self/status"))


def test_text_that_is_not_utf_8_is_told_with_its_line(tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes(b"a\nb\n\xff\n")
    assert refusal(file).startswith(f"{file}, line 3: found text that is not UTF-8, expected a case file in UTF-8")


@pytest.mark.parametrize(
    "sign", ["\x00", "\x1b", "\x7f", "\x9b", "\r", "\u202e", "\u2066", "\u200e", "\u2028", "\ufeff"]
)
def test_a_character_that_nobody_sees_is_told_with_its_line_and_number(sign: str, tmp_path: Path) -> None:
    file = tmp_path / "a"
    file.write_bytes(f"a\nb{sign}c\n".encode())
    said = refusal(file)
    assert said.startswith(f"{file}, line 2: found a character that nobody sees (U+{ord(sign):04X})")
    assert sign not in said


class TestFolder:
    def test_its_files_are_read_by_the_one_way_in(self, tmp_path: Path) -> None:
        (tmp_path / "own.toml").write_text("a = 1\n", encoding="utf-8")
        os.mkfifo(tmp_path / "pipe.toml")
        folder = CheckedFolder(tmp_path, "a file of rules", 100)
        assert folder.joinpath("own.toml").read_text() == "a = 1\n"
        with pytest.raises(Refused, match="no regular file"):
            folder.joinpath("pipe.toml").read_text()

    def test_links_that_lead_out_of_it_are_not_seen(self, tmp_path: Path) -> None:
        inside, outside = tmp_path / "in", tmp_path / "secret.toml"
        inside.mkdir()
        outside.write_text("a = 1\n", encoding="utf-8")
        (inside / "own.toml").symlink_to(outside)
        (inside / "up").symlink_to(tmp_path)
        assert [one.name for one in CheckedFolder(inside, "rules", 100).iterdir()] == []
