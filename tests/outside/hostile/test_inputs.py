"""Thousands of files with things wrong in them at every door: each is taken in or refused with its place, in no time.

What mutations there are is the tests' own judgement; the counts are those asked of the program.
"""

from __future__ import annotations

import datetime
import json
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from pathway.casefile import case_text, read_case
from pathway.children.case_files import text_of
from pathway.children.resolve import RegistryAt, locate, read
from pathway.cli.exports import _previous
from pathway.cli.followup import _read as events_of
from pathway.cli.registry.lengths import _bundle
from pathway.exports.fhir.read import pseudonym_of, read_lengths
from pathway.files.reading import read_text
from pathway.files.rules import rules_folder
from pathway.plain_text import hidden_in
from pathway.problems import Refused
from pathway.protocol.load import load_protocol
from pathway.record import Record
from pathway.registry.exchange import check_history, history_json, import_record, read_history
from pathway.registry.store import open_registry
from tests.examples import ON, example
from tests.exports.made import STAMP, bundle, entries, file_of
from tests.outside.hostile.mutated import mutated_json, mutated_text
from tests.protocol.test_overlay import NO_THERAPY, REST, STRICTER

MOST_SECONDS = 5.0
"""What no file may take, however made: a file that hangs the program is found by it, not a slow machine."""
PARTS = 10
NOW = datetime.datetime(2026, 11, 25, 12, tzinfo=datetime.UTC)
PROTOCOL = load_protocol()
CASES = tuple(
    file.read_text(encoding="utf-8")
    for file in sorted((Path(__file__).parents[3] / "example_patients").glob("[a-z]*.toml"))
)
FRAGMENT = """[[visit]]
date = 2026-11-20
method = "standing_full_length_film"
note = "Walks well."
  [visit.left]
  femur_length_mm = 290
  tibia_length_mm = 280
  [visit.right]
  femur_length_mm = 350
  tibia_length_mm = 300

[[decision]]
date = 2026-11-20
by = "family"
kind = "decline"
stage = "growth_arrest"
reason = "Not now."
"""


def all_refused_or_taken(file: Path, texts: list[bytes], opened: Callable[[Path], object]) -> Counter[str]:
    """Open a file with each text in turn; return how many were `taken` and `refused`."""
    came: Counter[str] = Counter()
    for number, text in enumerate(texts):
        file.write_bytes(text)
        began = time.perf_counter()
        try:
            opened(file)
            came["taken"] += 1
        except Refused as error:
            came["refused"] += 1
            for problem in error.problems:
                assert problem.place, f"number {number}: {problem}"
            assert hidden_in(str(error)) is None, f"number {number}: {error!s:.200}"
        assert time.perf_counter() - began < MOST_SECONDS, f"number {number}"
    return came


@pytest.mark.parametrize("part", range(PARTS))
def test_three_thousand_case_files(part: int, tmp_path: Path) -> None:
    file = tmp_path / "child.toml"

    def opened(path: Path) -> Record:
        record = read(locate(path, RegistryAt()), PROTOCOL, ON).record
        assert read_case(case_text(record), "again", PROTOCOL, ON) == record
        return record

    texts = [mutated_text(CASES[n % len(CASES)], n) for n in range(part * 300, part * 300 + 300)]
    came = all_refused_or_taken(file, texts, opened)
    assert came["refused"] > 150 and came["taken"] > 10, came


@pytest.mark.parametrize("part", range(PARTS))
def test_five_hundred_overlays(part: int, tmp_path: Path) -> None:
    text = STRICTER + NO_THERAPY + REST
    texts = [mutated_text(text, n) for n in range(part * 50, part * 50 + 50)]
    came = all_refused_or_taken(tmp_path / "own.toml", texts, lambda file: load_protocol(rules_folder(file.parent)))
    assert came["refused"] > 20, came


def test_five_hundred_bundles(tmp_path: Path) -> None:
    methods = {one.id for one in PROTOCOL.methods}

    def opened(file: Path) -> object:
        made = _bundle(file)
        reading = read_lengths(made, str(file), methods, "", pseudonym_of(made))
        if reading.faults:
            raise Refused(*reading.faults)
        return reading

    text = json.dumps(bundle("rowan-02"))
    came = all_refused_or_taken(tmp_path / "b.json", [mutated_json(text, n) for n in range(500)], opened)
    assert came["refused"] > 50 and came["taken"] > 50, came


def test_five_hundred_histories(tmp_path: Path) -> None:
    with open_registry(str(tmp_path / "r.db"), create=True) as store:
        import_record(store, example("rowan-02"), who="ward-3", when=STAMP)
        text = history_json(store, "rowan-02")
    file = tmp_path / "history.json"

    def opened(path: Path) -> object:
        found = read_history(read_text(path, "a history (JSON)", 200_000_000), str(path))
        check_history(found, str(path), PROTOCOL, ON, NOW)
        return found

    came = all_refused_or_taken(file, [mutated_json(text, n) for n in range(500)], opened)
    assert came["refused"] > 400, came
    file.write_text(text, encoding="utf-8")
    assert opened(file)


def test_two_hundred_calendars(tmp_path: Path) -> None:
    text = file_of(entries("rowan-02")).decode("utf-8")
    texts = [mutated_text(text, n) for n in range(200)]
    came = all_refused_or_taken(tmp_path / "c.ics", texts, _previous)
    assert came["refused"] > 20, came


def test_two_hundred_fragments(tmp_path: Path) -> None:
    record = example("willow-03")
    texts = [mutated_text(FRAGMENT, n) for n in range(200)]
    came = all_refused_or_taken(
        tmp_path / "f.toml", texts, lambda file: events_of(text_of(file), record, PROTOCOL, ON, str(file))
    )
    assert came["refused"] > 60, came
