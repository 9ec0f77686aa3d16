"""A restore is rehearsed with the newest backup: what would not restore is known before it is needed."""

from __future__ import annotations

import os

import pytest

from pathway.registry.copies import back_up
from pathway.registry.drilling import drill, newest_backup
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.planning import Task
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import open_registry
from pathway.registry.verifying import verify
from tests.registry.keeping import WHEN, keep, keep_four, wish
from tests.registry.test_tamper import tamper

NAMES = ("maple-01", "oak-01", "elm-01")


@pytest.fixture
def backed_up(store, tmp_path):
    """Return a registry with three children, of which there is a backup in a folder of its own."""
    for name in NAMES:
        keep_four(store, name)
    back_up(store, tmp_path / "copies" / "monday.db", who="a", when=WHEN)
    return store


def rehearse(registry, file, failing: str = "", sample: int = 2):
    asked: list[Task] = []

    def planner(task: Task) -> tuple[str, dict | str]:
        asked.append(task)
        return task.child, "no rule holds" if task.child == failing else {}

    return drill(registry, file, planner, sample=sample, who="registrar", when=WHEN), asked


def test_a_sound_backup_is_restored_verified_and_planned_from(backed_up, tmp_path) -> None:
    done, asked = rehearse(backed_up, tmp_path / "copies" / "monday.db")
    assert done.wrong == ()
    assert (done.children, done.entries, done.planned) == (3, 12, ("elm-01", "maple-01"))
    assert [task.record["child"]["id"] for task in asked] == ["elm-01", "maple-01"]
    assert "3 children, 12 entries restored and verified, 2 of the children planned anew" in done.result


def test_nothing_of_the_copy_is_left_and_the_registry_says_when_it_was(backed_up, tmp_path) -> None:
    before = sorted(path.name for path in tmp_path.iterdir())
    rehearse(backed_up, tmp_path / "copies" / "monday.db")
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    assert [path.name for path in (tmp_path / "copies").iterdir()] == ["monday.db"]
    (act,) = backed_up.acts("drill")
    assert (act.who, act.said["sound"], act.said["file"]) == ("registrar", True, "monday.db")
    assert verify(backed_up).faults == ()


def test_a_backup_with_faults_is_told_and_written_down(backed_up, tmp_path) -> None:
    file = tmp_path / "copies" / "monday.db"
    with open_registry(str(file), backed_up.key) as copy:
        tamper(copy, "UPDATE entry SET who = 'x' WHERE child = 'oak-01' AND sequence = 2")
    done, asked = rehearse(backed_up, file)
    assert any("oak-01, entry 2" in sentence for sentence in done.wrong)
    assert asked == []
    assert "not to be relied on" in done.result
    assert [one.said["sound"] for one in backed_up.acts("drill")] == [False]


def test_a_file_that_is_no_backup_is_told(backed_up, tmp_path) -> None:
    (tmp_path / "copies" / "tuesday.db").write_bytes(b"SQLite format 3\x00" + b"\x10\x00" * 900)
    done, _ = rehearse(backed_up, tmp_path / "copies" / "tuesday.db")
    assert len(done.wrong) == 1
    assert ", expected " in done.wrong[0]


def test_a_child_that_cannot_be_planned_is_named(backed_up, tmp_path) -> None:
    done, _ = rehearse(backed_up, tmp_path / "copies" / "monday.db", failing="maple-01")
    assert done.wrong == ("maple-01: could not be planned (no rule holds).",)


def test_the_backup_of_another_registry_is_told(backed_up, tmp_path) -> None:
    with open_registry(str(tmp_path / "other.db"), backed_up.key, create=True) as other:
        keep(other, "ash-01")
        back_up(other, tmp_path / "other-backup.db")
    done, _ = rehearse(backed_up, tmp_path / "other-backup.db")
    assert any("none that" in sentence for sentence in done.wrong)


def test_a_registry_that_went_on_after_the_backup_is_no_fault(backed_up, tmp_path) -> None:
    seen = backed_up.head("oak-01")
    backed_up.append("oak-01", decision_entry(wish("later"), "a"), seen=seen, when=WHEN)
    assert rehearse(backed_up, tmp_path / "copies" / "monday.db")[0].wrong == ()


def test_the_newest_of_a_folder_is_taken_and_drafts_and_other_files_are_not(tmp_path) -> None:
    for number, name in enumerate(("monday.db", "tuesday.db", ".wednesday.db.1-0123456789ab.new", "notes.txt")):
        (tmp_path / name).write_bytes(b"text" if name == "notes.txt" else b"SQLite format 3\x00")
        os.utime(tmp_path / name, (number, number))
    assert newest_backup(tmp_path, encrypted=False) == tmp_path / "tuesday.db"
    assert newest_backup(tmp_path / "monday.db", encrypted=False) == tmp_path / "monday.db"


def test_where_there_is_no_backup_it_is_told(tmp_path) -> None:
    for place in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(RegistryProblem, match=r"no backup|nothing there"):
            newest_backup(place, encrypted=False)
