"""The dictionary of a table: every column, and every finding with unit, range, error and sources, as the rules say."""

from __future__ import annotations

import json

import pytest

from pathway.protocol.load import load_protocol
from pathway.tables.tidy.dictionary import PROFILE, dictionary
from pathway.tables.tidy.fields import KINDS, fields_of
from pathway.views.words.caution import CAUTION
from tests.examples import NAMES
from tests.tables.tidy.made import accepted, of_name, rows

TYPES = {"string", "number", "integer", "boolean", "date"}


def made(kind, dates: bool = True) -> dict:
    return json.loads(json.dumps(dictionary(kind, load_protocol(), dates=dates, caution=CAUTION)))


@pytest.mark.parametrize("dates", [True, False])
@pytest.mark.parametrize("kind", KINDS)
def test_it_is_a_table_schema_of_the_columns_in_their_order(kind, dates: bool) -> None:
    schema = made(kind, dates)
    assert schema["$schema"] == PROFILE
    assert [field["name"] for field in schema["fields"]] == [field.name for field in fields_of(kind, dates=dates)]
    assert all(field["type"] in TYPES and field["title"] and field["description"] for field in schema["fields"])
    assert schema["missingValues"] == [""]
    assert CAUTION in schema["description"]
    for key in schema.get("uniqueKeys", []):
        assert set(key) <= {field["name"] for field in schema["fields"]}


@pytest.mark.parametrize("kind", KINDS)
def test_what_stands_in_a_table_is_what_its_dictionary_allows(kind) -> None:
    fields = {field["name"]: field for field in made(kind)["fields"]}
    seen = 0
    for name in NAMES:
        for row in rows(kind, of_name(name, accepted(name)) if name == "rowan-02" else of_name(name), dates=True):
            seen += 1
            for column, value in row.items():
                limits = fields[column].get("constraints", {})
                assert value is not None or not limits.get("required"), (kind, column)
                if value is not None and "enum" in limits:
                    assert value in limits["enum"], (kind, column)
                if value is not None and "minimum" in limits:
                    assert value >= limits["minimum"], (kind, column)
    assert seen > 0


def test_every_finding_that_can_be_entered_is_told_as_the_rules_have_it() -> None:
    protocol, told = load_protocol(), {one["id"]: one for one in made("visits")["findings"]}
    entered = {rule.id: rule for rule in protocol.findings if not rule.derived or rule.id == "skeletal_age_years"}
    assert set(told) == set(entered)
    for id, rule in entered.items():
        assert told[id]["label"] == rule.label
        assert told[id].get("unit", "") == rule.unit
        assert told[id].get("plausible") == (list(rule.plausible) if rule.plausible else None)
        assert told[id].get("choices", []) == list(rule.choices)
        assert told[id]["sources"] == list(rule.sources)


def test_every_source_that_a_finding_cites_stands_there_with_its_citation() -> None:
    schema = made("visits")
    cited = {source for one in schema["findings"] for source in one["sources"]}
    known = {source.id: source.citation for source in load_protocol().sources}
    assert {one["id"]: one["title"] for one in schema["sources"]} == {source: known[source] for source in cited}


def test_units_have_their_codes() -> None:
    fields = {field["name"]: field for field in made("stages")["fields"]}
    assert (fields["amount_mm"]["unit"], fields["amount_mm"]["unitCode"]) == ("mm", "mm")
    assert fields["age_years"]["unitCode"] == "a"


def test_a_clinics_own_finding_is_in_it_without_a_change_of_the_program() -> None:
    protocol = load_protocol()
    own = protocol.finding("tibia_length_mm").model_copy(update={"id": "heel_height_mm", "label": "height of the heel"})
    theirs = protocol.model_copy(update={"findings": (*protocol.findings, own)})
    schema = dictionary("visits", theirs, dates=False, caution=CAUTION)
    finding = next(field for field in schema["fields"] if field["name"] == "finding")
    assert "heel_height_mm" in finding["constraints"]["enum"]
