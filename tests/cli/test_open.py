"""One's own case files on the screens: what is entered is saved to the file, and nothing that stood there is lost."""

from __future__ import annotations

import datetime
import os
from pathlib import Path

import pytest
from click.testing import CliRunner

from pathway.casefile import read_case
from pathway.children.file_storage import CHANGED, FileStorage
from pathway.children.resolve import RegistryAt, locate_all, shown_names
from pathway.children.storage import SaveConflict, Saved, SaveFailed
from pathway.cli.main import main
from pathway.events import diff
from pathway.record import Record
from tests.examples import example, example_plan
from tests.plans import DAY, files, rules
from tests.sample import decision, visit
from tests.tui.screens_of import TO_LENGTHS, settled
from tests.tui.test_followup import planned
from tui.app import PathwayApp

NAME = "rowan-02"
VISIT = visit(DAY - datetime.timedelta(days=1), {"affected.femur_length_mm": 125, "other.femur_length_mm": 196})
COMMENT = "# a note of the clinic\n"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    made = tmp_path / f"{NAME}.toml"
    made.write_text(files()[NAME] + COMMENT, encoding="utf-8")
    return made


@pytest.fixture
def storage(file: Path) -> FileStorage:
    made = FileStorage({NAME: file}, rules(), DAY)
    made.read(NAME)
    return made


def with_visit(record: Record) -> Record:
    return record.model_copy(update={"visits": (*record.visits, VISIT)})


def named_files(cases: tuple[Path, ...]) -> dict[str, Path | None]:
    return {name: one.file for name, one in shown_names(locate_all(cases, RegistryAt())).items()}


def save(storage: FileStorage, wanted: Record) -> Saved | SaveConflict:
    known = read_case(storage._known[NAME], NAME, rules())
    assert isinstance(known, Record)
    return storage.save(NAME, diff(known, wanted), example_plan(NAME), rules(), "")


def read(file: Path) -> Record:
    found = read_case(file.read_text(encoding="utf-8"), file.name, rules())
    assert isinstance(found, Record), found
    return found


def test_what_is_new_is_added_and_the_rest_stays_as_written(storage: FileStorage, file: Path) -> None:
    before, record = file.read_text(encoding="utf-8"), read(file)
    wanted = with_visit(record).model_copy(
        update={"decisions": (*record.decisions, decision("prefer", date=DAY, prefer="fewest_operations"))}
    )
    kept = save(storage, wanted)
    assert isinstance(kept, Saved)
    assert kept.sentence == f"Saved in {NAME}.toml."
    after = file.read_text(encoding="utf-8")
    assert after.startswith(before.rstrip())
    assert read(file) == wanted
    assert [item.name for item in file.parent.iterdir()] == [file.name]
    # The next saving is held against what was saved now.
    assert isinstance(save(storage, with_visit(record)), Saved)


def test_what_was_taken_away_is_written_anew_with_the_old_file_beside(storage: FileStorage, file: Path) -> None:
    before, record = file.read_text(encoding="utf-8"), read(file)
    wanted = record.model_copy(update={"visits": record.visits[:-1]})
    kept = save(storage, wanted)
    assert isinstance(kept, Saved)
    beside = file.with_name(f"{NAME}.before-1.txt")
    assert beside.name in kept.sentence
    assert beside.read_text(encoding="utf-8") == before
    assert read(file) == wanted
    save(storage, record)
    assert beside.read_text(encoding="utf-8") == before


def test_a_private_file_stays_private_also_as_it_was_and_lines_end_as_they_did(file: Path) -> None:
    before = file.read_text(encoding="utf-8").replace("\n", "\r\n").encode()
    file.write_bytes(before)
    file.chmod(0o600)
    storage = FileStorage({NAME: file}, rules(), DAY)
    record = storage.read(NAME)
    save(storage, with_visit(record))
    added = file.read_bytes()
    assert added.startswith(before.rstrip())
    assert added.count(b"\n") == added.count(b"\r\n")
    save(storage, record.model_copy(update={"visits": record.visits[:-1]}))
    beside = file.with_name(f"{NAME}.before-1.txt")
    assert beside.read_bytes() == added
    if os.name == "posix":
        assert {one.stat().st_mode & 0o777 for one in (file, beside)} == {0o600}


