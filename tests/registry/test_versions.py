"""Histories written by every version of the payloads are read for ever: the files in `versions/` never change.

`N.json` is a history whose entries are of version N, of every kind; `N.toml` is the record it makes up.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from pathway.casefile import read_case
from pathway.registry.exchange import history_json, import_history, read_history
from pathway.registry.journal.chain import head_of
from pathway.registry.journal.entry import KINDS
from pathway.registry.journal.fold import accepted_plans, record_of
from pathway.registry.journal.payloads import PAYLOAD_VERSION
from pathway.registry.verifying import verify

FOLDER = Path(__file__).parent / "versions"
VERSIONS = range(1, PAYLOAD_VERSION + 1)
HEADS = {1: "6fa8dc82cb786eccd5abb1b2735d0e3fca5c90094b8b1fc3d5bdcf548522cc71"}
"""The hash of the last entry of each file: it also holds that hashes are computed as they were then."""


def history(version: int):
    name = f"{version}.json"
    return read_history((FOLDER / name).read_text(encoding="utf-8"), name)


def test_there_is_a_file_of_every_version_with_every_kind_of_entry() -> None:
    assert sorted(path.name for path in FOLDER.glob("*.json")) == [f"{version}.json" for version in VERSIONS]
    for version in VERSIONS:
        entries = history(version)
        assert {entry.schema_version for entry in entries} == {version}
        assert {entry.kind for entry in entries} == set(KINDS) - {"erasure"}


@pytest.mark.parametrize("version", VERSIONS)
def test_an_old_history_is_read_to_the_record_that_it_was(version, protocol) -> None:
    expected = read_case((FOLDER / f"{version}.toml").read_text(encoding="utf-8"), "case", protocol)
    assert record_of(history(version)) == expected
    assert head_of(history(version)).sha256 == HEADS[version]


@pytest.mark.parametrize("version", VERSIONS)
def test_an_old_accepted_plan_is_read(version) -> None:
    (accepted,) = accepted_plans(history(version))
    assert accepted.number == 1
    assert accepted.entry.who == "first surgeon"
    assert accepted.revision.reason == "the family's wish"
    assert accepted.revision.plan["stages"][0]["amount_mm"] == 50.0


@pytest.mark.parametrize("version", VERSIONS)
def test_an_old_history_is_taken_in_unchanged(store, version) -> None:
    entries = history(version)
    assert import_history(store, entries).what == "new"
    assert store.entries("version-01") == entries
    assert verify(store).faults == ()
    assert history_json(store, "version-01") == (FOLDER / f"{version}.json").read_text(encoding="utf-8")
