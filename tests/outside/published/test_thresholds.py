"""Every threshold of the gathered literature stands in a rule with its source, or says why it is left out."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from pathway.protocol.load import load_protocol
from tests.offenders import for_each

TABLE: dict[str, Any] = tomllib.loads((Path(__file__).parent / "thresholds.toml").read_text(encoding="utf-8"))
ROWS: list[dict[str, Any]] = TABLE["row"]
CODED = [row for row in ROWS if "left_out" not in row]
LEFT_OUT = [row for row in ROWS if "left_out" in row]
PROTOCOL = load_protocol()
KNOWN = {
    item.id: item
    for group in (
        PROTOCOL.rules(),
        PROTOCOL.findings,
        PROTOCOL.stages,
        PROTOCOL.classifications,
        PROTOCOL.disagreements,
    )
    for item in group
}
"""Everything of the protocol that may carry a threshold, by id."""
WORDS = {"id", "sources", "provenance", "strength"}


def name_of(row: dict[str, Any]) -> str:
    return f"{row['list']}-{row['id']}"


def leaves(value: object, name: str = "") -> Iterator[tuple[str, object]]:
    if isinstance(value, dict):
        for key, part in value.items():
            yield from leaves(part, key)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from leaves(part, name)
    else:
        yield name, value


def numbers_of(ids: list[str]) -> set[float]:
    found = (value for id in ids for _, value in leaves(KNOWN[id].model_dump()))
    return {float(value) for value in found if isinstance(value, int | float) and not isinstance(value, bool)}


def words_of(ids: list[str]) -> str:
    found = (value for id in ids for name, value in leaves(KNOWN[id].model_dump()) if name not in WORDS)
    return "\n".join(value for value in found if isinstance(value, str))


def test_every_gathered_rule_has_its_row_and_no_row_stands_twice() -> None:
    drafts = [row["id"] for row in ROWS if row["list"] == "draft"]
    assert sorted(drafts) == sorted(TABLE["drafts"])
    assert len(TABLE["drafts"]) == 167
    ids = [(row["list"], row["id"]) for row in ROWS]
    assert len(ids) == len(set(ids))


@for_each(ROWS, name=name_of)
def test_a_row_says_what_is_printed_and_where(row: dict[str, Any]) -> None:
    assert len(row["printed"]) > 8
    assert len(row["source"]) > 10


@for_each(CODED, name=name_of)
def test_the_rules_of_a_row_exist(row: dict[str, Any]) -> None:
    assert row["rules"]
    assert [id for id in row["rules"] if id not in KNOWN] == []


@for_each([row for row in CODED if "numbers" in row], name=name_of)
def test_the_numbers_of_a_row_stand_in_its_rules(row: dict[str, Any]) -> None:
    assert {float(number) for number in row["numbers"]} <= numbers_of(row["rules"])


@for_each([row for row in CODED if "says" in row], name=name_of)
def test_the_words_of_a_row_stand_in_its_rules(row: dict[str, Any]) -> None:
    text = words_of(row["rules"])
    assert [words for words in row["says"] if words not in text] == []


@for_each(LEFT_OUT, name=name_of)
def test_what_is_left_out_says_why(row: dict[str, Any]) -> None:
    assert len(row["left_out"].split()) >= 3
    assert "rules" not in row
