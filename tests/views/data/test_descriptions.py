"""Every property of the JSON that is printed and read says in its schema what it is, its unit, and what null means."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from importlib import resources
from typing import Any

import jsonschema
import pytest
from pydantic import TypeAdapter

from pathway.record import Frozen
from pathway.views.data.described import LIKE, described, descriptions, table_of
from pathway.views.data.shapes import CASE_FILE, SHAPES, schema_text

UNITS = {"_mm": "mm", "_deg": "degrees", "_years": "year", "_months": "month", "_days": "day", "_percent": "percent"}
OF_THE_NAME = re.compile(r"(over|within)_\d+_(mm|percent)(_of_100)?$")
"""Fields whose name holds a limit: what they count has another unit."""
COUNTED = {"0", "1", "5", "25", "75", "90", "95", "100", "256", "25519"}
"""Ends of chances, percentiles, shares of a hundred, hashes and keys: no clinical numbers."""


def shipped(name: str) -> dict[str, Any]:
    file = resources.files("pathway.views.data").joinpath("schema", f"{name}.json")
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return found


def properties(schema: object, at: str = "") -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield every property of a schema at any depth, with where it stands and its name."""
    if isinstance(schema, dict):
        held = schema.get("properties")
        if isinstance(held, dict) and not at.endswith("/properties"):
            for name, one in held.items():
                yield f"{at}/{name}", name, one
        for key, value in schema.items():
            yield from properties(value, f"{at}/{key}")
    elif isinstance(schema, list):
        for number, value in enumerate(schema):
            yield from properties(value, f"{at}/{number}")


def may_be_null(schema: object) -> bool:
    """Return whether null is allowed somewhere in a value, but for what it refers to."""
    if isinstance(schema, dict):
        return schema.get("type") == "null" or any(may_be_null(value) for value in schema.values())
    return isinstance(schema, list) and any(may_be_null(value) for value in schema)


def fields() -> Iterator[tuple[str, str, str]]:
    """Yield verb, class and field of all that is printed."""
    for verb, shape in SHAPES.items():
        made = TypeAdapter(shape).json_schema(mode="serialization")
        for name, one in ((str(made.get("title", "")), made), *made.get("$defs", {}).items()):
            for field in one.get("properties", {}):
                yield verb, name, field


LINES = [
    (table, field, text) for table, held in descriptions().items() for field, text in held.items() if field != LIKE
]


@pytest.mark.parametrize("name", [*SHAPES, CASE_FILE])
def test_every_property_at_any_depth_is_described(name: str) -> None:
    found = list(properties(shipped(name)))
    assert found
    assert [at for at, _, one in found if not one.get("description", "").strip()] == []


@pytest.mark.parametrize("name", SHAPES)
def test_a_property_that_may_be_null_says_what_null_means_and_no_other_speaks_of_it(name: str) -> None:
    wrong = [at for at, _, one in properties(shipped(name)) if may_be_null(one) != ("null" in one["description"])]
    assert wrong == []


@pytest.mark.parametrize("name", SHAPES)
def test_a_unit_in_the_name_stands_in_the_sentence(name: str) -> None:
    for at, field, one in properties(shipped(name)):
        ends = [unit for end, unit in UNITS.items() if field.endswith(end) and not OF_THE_NAME.search(field)]
        assert all(unit in one["description"].lower() for unit in ends), at


def test_no_line_is_stale() -> None:
    used = {(table_of(verb, name, field, descriptions()), field) for verb, name, field in fields()}
    assert [line[:2] for line in LINES if line[:2] not in used] == []


def test_a_class_is_like_one_that_is_described() -> None:
    texts = descriptions()
    like = {table: held[LIKE] for table, held in texts.items() if LIKE in held}
    assert like
    assert [table for table, other in like.items() if other not in texts] == []
    assert set(like) <= {name for _, name, _ in fields()}


