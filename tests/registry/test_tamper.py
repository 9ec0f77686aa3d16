"""Whatever is altered, removed or moved in a registry is found and named."""

from __future__ import annotations

import json
import shutil

import pytest
from sqlalchemy import text

from pathway.registry.copies import back_up, heads, kept_heads
from pathway.registry.db.tables import GUARDS, guard_name, guard_text
from pathway.registry.journal.chain import link_digest, payload_digest
from pathway.registry.journal.entry import Head
from pathway.registry.journal.payloads import decision_entry
from pathway.registry.store import open_registry
from pathway.registry.verifying import verify
from tests.registry.keeping import WHEN, keep, keep_four, wish

NAME = "maple-01"


@pytest.fixture
def four(store):
    """Return a registry with two children of four entries each, one of them about to be tampered with."""
    keep_four(store, NAME)
    keep_four(store, "oak-01")
    assert verify(store).faults == ()
    return store


def tamper(registry, *statements: str) -> None:
    """Run statements as an attacker would: guards and foreign keys taken away, and the guards put back."""
    server = registry.place.server is not None
    with registry.engine.connect() as connection:
        if not server:
            connection.connection.driver_connection.execute("PRAGMA foreign_keys = OFF")
        for table, what in GUARDS:
            on = f" ON {table}" if server else ""
            connection.execute(text(f"DROP TRIGGER IF EXISTS {guard_name(table, what)}{on}"))
        if server:
            connection.execute(text("ALTER TABLE payload DROP CONSTRAINT IF EXISTS payload_child_sequence_fkey"))
        for statement in statements:
            connection.execute(text(statement))
        for table, what in GUARDS:
            connection.execute(text(guard_text(table, what, connection.dialect.name)))
        connection.commit()


def rehash(registry, sequence: int, *, who: str) -> None:
    """Alter who made an entry and give the entry the hash that fits."""
    entry = registry.entries(NAME)[sequence - 1]
    own = link_digest(
        previous_sha256=entry.previous_sha256,
        child=NAME,
        sequence=sequence,
        who=who,
        when="2026-11-25T09:30:00.000000Z",
        kind=entry.kind,
        schema_version=entry.schema_version,
        supersedes=entry.supersedes,
        payload_sha256=entry.payload_sha256,
    )
    where = f"WHERE child = '{NAME}' AND sequence = {sequence}"
    tamper(registry, f"UPDATE entry SET who = '{who}', sha256 = '{own}' {where}")


def faults(registry, known=None) -> list[str]:
    return [fault.sentence for fault in verify(registry, known).faults]


ON = f"WHERE child = '{NAME}' AND sequence"
ALTERED = {
    "a byte of a payload": ([f"UPDATE payload SET body = replace(body, '183', '188') {ON} = 2"], "entry 2"),
    "a salt": ([f"UPDATE payload SET salt = 'ff' {ON} = 2"], "entry 2"),
    "who made an entry": ([f"UPDATE entry SET who = 'somebody' {ON} = 3"], "entry 3"),
    "when it was made": ([f"UPDATE entry SET at = '2026-11-24T09:30:00.000000Z' {ON} = 3"], "entry 3"),
    "what it is": ([f"UPDATE entry SET kind = 'visit' {ON} = 3"], "entry 3"),
    "what it supersedes": ([f"UPDATE entry SET supersedes = 1 {ON} = 3"], "entry 3"),
    "its version": ([f"UPDATE entry SET schema_version = 2 {ON} = 3"], "entry 3"),
    "a dropped payload": ([f"DELETE FROM payload {ON} = 3"], "entry 3"),
    "a dropped entry": ([f"DELETE FROM payload {ON} = 3", f"DELETE FROM entry {ON} = 3"], "entry 4"),
    "a dropped entry whose payload is left": ([f"DELETE FROM entry {ON} = 4"], "entry 4"),
    "the first entry dropped": ([f"DELETE FROM payload {ON} = 1", f"DELETE FROM entry {ON} = 1"], "entry 2"),
    "two entries swapped": (
        [
            f"UPDATE {table} SET sequence = {new} {ON} = {old}"
            for table in ("entry", "payload")
            for old, new in ((3, 99), (4, 3), (99, 4))
        ],
        "entry 3",
    ),
    "a gap closed by counting anew": (
        [
            f"DELETE FROM payload {ON} = 3",
            f"DELETE FROM entry {ON} = 3",
            f"UPDATE entry SET sequence = 3 {ON} = 4",
            f"UPDATE payload SET sequence = 3 {ON} = 4",
        ],
        "entry 3",
    ),
    "an entry moved to another child": (
        [f"UPDATE {table} SET child = 'oak-01', sequence = 5 {ON} = 4" for table in ("entry", "payload")],
        "oak-01, entry 5",
    ),
}


@pytest.mark.parametrize("name", ALTERED)
def test_what_was_altered_is_found_and_named(four, name) -> None:
    statements, place = ALTERED[name]
    tamper(four, *statements)
    found = faults(four)
    assert any(place in sentence for sentence in found), found
    assert all(", expected " in sentence for sentence in found)


def test_only_the_child_that_was_altered_is_named(four) -> None:
    tamper(four, f"UPDATE payload SET body = replace(body, '183', '188') {ON} = 2")
    assert all(NAME in sentence for sentence in faults(four))


@pytest.mark.parametrize("sequence", [1, 2, 3])
def test_an_inner_entry_that_was_hashed_anew_is_found_by_the_next(four, sequence) -> None:
    rehash(four, sequence, who="somebody")
    by_chain, by_tree = verify(four).faults
    assert f"entry {sequence} was altered" in by_chain.remedy
    assert by_tree.key == f"{NAME}, entry {sequence}"


