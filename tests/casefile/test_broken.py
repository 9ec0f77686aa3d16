"""Each file of tests/data/broken is faulty in one way and gives exactly the sentences of expected.toml."""

from __future__ import annotations

import datetime
import tomllib
from pathlib import Path

import pytest

from pathway.casefile import read_case
from pathway.record import Record

BROKEN = Path(__file__).parents[1] / "data" / "broken"
EXPECTED = tomllib.loads((BROKEN / "expected.toml").read_text(encoding="utf-8"))
READ_ON = datetime.date(2027, 10, 1)


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_a_broken_file_gives_its_sentences_in_the_order_of_its_lines(name, protocol) -> None:
    text = (BROKEN / name).read_text(encoding="utf-8")
    answer = read_case(text, name, protocol, on=READ_ON)
    assert not isinstance(answer, Record), "a broken file was read as sound"
    assert [fault.sentence for fault in answer] == EXPECTED[name]


def test_every_broken_file_has_its_expected_sentences() -> None:
    files = {path.name for path in BROKEN.glob("*.toml")} - {"expected.toml"}
    assert files == set(EXPECTED)
    assert all(EXPECTED.values())


@pytest.mark.parametrize("name", ["visit_after_today.toml", "operation_after_today.toml"])
def test_without_a_day_of_reading_no_day_is_in_the_future(name, protocol) -> None:
    text = (BROKEN / name).read_text(encoding="utf-8")
    assert isinstance(read_case(text, name, protocol), Record)