def test_a_change_by_another_program_is_not_overwritten(storage: FileStorage, file: Path) -> None:
    record = read(file)
    theirs = file.read_text(encoding="utf-8").replace(COMMENT, "# of somebody else\n")
    file.write_text(theirs, encoding="utf-8")
    found = save(storage, with_visit(record))
    assert isinstance(found, SaveConflict)
    assert found.since == (CHANGED,)
    assert file.read_text(encoding="utf-8") == theirs
    assert isinstance(save(storage, with_visit(found.theirs)), Saved)
    assert "# of somebody else" in file.read_text(encoding="utf-8")


def test_a_file_that_went_away_is_written_again_with_all_that_it_held(storage: FileStorage, file: Path) -> None:
    record = read(file)
    file.unlink()
    kept = save(storage, with_visit(record))
    assert isinstance(kept, Saved)
    assert "was missing and has been written again" in kept.sentence
    assert read(file) == with_visit(record)
    assert COMMENT in file.read_text(encoding="utf-8")


def test_a_folder_that_went_away_is_said_in_a_sentence(storage: FileStorage, file: Path) -> None:
    record = read(file)
    file.unlink()
    file.parent.rmdir()
    with pytest.raises(SaveFailed, match="no such file, expected a case file; check the file and its folder"):
        save(storage, with_visit(record))


def test_a_disk_that_refuses_leaves_the_file_as_it_was(
    storage: FileStorage, file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, record = file.read_text(encoding="utf-8"), read(file)

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SaveFailed, match=r"cannot be written \(No space left on device\); the file is unchanged"):
        save(storage, with_visit(record))
    assert file.read_text(encoding="utf-8") == before
    assert [item.name for item in file.parent.iterdir()] == [file.name]


def test_the_surgeon_enters_a_visit_and_the_file_has_it(file: Path) -> None:
    import asyncio

    async def walk() -> tuple[str, ...]:
        storage = FileStorage({NAME: file}, rules(), DAY)
        app = PathwayApp({NAME: ""}, DAY, NAME, rules(), storage)
        async with app.run_test(size=(120, 40)) as pilot:
            await settled(pilot)
            await pilot.press(*TO_LENGTHS, *"124")
            await planned(pilot)
            await pilot.press("f5")
            await settled(pilot)
            await pilot.press("ctrl+s")
            await settled(pilot)
            return app.child_list[NAME].told

    told = asyncio.run(walk())
    assert told == (f"Saved in {NAME}.toml.",)
    values = {(item.finding, item.side): item.value for item in read(file).visits[-1].measurements}
    assert values == {("femur_length_mm", "left"): 124.0}
    assert COMMENT in file.read_text(encoding="utf-8")


def test_a_folder_stands_for_its_case_files(tmp_path: Path) -> None:
    for name in ("b.toml", "a.toml", "_orders.toml", "notes.txt"):
        (tmp_path / name).write_text("", encoding="utf-8")
    other = tmp_path / "more"
    other.mkdir()
    (other / "a.toml").write_text("", encoding="utf-8")
    assert list(named_files((tmp_path,))) == ["a", "b"]
    twice = named_files((tmp_path, other, tmp_path / "a.toml"))
    assert sorted(twice) == sorted([str(tmp_path / "a"), str(other / "a"), "b"])


@pytest.mark.parametrize(
    ("argument", "words"),
    [
        ("nowhere.toml", "found no such file, expected a case file"),
        (".", "found no .toml file in this folder"),
    ],
)
def test_what_cannot_be_opened_is_said(
    argument: str, words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = CliRunner().invoke(main, ["open", argument])
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.stderr


def test_examples_are_not_mixed_with_files_that_are_kept(file: Path) -> None:
    result = CliRunner().invoke(main, ["open", NAME, str(file)])
    assert result.exit_code == 2
    assert "an example child, beside case files" in result.stderr


def test_a_record_that_a_file_has_is_that_of_the_example(storage: FileStorage) -> None:
    assert storage.read(NAME) == example(NAME)
    assert storage.place
