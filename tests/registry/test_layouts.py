"""Registries of every earlier layout are read as they are, and brought to this one by the first save.

`layouts/N.sql` is a registry of layout N, with every kind of entry, an erased child and a stored plan; the files never
change.
"""

from __future__ import annotations

import shutil
import sqlite3
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from pathway.registry import migrate as migration
from pathway.registry.copies import back_up, heads, restore
from pathway.registry.db.tables import LAYOUT
from pathway.registry.due_list import due_page, standings
from pathway.registry.journal.entry import KINDS, Saved
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry, open_registry
from pathway.registry.verifying import verify
from tests.registry.keeping import LATER_VISIT, WHEN, keep, wish

FOLDER = Path(__file__).parent / "layouts"
HEADS = {"maple-01": 4, "oak-01": 5, "version-01": 9}


@pytest.fixture(scope="module")
def old_file(tmp_path_factory) -> Path:
    file = tmp_path_factory.mktemp("old") / "registry.db"
    with sqlite3.connect(file) as connection:
        connection.executescript((FOLDER / "1.sql").read_text(encoding="utf-8"))
        connection.execute("PRAGMA journal_mode = WAL")
    connection.close()
    return file


@pytest.fixture
def old(old_file, tmp_path) -> Path:
    return Path(shutil.copy(old_file, tmp_path / "registry.db"))


def save(registry: Registry) -> Saved:
    seen = registry.head("maple-01")
    saved = registry.append("maple-01", decision_entry(wish("new"), "a"), seen=seen, when=WHEN)
    assert isinstance(saved, Saved)
    return saved


def test_there_is_a_registry_of_every_earlier_layout() -> None:
    assert [path.stem for path in FOLDER.glob("*.sql")] == [str(layout) for layout in range(1, LAYOUT)]


def test_it_is_read_and_verified_without_being_touched(old) -> None:
    before = old.read_bytes()
    with open_registry(str(old)) as registry:
        assert {child: head.count for child, head in heads(registry).items()} == HEADS
        assert registry.record("maple-01").visits[-1] == LATER_VISIT
        assert {one.kind for child in HEADS for one in registry.entries(child)} == set(KINDS)
        assert [plan.summary["next"] for plan in registry.stored_plans()] == ["Hip preparation on 2026-12-23"]
        assert registry.stored_plan("maple-01").plan_json == '{"a": 1}'
        assert registry.signed_head() is None
        found = verify(registry)
    assert found.faults == ()
    assert ["whose entries nobody signed" in one.sentence for one in found.remarks] == [True]
    assert old.read_bytes() == before


def test_the_first_save_signs_all_that_was_there_and_keeps_every_hash(old) -> None:
    with open_registry(str(old)) as registry:
        known, plans = heads(registry), registry.stored_plans(whole=True)
        save(registry)
        assert registry.layout == LAYOUT
        assert registry.stored_plans(whole=True) == plans
        assert verify(registry, known).faults == ()
        assert registry.signed_head().size == sum(HEADS.values()) + 2, "every entry, the key and the new one"
    with open_registry(str(old)) as registry:
        assert verify(registry, known).faults == ()


def test_a_save_that_fails_leaves_the_old_registry(old, monkeypatch) -> None:
    def fails(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(migration, "cover_all", fails)
    with open_registry(str(old)) as registry, pytest.raises(RegistryProblem, match="no room left"):
        save(registry)
    monkeypatch.undo()
    with open_registry(str(old)) as registry:
        assert registry.layout == 1
        assert {child: head.count for child, head in heads(registry).items()} == HEADS


def test_an_old_backup_is_restored_and_an_old_registry_backed_up(old, tmp_path) -> None:
    with open_registry(str(old)) as registry:
        assert back_up(registry, tmp_path / "copy.db").faults == ()
        assert registry.layout == 1
        assert restore(registry, str(tmp_path / "new.db"), None).faults == ()
    for name in ("copy.db", "new.db"):
        with open_registry(str(tmp_path / name)) as made:
            assert {child: head.count for child, head in heads(made).items()} == HEADS
            assert made.signed_head() is not None


def test_what_is_due_is_read_of_an_old_registry_without_touching_it(old) -> None:
    with sqlite3.connect(old) as connection:
        connection.execute(
            "CREATE TABLE planned (child TEXT PRIMARY KEY, row_sha256 TEXT NOT NULL, item_count INTEGER)"
        )
        connection.execute("CREATE TABLE due_item (child TEXT, number INTEGER, PRIMARY KEY (child, number))")
    connection.close()
    before = old.read_bytes()
    with open_registry(str(old)) as registry:
        first = due_page(registry, WHEN.date(), 36, 1000)
        told = {one.line.child: (one.plan is not None, one.fault) for one in standings(registry)}
        assert verify(registry).faults == ()
    assert old.read_bytes() == before
    with open_registry(str(old)) as registry:
        save(registry)
        assert verify(registry).faults == ()
        assert due_page(registry, WHEN.date(), 36, 1000) == first
        assert {one.line.child: (one.plan is not None, one.fault) for one in standings(registry)} == told


def test_a_registry_on_a_server_is_brought_on_too(database) -> None:
    with open_registry(database, create=True) as registry:
        keep(registry, "maple-01")
    engine = create_engine(database.replace("postgresql", "postgresql+psycopg"))
    with engine.begin() as connection:
        for table in ("leaf", "act", "signed_head", "peak", "plan_roll"):
            connection.execute(text(f"DROP TABLE {table}"))
        for column in ("plan_sha256", "public_key", "signature"):
            connection.execute(text(f"ALTER TABLE stored_plan DROP COLUMN {column}"))
        connection.execute(text("UPDATE layout SET version = 1"))
    engine.dispose()
    with open_registry(database) as registry:
        assert registry.stored_plans() == ()
        assert registry.layout == 1
        save(registry)
        assert verify(registry).faults == ()
