"""The one way out: whole or not at all, for the owner alone, and over nothing but an earlier output of its kind."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from pathway.files.kinds import CALENDAR, FHIR_PLAN, Kind, marked, marked_kind
from pathway.files.writing import Target, put, write_out
from pathway.problems import Refused

HANDOUT = marked_kind("handout", "html")
PAGE = b"<!DOCTYPE html>\n<html><head></head><body>x</body></html>\n"


def mode(file: Path) -> int:
    return file.stat().st_mode & 0o777


def refusal(target: Target) -> str:
    with pytest.raises(Refused) as caught:
        write_out(target, b"new")
    return str(caught.value)


def test_a_new_file_is_for_its_owner_alone_unless_it_is_to_be_shared(tmp_path: Path) -> None:
    write_out(Target(tmp_path / "a"), b"one")
    write_out(Target(tmp_path / "b", shared=True), b"two")
    assert (mode(tmp_path / "a"), mode(tmp_path / "b")) == (0o600, 0o644)
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a", "b"]


def test_a_file_that_fails_half_way_leaves_what_was_there(tmp_path: Path) -> None:
    file = tmp_path / "a.html"
    write_out(Target(file, HANDOUT), marked(PAGE, HANDOUT))

    def failing() -> Iterator[bytes]:
        yield b"half"
        raise OSError(28, "No space left on device")

    with pytest.raises(Refused, match="No space left on device"):
        write_out(Target(file, HANDOUT), failing())
    assert file.read_bytes() == marked(PAGE, HANDOUT)
    assert [one.name for one in tmp_path.iterdir()] == ["a.html"]


def test_an_earlier_output_of_the_kind_is_replaced_and_loses_a_looser_mode(tmp_path: Path) -> None:
    file = tmp_path / "a.html"
    write_out(Target(file, HANDOUT, shared=True), marked(PAGE, HANDOUT))
    write_out(Target(file, HANDOUT), b"new")
    assert (file.read_bytes(), mode(file)) == (b"new", 0o600)


@pytest.mark.parametrize(
    ("there", "found"),
    [
        (PAGE, "a file of something else"),
        (marked(PAGE, marked_kind("summary", "html")), "a file of something else"),
        (b"BEGIN:VCALENDAR\r\nPRODID:-//another//EN\r\nEND:VCALENDAR\r\n", "a file of something else"),
        (b"", "a file of something else"),
        (b"letter to the family", "a file of something else"),
    ],
)
def test_anything_else_stays_unless_it_is_to_be_replaced(there: bytes, found: str, tmp_path: Path) -> None:
    file = tmp_path / "a.html"
    file.write_bytes(there)
    assert refusal(Target(file, HANDOUT)) == (
        f"{file}: found {found}, expected a new file, or an earlier handout; name another, or add --replace."
    )
    assert file.read_bytes() == there
    write_out(Target(file, HANDOUT, replace=True), b"new")
    assert file.read_bytes() == b"new"


CASE = b'# Invented.\nschema_version = 1\n[child]\nid = "a"\n'


@pytest.mark.parametrize(
    ("name", "there", "found"),
    [
        ("mine.toml", CASE, "a case file"),
        ("mine.txt", CASE, "a case file"),
        ("mine.toml", CASE + b'broken = "', "a case file that cannot be read"),
        ("clinic.db", b"SQLite format 3\x00" + bytes(100), "a registry or a backup"),
    ],
)
def test_a_case_file_and_a_registry_are_never_replaced(name: str, there: bytes, found: str, tmp_path: Path) -> None:
    file = tmp_path / name
    file.write_bytes(there)
    assert f"found {found}, expected" in refusal(Target(file, CALENDAR, replace=True))
    assert file.read_bytes() == there


def test_what_the_output_is_made_from_is_never_replaced_by_whatever_name(tmp_path: Path) -> None:
    source, again = tmp_path / "key", tmp_path / "again"
    source.write_bytes(b"secret")
    os.link(source, again)
    for file in (source, again):
        assert "found what this is read from" in refusal(Target(file, HANDOUT, replace=True, inputs=(source,)))
    assert source.read_bytes() == b"secret"


@pytest.mark.parametrize("leads", ["to a file", "nowhere"])
def test_no_link_is_followed(leads: str, tmp_path: Path) -> None:
    kept, link = tmp_path / "kept", tmp_path / "link.html"
    if leads == "to a file":
        kept.write_bytes(b"kept")
    link.symlink_to(kept)
    assert "found a link to another place" in refusal(Target(link, HANDOUT, replace=True))
    assert kept.exists() is (leads == "to a file")


def test_a_folder_a_pipe_and_a_missing_folder_are_told(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    assert "found a folder, expected a file" in refusal(Target(tmp_path, HANDOUT))
    assert "no regular file" in refusal(Target(tmp_path / "pipe", HANDOUT, replace=True))
    assert "found no such folder" in refusal(Target(tmp_path / "no" / "a", HANDOUT))


def test_what_must_be_new_is_never_put_over_a_file_made_meanwhile(tmp_path: Path) -> None:
    file = tmp_path / "a"

    def made_meanwhile() -> None:
        file.write_bytes(b"theirs")

    with pytest.raises(FileExistsError):
        put(file, b"ours", 0o600, new=True, check=made_meanwhile)
    assert file.read_bytes() == b"theirs"


def test_what_came_there_while_it_was_written_is_asked_about_again(tmp_path: Path) -> None:
    file = tmp_path / "a.html"

    def slow() -> Iterator[bytes]:
        file.write_bytes(CASE)
        yield b"new"

    with pytest.raises(Refused, match="a case file"):
        write_out(Target(file, HANDOUT), slow())
    assert file.read_bytes() == CASE


KINDS: dict[str, tuple[Kind, bytes]] = {
    "svg": (marked_kind("picture of the timeline", "svg"), b"<svg xmlns='x'><g/></svg>\n"),
    "html": (HANDOUT, PAGE),
    "md": (marked_kind("summary", "md"), b"# Plan\n"),
    "fhir": (FHIR_PLAN, b'{"resourceType":"Composition","x":"https://limb-pathway.invalid/a"}'),
    "ics": (CALENDAR, b"BEGIN:VCALENDAR\r\nPRODID:-//limb-pathway//calendar//EN\r\n"),
}


@pytest.mark.parametrize("name", KINDS)
def test_every_kind_knows_its_own(name: str, tmp_path: Path) -> None:
    kind, data = KINDS[name]
    file = tmp_path / "out"
    write_out(Target(file, kind), marked(data, kind))
    write_out(Target(file, kind), b"again")
    assert file.read_bytes() == b"again"
