"""Backups are whole or not there; what is restored is what was backed up."""

from __future__ import annotations

import stat

import pytest

from pathway.registry.copies import back_up, heads, kept_heads, restore
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import open_registry
from tests.registry.conftest import KEY
from tests.registry.keeping import WHEN, keep, keep_four, wish
from tests.registry.test_tamper import tamper

NAMES = ("maple-01", "oak-01")


def refused(words: str):
    return pytest.raises(RegistryProblem, match=words)


@pytest.fixture
def full(store):
    for name in NAMES:
        keep_four(store, name)
    return store


def test_a_backup_holds_every_entry_and_the_heads(full, tmp_path) -> None:
    found = back_up(full, tmp_path / "backup.db")
    assert (found.faults, found.entries) == ((), 8)
    with open_registry(str(tmp_path / "backup.db"), full.key) as copy:
        assert kept_heads(copy) == heads(full)
        assert all(copy.entries(name) == full.entries(name) for name in NAMES)
    assert kept_heads(full) == {}


def test_a_backup_is_one_file_that_only_its_owner_reads(full, tmp_path) -> None:
    folder = tmp_path / "copies"
    back_up(full, folder / "backup.db")
    assert [path.name for path in folder.iterdir()] == ["backup.db"]
    assert stat.S_IMODE((folder / "backup.db").stat().st_mode) == 0o600


def test_a_backup_never_replaces_a_file(full, tmp_path) -> None:
    (tmp_path / "backup.db").write_text("something else")
    with pytest.raises(RegistryProblem, match="an existing file"):
        back_up(full, tmp_path / "backup.db")
    assert (tmp_path / "backup.db").read_text() == "something else"


def test_a_backup_is_restored_to_where_there_is_nothing(full, tmp_path) -> None:
    back_up(full, tmp_path / "backup.db")
    with open_registry(str(tmp_path / "backup.db"), full.key) as copy:
        found = restore(copy, str(tmp_path / "new.db"), None)
    assert found.faults == ()
    with open_registry(str(tmp_path / "new.db")) as new:
        assert all(new.entries(name) == full.entries(name) for name in NAMES)
        saved = new.append("maple-01", decision_entry(wish("five"), "a"), seen=new.head("maple-01"), when=WHEN)
        assert saved.head.count == 5


def test_a_file_is_restored_to_a_server_and_back(database, tmp_path) -> None:
    with open_registry(str(tmp_path / "a.db"), create=True) as registry:
        keep_four(registry, "maple-01")
        entries = registry.entries("maple-01")
        back_up(registry, tmp_path / "b.db")
    with open_registry(str(tmp_path / "b.db")) as copy:
        restore(copy, database, None)
    with open_registry(database) as server:
        assert server.entries("maple-01") == entries
        back_up(server, tmp_path / "c.db")
    with open_registry(str(tmp_path / "c.db")) as copy:
        assert copy.entries("maple-01") == entries


def test_restoring_over_entries_is_refused(full, tmp_path) -> None:
    back_up(full, tmp_path / "backup.db")
    with open_registry(str(tmp_path / "there.db"), create=True) as there:
        head = keep(there, "elm-01")
    with (
        open_registry(str(tmp_path / "backup.db"), full.key) as copy,
        pytest.raises(RegistryProblem, match="1 entries"),
    ):
        restore(copy, str(tmp_path / "there.db"), None)
    with open_registry(str(tmp_path / "there.db")) as there:
        assert [(line.child, line.head) for line in there.children()] == [("elm-01", head)]


def test_a_backup_with_faults_is_not_restored(full, tmp_path) -> None:
    back_up(full, tmp_path / "backup.db")
    with open_registry(str(tmp_path / "backup.db"), full.key) as copy:
        tamper(copy, "UPDATE entry SET who = 'x' WHERE child = 'oak-01' AND sequence = 2")
        with pytest.raises(RegistryProblem, match="oak-01, entry 2"):
            restore(copy, str(tmp_path / "new.db"), None)
    assert not (tmp_path / "new.db").exists()


def test_a_backup_of_a_registry_with_faults_is_made_and_says_so(full, tmp_path) -> None:
    tamper(full, "UPDATE entry SET who = 'x' WHERE child = 'oak-01' AND sequence = 2")
    assert any("oak-01, entry 2" in fault.key for fault in back_up(full, tmp_path / "backup.db").faults)


def test_an_encrypted_registry_has_encrypted_backups(tmp_path) -> None:
    pytest.importorskip("sqlcipher3", reason="sqlcipher3 is not installed: no test on an encrypted registry")
    with open_registry(str(tmp_path / "a.db"), KEY, create=True) as registry:
        keep(registry, "maple-01", decision_entry(wish("a very telling remark"), "nurse"))
        back_up(registry, tmp_path / "backup.db")
    assert all(b"telling" not in path.read_bytes() for path in tmp_path.iterdir())
    with pytest.raises(RegistryProblem, match="encrypted or no registry"):
        open_registry(str(tmp_path / "backup.db"))
