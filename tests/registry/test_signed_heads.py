"""Every save is signed by the workstation; who saw a head knows later whether the registry still goes on from it."""

from __future__ import annotations

import stat

import pytest

from pathway.registry.copies import back_up, restore
from pathway.registry.countersigning import confirm_keys, countersign
from pathway.registry.journal.heads import read_shown
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.journal.signed import KnownHead, public_hex
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry, open_registry
from pathway.registry.verifying import seen_before, standing, take_as_seen, verify
from pathway.registry.workstation import KEY_FILE, Workstation
from tests.registry.conftest import KEY
from tests.registry.keeping import WHEN, keep, keep_four, wish


@pytest.fixture
def station(tmp_path) -> Workstation:
    return Workstation(tmp_path / "own")


@pytest.fixture
def second(tmp_path) -> Workstation:
    return Workstation(tmp_path / "second")


def opened(tmp_path, station: Workstation, name: str = "registry.db") -> Registry:
    return open_registry(str(tmp_path / name), create=True, station=station)


def more(registry: Registry, reason: str = "more") -> None:
    registry.append("maple-01", decision_entry(wish(reason), "a"), seen=registry.head("maple-01"), when=WHEN)


def test_reading_makes_no_key_and_the_first_save_one_that_its_owner_alone_reads(tmp_path, station) -> None:
    with opened(tmp_path, station) as registry:
        assert registry.signed_head() is None
        assert verify(registry).faults == ()
        assert not (station.folder / KEY_FILE).exists()
        keep(registry, "maple-01")
    assert stat.S_IMODE((station.folder / KEY_FILE).stat().st_mode) == 0o600
    assert stat.S_IMODE(station.folder.stat().st_mode) == 0o700


def test_a_save_is_signed_with_what_it_adds_and_the_key_is_written_down_once(store) -> None:
    keep(store, "maple-01")
    first = store.signed_head()
    more(store)
    second = store.signed_head()
    assert first.genuine
    assert second.genuine
    assert (first.size, second.size, second.since) == (2, 3, 2)
    assert [one.said["public_key"] for one in store.acts("key")] == [public_hex(store.station.key)]


def test_two_registries_with_the_same_entries_have_different_heads(tmp_path, station) -> None:
    roots = []
    for name in ("a.db", "b.db"):
        with opened(tmp_path, station, name) as registry:
            keep(registry, "maple-01")
            roots.append(registry.signed_head().root)
    assert roots[0] != roots[1]


def test_what_is_refused_is_not_signed(store) -> None:
    keep(store, "maple-01")
    before = store.signed_head()
    with pytest.raises(RegistryProblem):
        store.append("maple-01", decision_entry(wish(), ""), seen=store.head("maple-01"), when=WHEN)
    assert store.signed_head() == before


def test_a_key_that_cannot_be_read_is_told_and_nothing_is_saved(tmp_path, station) -> None:
    with opened(tmp_path, station) as registry:
        head = keep(registry, "maple-01")
    (station.folder / KEY_FILE).write_text("no key")
    with opened(tmp_path, Workstation(station.folder)) as registry:
        with pytest.raises(RegistryProblem, match="something else than a key"):
            more(registry)
        assert registry.head("maple-01") == head
        assert verify(registry).faults == ()


def test_a_workstation_that_lost_its_key_goes_on_with_a_new_one(tmp_path, station) -> None:
    with opened(tmp_path, station) as registry:
        keep(registry, "maple-01")
    (station.folder / KEY_FILE).unlink()
    with opened(tmp_path, Workstation(station.folder)) as registry:
        more(registry)
        assert len(registry.acts("key")) == 2
        assert (verify(registry).faults, standing(registry).faults) == ((), ())


