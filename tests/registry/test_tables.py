"""A table in the registry, in every place where one may lie: kept child by child, a second time adding nothing."""

from __future__ import annotations

import datetime

import pytest

from pathway.protocol.load import load_protocol
from pathway.registry.erasure import erase
from pathway.registry.exchange import import_record
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry
from pathway.registry.tables import KnownChildren, keep
from pathway.registry.verifying import verify
from pathway.tables.children import TableRead, read_table
from pathway.tables.guess import guessed
from pathway.tables.tidy.csv_out import csv_text
from pathway.tables.tidy.fields import fields_of
from pathway.tables.tidy.rows import Kept, rows_of_child
from tests.examples import NAMES, example
from tests.tables.reading import grid_of, wide

WHEN = datetime.datetime(2026, 12, 1, 9, 30, tzinfo=datetime.UTC)
ON = datetime.date(2031, 1, 1)
FEMUR = "femur left (mm)"


def table_read(text: str, known: KnownChildren) -> TableRead:
    grid, protocol = grid_of(text), load_protocol()
    return read_table(grid, guessed(grid, protocol).mapping, protocol, ON, known)


def taken(store: Registry, text: str) -> TableRead:
    known = KnownChildren(store)
    read = table_read(text, known)
    assert read.faults == ()
    for one in read.children:
        keep(store, one, known.head(one.child), who="ward", when=WHEN)
    return read


def put_out(store: Registry) -> str:
    """Return every visit of the registry as `registry table visits --dates` writes it."""
    names = [field.name for field in fields_of("visits", dates=True)]
    children = (Kept(store.record(line.child), (), load_protocol(), ON) for line in store.children())
    return csv_text(names, [row for child in children for row in rows_of_child("visits", child, dates=True)])


def test_a_new_child_is_kept_and_a_second_time_nothing_is_added(store: Registry) -> None:
    taken(store, wide(FEMUR, "250", "262"))
    before = store.entries("maple-9")
    assert [entry.kind for entry in before] == ["case"]
    again = taken(store, wide(FEMUR, "250", "262"))
    assert [(one.new, one.same) for one in again.children] == [(0, 2)]
    assert store.entries("maple-9") == before


def test_what_is_new_of_a_known_child_is_an_entry_of_its_own(store: Registry) -> None:
    taken(store, wide(FEMUR, "250"))
    taken(store, wide(FEMUR, "250", "262"))
    assert [entry.kind for entry in store.entries("maple-9")] == ["case", "visit"]
    assert [str(visit.date) for visit in store.record("maple-9").visits] == ["2024-05-06", "2024-06-06"]
    assert not verify(store).faults


def test_what_completes_a_day_of_an_imported_case_keeps_the_case_before_readable(store: Registry) -> None:
    taken(store, wide(FEMUR, "250"))
    taken(store, wide("tibia left (mm)", "200"))
    (visit,) = store.record("maple-9").visits
    assert {item.finding for item in visit.measurements} == {"femur_length_mm", "tibia_length_mm"}
    assert store.entries("maple-9")[0].payload is not None


def test_what_others_saved_after_the_table_was_read_is_not_overwritten(store: Registry) -> None:
    taken(store, wide(FEMUR, "250"))
    known = KnownChildren(store)
    (one,) = table_read(wide(FEMUR, "250", "262"), known).children
    taken(store, wide(FEMUR, "250", "261"))
    with pytest.raises(RegistryProblem, match="found entries that were saved meanwhile"):
        keep(store, one, known.head("maple-9"), who="ward", when=WHEN)
    assert store.record("maple-9").visits[1].measurements[0].value == 261


def test_an_erased_child_is_refused_by_its_row(store: Registry) -> None:
    taken(store, wide(FEMUR, "250"))
    erase(store, "maple-9", reason="asked", who="ward", when=WHEN)
    (fault,) = table_read(wide(FEMUR, "250"), KnownChildren(store)).faults
    assert (fault.row, fault.child) == (2, "maple-9")
    assert "was erased on 2026-12-01" in fault.found


def test_what_was_put_out_comes_back_in_to_the_same_registry_and_adds_nothing(store: Registry) -> None:
    for name in NAMES:
        import_record(store, example(name), who="ward", when=WHEN)
    before = {line.child: line.head for line in store.children()}
    read = taken(store, put_out(store))
    assert {one.child: one.new for one in read.children} == dict.fromkeys(NAMES, 0)
    assert sum(one.same for one in read.children) == read.rows > 400
    assert {line.child: line.head for line in store.children()} == before


def test_what_was_put_out_makes_the_same_records_in_an_empty_registry_as_far_as_a_table_holds(store: Registry) -> None:
    whole = {name: example(name) for name in NAMES}
    names = [field.name for field in fields_of("visits", dates=True)]
    rows = (
        row
        for record in whole.values()
        for row in rows_of_child("visits", Kept(record, (), load_protocol(), ON), dates=True)
    )
    taken(store, csv_text(names, rows))
    for name, record in whole.items():
        made = store.record(name)
        assert made.child == record.child.model_copy(update={"note": ""})
        bare = tuple(
            visit.model_copy(
                update={
                    "note": "",
                    "measurements": tuple(one.model_copy(update={"note": ""}) for one in visit.measurements),
                    "missing": tuple(one.model_copy(update={"note": ""}) for one in visit.missing),
                }
            )
            for visit in record.visits
        )
        assert made.visits == bare, name