def test_a_payload_with_a_new_digest_is_found_by_its_entry(four) -> None:
    body = json.dumps({"decision": {}})
    digest = payload_digest("00", body)
    tamper(
        four,
        f"UPDATE payload SET body = '{body.replace(':', chr(92) + ':')}', salt = '00' {ON} = 3",
        f"UPDATE entry SET payload_sha256 = '{digest}' {ON} = 3",
    )
    assert any("entry 3" in sentence for sentence in faults(four))


def test_a_dropped_tail_is_found_by_the_tree_and_against_kept_heads(four) -> None:
    known = heads(four)
    tamper(four, f"DELETE FROM payload {ON} = 4", f"DELETE FROM entry {ON} = 4")
    assert any(f"{NAME}, entry 4" in sentence for sentence in faults(four))
    assert any("3 entries where the kept heads say 4" in sentence for sentence in faults(four, known))


def test_a_last_entry_hashed_anew_is_found_by_the_tree_and_against_kept_heads(four) -> None:
    known = heads(four)
    rehash(four, 4, who="somebody")
    (fault,) = faults(four)
    assert f"{NAME}, entry 4" in fault
    assert any("another hash than the kept heads have" in sentence for sentence in faults(four, known))


def test_a_last_entry_hashed_anew_with_more_after_it_is_found(four) -> None:
    known = heads(four)
    rehash(four, 4, who="somebody")
    four.append(NAME, decision_entry(wish("five"), "a"), seen=four.head(NAME), when=WHEN)
    for found in (faults(four), faults(four, known)):
        assert any(f"{NAME}, entry 4" in sentence for sentence in found)


def test_a_missing_child_is_found_by_the_tree_and_against_kept_heads(four) -> None:
    known = heads(four)
    tamper(four, f"DELETE FROM payload WHERE child = '{NAME}'", f"DELETE FROM entry WHERE child = '{NAME}'")
    for found in (faults(four), faults(four, known)):
        assert any(NAME in sentence for sentence in found)


def test_heads_that_are_still_passed_through_are_no_fault(four) -> None:
    known = heads(four)
    four.append(NAME, decision_entry(wish("five"), "a"), seen=four.head(NAME), when=WHEN)
    keep(four, "elm-01")
    assert faults(four, known) == []


def test_an_older_copy_of_the_file_is_found_against_kept_heads(tmp_path) -> None:
    with open_registry(str(tmp_path / "registry.db"), create=True) as registry:
        head = keep_four(registry, NAME)
    shutil.copy(tmp_path / "registry.db", tmp_path / "older.db")
    with open_registry(str(tmp_path / "registry.db")) as registry:
        registry.append(NAME, decision_entry(wish("five"), "a"), seen=head, when=WHEN)
        known = heads(registry)
    with open_registry(str(tmp_path / "older.db")) as older:
        assert faults(older) == []
        assert any("older copy" in sentence for sentence in faults(older, known))


def test_a_backup_is_verified_against_the_heads_it_was_made_with(four, tmp_path) -> None:
    back_up(four, tmp_path / "backup.db")
    with open_registry(str(tmp_path / "backup.db"), four.key) as copy:
        assert kept_heads(copy)[NAME] == Head(4, four.head(NAME).sha256)
        tamper(copy, f"DELETE FROM payload {ON} = 4", f"DELETE FROM entry {ON} = 4")
        assert any("3 entries where the kept heads say 4" in sentence for sentence in faults(copy))


FOREIGN = {
    "a table": ("CREATE TABLE notes (body TEXT)", "table notes"),
    "a column": ("ALTER TABLE entry ADD COLUMN note TEXT", "column entry.note"),
    "an index": ("CREATE INDEX by_length ON payload (length(body))", "index by_length"),
    "a view": ("CREATE VIEW everything AS SELECT who FROM entry", "view everything"),
}


@pytest.mark.parametrize("name", FOREIGN)
def test_what_is_not_ours_is_found_wherever_the_registry_lies(four, name) -> None:
    statement, words = FOREIGN[name]
    tamper(four, statement)
    assert any(words in sentence for sentence in faults(four))


def test_on_a_server_a_guard_that_was_put_out_of_force_or_empties_itself_is_found(database) -> None:
    with open_registry(database, create=True) as registry:
        keep_four(registry, NAME)
        for statement, words in (
            ("ALTER TABLE entry DISABLE TRIGGER no_update_of_entry", "trigger no_update_of_entry"),
            (
                "CREATE OR REPLACE FUNCTION kept_for_ever() RETURNS trigger LANGUAGE plpgsql AS "
                "$$ BEGIN RETURN NEW; END $$",
                "function kept_for_ever",
            ),
        ):
            with registry.engine.begin() as connection:
                connection.execute(text(statement))
            assert any(words in sentence for sentence in faults(registry)), words


def test_on_a_server_the_indexes_are_checked_where_that_can_be_done_and_else_it_is_said(database) -> None:
    with open_registry(database, create=True) as registry:
        keep_four(registry, NAME)
        (skipped,) = verify(registry).skipped
        assert "no extension amcheck" in skipped
        with registry.engine.begin() as connection:
            there = "SELECT count(*) FROM pg_available_extensions WHERE name = 'amcheck'"
            if not connection.scalar(text(there)):
                pytest.skip("this server has no extension amcheck")
            connection.execute(text("CREATE EXTENSION amcheck"))
        found = verify(registry)
    assert found.skipped == ()
    assert found.faults == ()