def test_a_backup_holds_the_signed_head_and_a_restored_registry_goes_on_from_it(store, tmp_path) -> None:
    keep_four(store, "maple-01")
    head = store.signed_head()
    back_up(store, tmp_path / "backup.db")
    with open_registry(str(tmp_path / "backup.db"), store.key) as copy:
        assert copy.signed_head() == head
        restore(copy, str(tmp_path / "new.db"), None)
    with open_registry(str(tmp_path / "new.db")) as new:
        more(new)
        known = KnownHead(head.size, head.root, "kept")
        assert verify(new, roots=[known]).faults == ()


def test_a_registry_that_was_set_back_is_noted_when_it_is_opened_and_can_still_be_saved_to(tmp_path, station) -> None:
    with opened(tmp_path, station) as registry:
        keep(registry, "maple-01")
        back_up(registry, tmp_path / "older.db")
        more(registry)
        assert registry.notes == ()
    for end in ("", "-wal", "-shm"):
        (tmp_path / f"registry.db{end}").unlink(missing_ok=True)
    (tmp_path / "older.db").rename(tmp_path / "registry.db")
    with opened(tmp_path, station) as registry:
        (note,) = registry.notes
        assert "gone back to number 2" in note
        more(registry, "another")
        assert "another history" in registry.notes[0], "a save does not make it forgotten"
        assert verify(registry, roots=seen_before(registry)).faults != ()
        take_as_seen(registry)
        assert registry.notes == ()
        assert verify(registry, roots=seen_before(registry)).faults == ()


def test_a_restored_registry_is_the_one_this_machine_knows(tmp_path, station) -> None:
    with opened(tmp_path, station) as registry:
        keep(registry, "maple-01")
        back_up(registry, tmp_path / "older.db")
        more(registry)
    (tmp_path / "registry.db").unlink()
    with open_registry(str(tmp_path / "older.db"), station=station) as copy:
        restore(copy, str(tmp_path / "registry.db"), None)
    with opened(tmp_path, station) as registry:
        assert registry.notes == ()


def test_a_new_workstation_is_told_until_a_person_confirms_it(tmp_path, station, second) -> None:
    with opened(tmp_path, station) as registry:
        keep(registry, "maple-01")
    with opened(tmp_path, second) as registry:
        more(registry)
        assert standing(registry).faults == (), "who comes later trusts who was there"
    with opened(tmp_path, station) as registry:
        (fault,) = standing(registry).faults
        assert public_hex(second.key)[:16] in fault.sentence
        with pytest.raises(RegistryProblem, match="8 digits or more"):
            confirm_keys(registry, [public_hex(second.key)[:6]])
        assert confirm_keys(registry, [public_hex(second.key)[:8]]) == (public_hex(second.key),)
        assert standing(registry).faults == ()


def test_a_second_workstation_countersigns_what_it_verified(tmp_path, station, second) -> None:
    with opened(tmp_path, station) as registry:
        keep(registry, "maple-01")
        with pytest.raises(RegistryProblem, match="signed itself"):
            countersign(registry, who="a", when=WHEN)
        head = registry.signed_head()
    with opened(tmp_path, second) as registry:
        assert countersign(registry, who="b", when=WHEN) == head
        (done,) = registry.acts("countersign")
        assert (done.who, done.said["size"], done.said["root"]) == ("b", head.size, head.root)
        assert verify(registry).faults == ()


def test_a_head_is_read_off_paper_in_the_ways_a_person_writes_it() -> None:
    root = "9f3a0c1d2e3f4a5b"
    for text in (f"1234 · {root}…", f"1234:{root}", f"1234 {root.upper()}", f" 1234. {root}... "):
        assert read_shown(text) == KnownHead(1234, root, "read off paper")
    for text in ("heads.json", "1234", f"x {root}", "1234 · 9f3a…"):
        assert read_shown(text) is None


def test_an_encrypted_registry_is_signed_as_well(tmp_path, station) -> None:
    pytest.importorskip("sqlcipher3", reason="sqlcipher3 is not installed: no test on an encrypted registry")
    with open_registry(str(tmp_path / "secret.db"), KEY, create=True, station=station) as registry:
        keep(registry, "maple-01")
        assert registry.signed_head().genuine
        assert verify(registry).faults == ()