def test_sentences_are_short_and_without_clinical_numbers() -> None:
    for table, field, text in LINES:
        assert re.match(r"^[A-Z+]", text) and text.endswith("."), (table, field)
        assert ". " not in text, (table, field, "one sentence")
        assert len(text) < 400, (table, field)
        assert set(re.findall(r"\d+", text)) <= COUNTED, (table, field)


def test_nothing_is_said_twice_that_is_said_of_every_class() -> None:
    texts = descriptions()
    every = texts["*"]
    assert [line[:2] for line in LINES if line[0] != "*" and every.get(line[1]) == line[2]] == []


class Limb(Frozen):
    """A class as models are."""

    side: str
    length_mm: float


class Child(Frozen):
    """A class that holds another one."""

    limb: Limb
    side: str


TEXTS = {
    "*": {"side": "Of every class."},
    "Limb": {"length_mm": "Of the class."},
    "Child": {LIKE: "Limb", "limb": "The limb."},
    "walk/Limb": {"length_mm": "Of the verb."},
}


def texts_in(verb: str) -> dict[str, str]:
    made = described(verb, TypeAdapter(Child).json_schema(mode="serialization"), TEXTS)
    jsonschema.Draft202012Validator.check_schema(made)
    return {f"{at}": one.get("description", "") for at, _, one in properties(made)}


def test_the_line_of_a_class_wins_over_that_of_all_and_that_of_a_verb_over_both() -> None:
    assert texts_in("plan") == {
        "/limb": "The limb.",
        "/side": "Of every class.",
        "/$defs/Limb/side": "Of every class.",
        "/$defs/Limb/length_mm": "Of the class.",
    }
    assert texts_in("walk")["/$defs/Limb/length_mm"] == "Of the verb."


def test_what_a_model_says_itself_stays() -> None:
    schema = {"title": "Limb", "properties": {"side": {"type": "string", "description": "By the model."}}}
    assert described("plan", schema, TEXTS)["properties"]["side"]["description"] == "By the model."


def test_beside_a_reference_the_property_is_described_and_still_checked() -> None:
    growth = shipped("growth")
    assert growth["properties"]["growth"]["$ref"] and growth["properties"]["growth"]["description"]
    assert not jsonschema.Draft202012Validator(growth).is_valid({"growth": {}, "caution": ""})


def told(name: str, shape: str, field: str) -> str:
    schema = json.loads(schema_text(name))
    one = schema if shape == "" else schema["$defs"][shape]
    return str(one["properties"][field]["description"])


def test_two_classes_of_one_name_are_told_apart() -> None:
    assert "how likely" in told("alternatives", "Turn", "chance").lower()
    assert "difference at maturity" in told("alternatives", "Turn", "what")
    assert "risks" in told("programme", "Turn", "what")


def test_what_is_said_of_a_plan_is_said_of_a_plan_with_worksheets() -> None:
    assert told("plan", "PlanWithSheets", "firmness") == told("plan", "Plan", "firmness")


def test_which_leg_is_longer_follows_from_the_sign() -> None:
    assert "below 0 the treated leg is the longer" in told("plan", "Course", "median_residual_mm")
    assert told("timeline", "AgePoint", "discrepancy_mm").startswith("Long leg less short leg")


def test_what_usually_happens_and_what_happens_if_every_step_works_are_kept_apart() -> None:
    for field in ("operations", "device_months", "residual_mm", "adult_height_lost_mm"):
        assert "if every step works" in told("plan", "IfEveryStepWorks", field)
    for shape, field in (
        ("Usually", "planned_operations"),
        ("Expected", "operations"),
        ("Course", "chance_within_10_mm"),
    ):
        assert "every step works" not in told("plan", shape, field)


def test_the_caution_is_to_be_shown_with_what_is_taken() -> None:
    for verb in ("growth", "programme", "timeline", "prerequisites", "family", "sources", "followup", "children"):
        assert "to be shown with anything taken from here" in told(verb, "", "caution")
