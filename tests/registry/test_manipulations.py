"""Sixty ways to tamper with a registry behind the program's back, and what finds each of them.

`ALONE`: `verify` needs nothing but the registry. `REMEMBERED`: it needs what this machine saw last, or kept heads.
`UNSEEN`: nobody can find it by the registry; the README says so.
"""

from __future__ import annotations

import datetime
import json
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from pathway.registry.copies import back_up
from pathway.registry.countersigning import confirm_keys, countersign
from pathway.registry.db.tables import GUARDS, guard_text
from pathway.registry.erasure import erase
from pathway.registry.journal.acts import act
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.journal.payloads import case_entry, decision_entry
from pathway.registry.journal.signed import KnownHead, sign_head
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import open_registry
from pathway.registry.verifying import seen_before, standing, verify
from pathway.registry.workstation import Workstation
from tests.registry.keeping import WHEN, keep_four, named, wish
from tests.registry.tampering import Desk, forged, hashed, leaf_for, links, peaks, put, whole_tree

NAME, OTHER, GONE = "maple-01", "oak-01", "elm-01"
ASKS = {
    "see_again_by": "2027-05-25",
    "measure": [],
    "opens": [{"stage": "Hip", "on": "2027-01-11"}],
    "arrest_last": None,
    "conflict": False,
}
AT = "2026-11-25T09:30:00.000000Z"
ON = f"WHERE child = '{NAME}' AND sequence"
LATER = WHEN + datetime.timedelta(days=1)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A registry in use: three children, one erased, stored plans, a backup written down, a countersignature."""
    folder = tmp_path_factory.mktemp("desk")
    desk = Desk(folder)
    with open_registry(str(desk.file), create=True, station=desk.station) as registry:
        for name in (NAME, OTHER, GONE):
            keep_four(registry, name)
        plans = [
            StoredPlan(name, registry.head(name), "0.3.0", "d" * 64, WHEN.date(), ASKS, f'{{"of": "{name}"}}')
            for name in (NAME, OTHER)
        ]
        registry.store_plans(plans)
        erase(registry, GONE, reason="the family asked", who="registrar", when=WHEN)
        back_up(registry, folder / "backup.db", who="registrar", when=WHEN)
    second = Workstation(folder / "second")
    with desk.opened(second) as registry:
        countersign(registry, who="second surgeon", when=WHEN)
    with desk.opened() as registry:
        confirm_keys(registry, standing(registry).unknown_keys)
        registry.append(NAME, decision_entry(wish("five"), "a"), seen=registry.head(NAME), when=WHEN)
    return folder


@pytest.fixture
def desk(made: Path, tmp_path: Path) -> Desk:
    shutil.copytree(made, tmp_path / "desk")
    desk = Desk(tmp_path / "desk")
    with desk.opened() as registry:  # known to this machine by its place: the copy lies elsewhere
        before = standing(registry)
        registry.append(OTHER, decision_entry(wish("last"), "a"), seen=registry.head(OTHER), when=WHEN)
        assert before.faults == ()
    assert found(desk, remembered=True) == []
    return desk


def found(desk: Desk, *, remembered: bool) -> list[str]:
    """Return what verifying says, in sentences: by the registry alone, or with what this machine remembers too."""
    try:
        with desk.opened() as registry:
            roots = seen_before(registry) if remembered else ()
            said = verify(registry, roots=roots)
            more = standing(registry).faults if remembered else ()
            return [one.sentence for one in (*said.faults, *said.remarks, *more)]
    except RegistryProblem as refused:
        return [one.sentence for one in refused.problems]


DECISION = {"decision": json.loads(wish("forged").model_dump_json(by_alias=True))}


def rehash_last(desk: Desk) -> None:
    desk.alter(put("entry", hashed(links(desk, NAME)[-1], who="somebody")))


def rehash_chain(desk: Desk) -> None:
    before, rows = None, links(desk, NAME)
    for row in rows[1:]:
        row = hashed(row, who="somebody", **({} if before is None else {"previous_sha256": before}))
        before = row["sha256"]
        desk.alter(put("entry", row))


def append_bare(desk: Desk) -> None:
    desk.alter(*forged(desk, NAME, "decision", DECISION))


def append_with_leaf(desk: Desk) -> None:
    rows = forged(desk, NAME, "decision", DECISION)
    leaf = leaf_for(desk, rows[0])
    desk.alter(*rows, put("leaf", leaf), *peaks(whole_tree(desk, str(leaf["sha256"]))))


def append_with_leaf_before_a_save(desk: Desk) -> None:
    append_with_leaf(desk)
    with desk.opened() as registry:
        registry.append(OTHER, decision_entry(wish("after"), "a"), seen=registry.head(OTHER), when=LATER)


def append_signed_by_nobody(desk: Desk) -> None:
    rows = forged(desk, NAME, "decision", DECISION)
    leaf = leaf_for(desk, rows[0])
    tree = whole_tree(desk, str(leaf["sha256"]))
    head = sign_head(desk.stranger.key, tree, int(str(leaf["number"])), AT)
    (number,) = desk.ask("SELECT max(number) + 1 FROM signed_head")[0]
    fields = {name: getattr(head, name) for name in head.__slots__}
    desk.alter(*rows, put("leaf", leaf), *peaks(tree), put("signed_head", {"number": number, **fields}))


def erase_forged(desk: Desk) -> None:
    rows = forged(desk, NAME, "erasure", {"reason": "asked"})
    desk.alter(f"DELETE FROM payload {ON} < 6", *rows)


def foreign_record(desk: Desk) -> None:
    payload = {"record": json.loads(named(OTHER).model_dump_json(by_alias=True))}
    desk.alter(*forged(desk, NAME, "case", payload))


def swap_leaves(desk: Desk) -> None:
    (one,), (other,) = (desk.ask(f"SELECT number FROM leaf {ON} = {n}") for n in (2, 3))
    for old, new in ((one[0], 999), (other[0], one[0]), (999, other[0])):
        desk.alter(f"UPDATE leaf SET number = {new} WHERE number = {old}")


def swap_plans(desk: Desk) -> None:
    desk.alter(*(f"UPDATE stored_plan SET child = '{new}' WHERE child = '{old}'" for old, new in (
        (NAME, "x"), (OTHER, NAME), ("x", OTHER))))  # fmt: skip


def act_added(desk: Desk) -> None:
    (number,) = desk.ask("SELECT max(number) + 1 FROM leaf")[0]
    one = act("drill", AT, "nobody", {"sound": True})
    fields = {"number": number, "kind": one.kind, "at": one.at, "who": one.who, "body": one.body}
    desk.alter(put("act", fields))


def damage(desk: Desk) -> None:
    with sqlite3.connect(desk.file) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        query = "SELECT rootpage FROM sqlite_master WHERE name LIKE 'sqlite_autoindex_entry%'"
        (page,) = connection.execute(query).fetchone()
        (size,) = connection.execute("PRAGMA page_size").fetchone()
    connection.close()
    data = bytearray(desk.file.read_bytes())
    data[page * size - 200 : page * size - 100] = b"\x7f" * 100
    desk.file.write_bytes(bytes(data))


def times_run_back(desk: Desk) -> None:
    with desk.opened() as registry:
        early = WHEN - datetime.timedelta(days=40)
        registry.append(NAME, decision_entry(wish("early"), "a"), seen=registry.head(NAME), when=early)


def renamed(desk: Desk) -> None:
    desk.alter(*(f"UPDATE {one} SET child = 'ash-01' WHERE child = '{NAME}'" for one in ("entry", "payload", "leaf")))


LAST_HEAD = "WHERE number = (SELECT max(number) FROM signed_head)"
ALONE: dict[str, tuple[Callable[[Desk], None] | list[str], str]] = {
    "a byte of a payload": ([f"UPDATE payload SET body = replace(body, '183', '188') {ON} = 2"], f"{NAME}, entry 2"),
    "a salt": ([f"UPDATE payload SET salt = 'ff' {ON} = 2"], f"{NAME}, entry 2"),
    "who made an entry": ([f"UPDATE entry SET who = 'somebody' {ON} = 3"], f"{NAME}, entry 3"),
    "when it was made": ([f"UPDATE entry SET at = '2026-11-24T09:30:00.000000Z' {ON} = 3"], f"{NAME}, entry 3"),
    "no moment at all": ([f"UPDATE entry SET at = 'yesterday' {ON} = 3"], f"{NAME}, entry 3"),
    "what it is": ([f"UPDATE entry SET kind = 'visit' {ON} = 3"], f"{NAME}, entry 3"),
    "what it supersedes": ([f"UPDATE entry SET supersedes = 1 {ON} = 3"], f"{NAME}, entry 3"),
    "its version": ([f"UPDATE entry SET schema_version = 2 {ON} = 3"], f"{NAME}, entry 3"),
    "a word for a number": ([f"UPDATE entry SET schema_version = 'two' {ON} = 3"], "a damaged schema_version"),
    "no number where one is": ([f"UPDATE entry SET sequence = 'three' {ON} = 3"], "a damaged sequence"),
    "a payload dropped": ([f"DELETE FROM payload {ON} = 3"], "no payload"),
    "an entry dropped": ([f"DELETE FROM payload {ON} = 3", f"DELETE FROM entry {ON} = 3"], "entry 4 after entry 2"),
    "a tail dropped": ([f"DELETE FROM payload {ON} = 5", f"DELETE FROM entry {ON} = 5"], f"{NAME}, entry 5"),
    "a tail dropped with its leaf": (
        [f"DELETE FROM {one} {ON} = 5" for one in ("payload", "entry", "leaf")],
        "another tree than was signed",
    ),
    "a child removed": ([f"DELETE FROM {one} WHERE child = '{NAME}'" for one in ("payload", "entry")], NAME),
    "a child removed with its leaves": (
        [f"DELETE FROM {one} WHERE child = '{NAME}'" for one in ("payload", "entry", "leaf")],
        "number",
    ),
    "a child renamed": (renamed, "ash-01, entry 1"),
    "a payload left without its entry": ([f"DELETE FROM entry {ON} = 5"], "a payload without its entry"),
    "the last entry hashed anew": (rehash_last, f"{NAME}, entry 5"),
    "a chain hashed anew": (rehash_chain, f"{NAME}, entry 2"),
    "an entry put in": (append_bare, "an entry that no workstation signed"),
    "an entry put in with its leaf": (append_with_leaf, "which no workstation signed for"),
    "an entry put in that a later save covered": (append_with_leaf_before_a_save, "which no workstation signed for"),
    "an entry signed by an unknown key": (append_signed_by_nobody, "the signature of an unknown workstation"),
    "an erasure put in": (erase_forged, "an entry that no workstation signed"),
    "the reason of an erasure": (
        [f"UPDATE payload SET body = replace(body, 'family', 'clinic') WHERE child = '{GONE}'"],
        f"{GONE}, entry 5",
    ),
    "a payload back after the erasure": (
        [f"INSERT INTO payload VALUES ('{GONE}', 1, '00', '{{}}')"],
        f"{GONE}, entry 1",
    ),
    "the record of another child": (foreign_record, f"the record of another child ({OTHER})"),
    "moments that run back": (times_run_back, "which is before entry 5"),
    "two leaves exchanged": (swap_leaves, "another tree than was signed"),
    "a leaf dropped": ([f"DELETE FROM leaf {ON} = 2"], "an entry that no workstation signed"),
    "the hash of a leaf": ([f"UPDATE leaf SET sha256 = '{'0' * 64}' {ON} = 2"], f"{NAME}, entry 2"),
    "no hash in a leaf": ([f"UPDATE leaf SET sha256 = 'none' {ON} = 2"], f"{NAME}, entry 2"),
    "a gap in the numbers": (["UPDATE leaf SET number = number + 100 WHERE number > 8"], "number 109"),
    "the root of a head": ([f"UPDATE signed_head SET root = '{'0' * 64}' {LAST_HEAD}"], "another tree"),
    "the signature of a head": ([f"UPDATE signed_head SET signature = '{'0' * 128}' {LAST_HEAD}"], "does not fit"),
    "no signature": ([f"UPDATE signed_head SET signature = 'none' {LAST_HEAD}"], "does not fit"),
    "the moment of a head": ([f"UPDATE signed_head SET at = '{AT[:-8]}1.0000Z' {LAST_HEAD}"], "does not fit"),
    "where a head begins": ([f"UPDATE signed_head SET since = since - 1 {LAST_HEAD}"], "does not fit"),
    "the last head dropped": ([f"DELETE FROM signed_head {LAST_HEAD}"], "which no workstation signed for"),
    "a head dropped": (["DELETE FROM signed_head WHERE number = 4"], "which no workstation signed for"),
    "the peaks of the tree": ([f"UPDATE peak SET sha256 = '{'0' * 64}' WHERE place = 0"], "peaks of the tree"),
    "the key of a workstation": (
        ["UPDATE act SET body = replace(body, 'public_key\":\"', 'public_key\":\"0') WHERE kind = 'key'"],
        "a key that does not match",
    ),
    "a key taken away": (["DELETE FROM act WHERE kind = 'key'"], "nothing where the registry wrote"),
    "a backup that is said": (["UPDATE act SET body = '{}' WHERE kind = 'backup'"], "a backup that does not match"),
    "a rehearsal that was none": (act_added, "a drill that no workstation signed"),
    "a countersignature": (
        ["UPDATE act SET body = replace(body, 'signature\":\"', 'signature\":\"00') WHERE kind = 'countersign'"],
        "a countersignature that fits no",
    ),
    "a guard altered": (
        lambda desk: desk.alter(*_guard_replaced(), guards=False),
        "trigger no_update_of_entry",
    ),
    "guards dropped": (lambda desk: desk.alter(guards=False), "no such trigger"),
    "a foreign trigger": (
        ["CREATE TRIGGER copies AFTER INSERT ON entry BEGIN DELETE FROM stored_plan; END"],
        "trigger copies",
    ),
    "a foreign table": (["CREATE TABLE notes (text TEXT)"], "table notes"),
    "a foreign column": (["ALTER TABLE entry ADD COLUMN note TEXT"], "column entry.note"),
    "a foreign index": (["CREATE INDEX by_body ON payload (body)"], "index by_body"),
    "an index over an expression": (["CREATE INDEX by_length ON payload (length(body))"], "index by_length"),
    "a foreign view": (["CREATE VIEW everything AS SELECT * FROM payload"], "view everything"),
    "a table dropped": (["DROP TABLE kept_head"], "a table or column that is missing"),
    "the layout of the tables": (["UPDATE layout SET version = 1"], "the layout 1 and tables of layout 2"),
    "the summary of a stored plan": (["UPDATE stored_plan SET summary = '{}' WHERE child = 'oak-01'"], OTHER),
    "no summary": (["UPDATE stored_plan SET summary = 'none' WHERE child = 'oak-01'"], OTHER),
    "the head of a stored plan": (["UPDATE stored_plan SET head_count = 9 WHERE child = 'oak-01'"], OTHER),
    "a stored plan itself": (["UPDATE stored_plan SET plan = x'00' WHERE child = 'oak-01'"], OTHER),
    "two stored plans exchanged": (swap_plans, "a stored plan that was altered"),
    "a stored plan taken away": (["DELETE FROM stored_plan WHERE child = 'oak-01'"], "the 2 that were stored"),
    "the roll of stored plans": (["DELETE FROM plan_roll"], "not stored together"),
    "every stored plan and their roll": (
        ["DELETE FROM stored_plan", "DELETE FROM plan_roll"],
        "no stored plan, though one was stored",
    ),
    "a stored plan taken away with its mark and what it asks for": (
        [f"DELETE FROM {table} WHERE child = 'oak-01'" for table in ("stored_plan", "planned", "due_item")],
        "the 2 that were stored",
    ),
    "the mark of a stored plan": (["DELETE FROM planned WHERE child = 'oak-01'"], OTHER),
    "a day by which something is due": (
        ["UPDATE due_item SET by_day = by_day + 400 WHERE child = 'oak-01' AND number = 1"],
        "what it asks for is not what was stored",
    ),
    "what is due": (["UPDATE due_item SET what = 'nothing'"], "what it asks for is not what was stored"),
    "something due of nobody": (
        ["INSERT INTO due_item VALUES ('ash-01', 1, 739000, 'visit', 'follow-up visit')"],
        "what a plan asks for by when, without the plan",
    ),
    "the index of days dropped": (["DROP INDEX due_item_by_day"], "no such index"),
    "one table of what is due dropped": (["DROP TABLE planned"], "no such table"),
    "a foreign column in what is due": (["ALTER TABLE due_item ADD COLUMN note TEXT"], "column due_item.note"),
    "a foreign index on what is due": (["CREATE INDEX by_what ON due_item (what)"], "index by_what"),
    "a page of the file": (damage, "damage"),
}


def _guard_replaced() -> Iterator[str]:
    for guard in GUARDS:
        text = guard_text(*guard, "sqlite")
        yield text.replace("SELECT RAISE(ABORT, 'what was kept is never changed')", "SELECT 1")


@pytest.mark.parametrize("name", ALONE)
def test_what_was_tampered_with_is_found_by_the_registry_alone(desk, name) -> None:
    how, words = ALONE[name]
    how(desk) if callable(how) else desk.alter(*how)
    said = found(desk, remembered=False)
    assert any(words in sentence for sentence in said), said
    assert all(", expected " in sentence for sentence in said)


def last_save_undone(desk: Desk) -> None:
    (last,) = desk.ask("SELECT max(number) FROM leaf")[0]
    child, sequence = desk.ask(f"SELECT child, sequence FROM leaf WHERE number = {last}")[0]
    where = f"WHERE child = '{child}' AND sequence = {sequence}"
    desk.alter(
        *(f"DELETE FROM {one} {where}" for one in ("payload", "entry", "leaf")),
        f"DELETE FROM signed_head {LAST_HEAD}",
    )
    desk.alter(*peaks(whole_tree(desk)))


def older_copy(desk: Desk) -> None:
    shutil.copy(desk.folder / "backup.db", desk.file)


def another_registry(desk: Desk) -> None:
    desk.file.unlink()
    with open_registry(str(desk.file), create=True, station=desk.stranger) as registry:
        for name in (NAME, OTHER, GONE, "ash-01", "fern-01"):
            keep_four(registry, name)


def by_a_stranger(desk: Desk) -> None:
    with desk.opened(desk.stranger) as registry:
        registry.append(NAME, decision_entry(wish("forged"), "a"), seen=registry.head(NAME), when=WHEN)


def put_back_to_the_first_layout(desk: Desk) -> None:
    tables = ("leaf", "act", "signed_head", "peak", "plan_roll")
    desk.alter_bare(*(f"DROP TABLE {one}" for one in tables), "UPDATE layout SET version = 1")


REMEMBERED: dict[str, tuple[Callable[[Desk], None], str]] = {
    "the last save undone": (last_save_undone, "gone back to number"),
    "an older copy put back": (older_copy, "gone back to number"),
    "another registry in its place": (another_registry, "another history"),
    "an entry of a workstation that wrote itself down": (by_a_stranger, "an unconfirmed workstation"),
    "a registry made to look like one of the first layout": (put_back_to_the_first_layout, "gone back to number 0"),
}


@pytest.mark.parametrize("name", REMEMBERED)
def test_what_is_sound_in_itself_is_found_by_what_this_machine_remembers(desk, name) -> None:
    how, words = REMEMBERED[name]
    how(desk)
    said = found(desk, remembered=True)
    assert any(words in sentence for sentence in said), said


@pytest.mark.parametrize("name", [name for name in REMEMBERED if "workstation" not in name])
def test_it_is_found_against_a_head_that_was_printed_as_well(desk, name) -> None:
    with desk.opened() as registry:
        head = registry.signed_head()
    assert head is not None
    REMEMBERED[name][0](desk)
    with desk.opened() as registry:
        said = verify(registry, roots=(KnownHead(head.size, head.root[:16], "read off paper"),))
    assert any("read off paper" in one.sentence for one in said.faults)


def by_this_workstation(desk: Desk) -> None:
    with desk.opened() as registry:
        registry.append(NAME, decision_entry(wish("not meant"), "a"), seen=registry.head(NAME), when=WHEN)


OF_PLANS = ("stored_plan", "plan_roll", "planned", "due_item")


def all_plans_dropped(desk: Desk) -> None:
    desk.alter(*(f"DELETE FROM {table}" for table in OF_PLANS))


def older_copy_and_memory(desk: Desk) -> None:
    older_copy(desk)
    shutil.rmtree(desk.folder / "own" / "seen")


def older_plans(desk: Desk) -> None:
    rows = [desk.ask(f"SELECT * FROM {table}") for table in OF_PLANS]
    with desk.opened() as registry:
        head = registry.head(NAME)
        registry.store_plans([StoredPlan(NAME, head, "0.4.0", "e" * 64, WHEN.date(), {"next": "other"})])
    all_plans_dropped(desk)
    for table, some in zip(OF_PLANS, rows, strict=True):
        for row in some:
            desk.alter((f"INSERT INTO {table} VALUES ({', '.join('?' * len(row))})", row))


UNSEEN: dict[str, Callable[[Desk], None]] = {
    "somebody at this workstation saves with its key": by_this_workstation,
    "every stored plan and their roll are dropped": all_plans_dropped,
    "stored plans are put back to an earlier set": older_plans,
    "an older copy is put back, and what this machine remembers is removed": older_copy_and_memory,
}


@pytest.mark.parametrize("name", UNSEEN)
def test_what_cannot_be_found_is_known(desk, name) -> None:
    UNSEEN[name](desk)
    assert found(desk, remembered=True) == []


def test_forty_are_tried_and_more() -> None:
    assert len(ALONE) + len(REMEMBERED) >= 40


def test_what_cannot_be_found_is_said_in_the_manual() -> None:
    manual = Path(__file__).parents[2] / "pathway" / "views" / "manual"
    text = (manual / "registry.md").read_text(encoding="utf-8")
    for words in ("with its key", "every stored plan", "an earlier set", "what this machine remembers"):
        assert words in text


def test_a_case_of_another_child_is_refused_before_it_is_kept(desk) -> None:
    with desk.opened() as registry, pytest.raises(RegistryProblem, match=f"the record of {OTHER}"):
        registry.append(NAME, case_entry(named(OTHER), "a"), seen=registry.head(NAME), when=WHEN)
