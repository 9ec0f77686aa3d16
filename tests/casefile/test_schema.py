"""The JSON Schema of a case file, held against the reader by a validator that is not ours (jsonschema)."""

from __future__ import annotations

import datetime
import tomllib
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from pathway.casefile import read_case
from pathway.casefile.schema import case_schema
from pathway.children import examples
from tests.plans import rules

ON = datetime.date(2026, 11, 25)
SCHEMA = case_schema(rules())
CHECK = Draft202012Validator(SCHEMA, format_checker=Draft202012Validator.FORMAT_CHECKER)
CHILD = '[child]\nid = "a-1"\ndate_of_birth = 2020-01-01\nsex = "girl"\naffected_side = "left"\ndiagnosis = "{}"\n'
HEAD = "schema_version = 1\n" + CHILD.format("congenital_short_femur")
VISIT = '[[visit]]\ndate = 2026-01-01\nmethod = "examination"\n'


def as_editors_see(value: Any) -> Any:
    """Return TOML as JSON: days are texts."""
    if isinstance(value, dict):
        return {key: as_editors_see(item) for key, item in value.items()}
    if isinstance(value, list):
        return [as_editors_see(item) for item in value]
    return value.isoformat() if isinstance(value, datetime.date) else value


def faults(text: str) -> list[str]:
    return [error.message for error in CHECK.iter_errors(as_editors_see(tomllib.loads(text)))]


def test_it_is_a_schema_with_a_name_of_its_own() -> None:
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$id"].startswith("urn:limb-pathway:")


@pytest.mark.parametrize("name", examples.names())
def test_every_example_child_keeps_to_it(name: str) -> None:
    assert faults(examples.text(name)) == []


def test_every_property_is_described() -> None:
    def walk(schema: dict[str, Any], path: str) -> list[str]:
        bare = []
        for name, inner in schema.get("properties", {}).items():
            bare += [f"{path}.{name}"] if not inner.get("description") else []
            bare += walk(inner, f"{path}.{name}")
        for inner in (*schema.get("anyOf", ()), *([schema["items"]] if "items" in schema else [])):
            bare += walk(inner, path)
        return bare

    assert walk(SCHEMA, "") == []


@pytest.mark.parametrize(
    "text",
    [
        HEAD.replace("schema_version = 1", "schema_version = 2"),
        HEAD.replace("a-1", "A Name"),
        HEAD.replace("girl", "woman"),
        HEAD.replace("congenital_short_femur", "short"),
        HEAD.replace("sex", "gender"),
        f"{HEAD}{VISIT}[visit.left]\nfemur_length = 20\n",
        f"{HEAD}{VISIT}[visit.left]\nfemur_length_mm = 2\n",
        f'{HEAD}{VISIT}[visit.left]\nhip_joint = "loose"\n',
        f"{HEAD}{VISIT}[visit.middle]\n",
        f"{HEAD}{VISIT}[visit.left]\nfemur_length_mm = {{ not_measured = true }}\n",
        f'{HEAD}[[operation]]\nkind = "none"\ndate = 2026-01-01\nside = "left"\n',
        f'{HEAD}[[decision]]\ndate = 2026-01-01\nby = "nurse"\nkind = "prefer"\n',
        f'{HEAD}[[operation]]\nkind = "femoral_lengthening"\ndate = 2026-01-01\nside = "left"\nachieved_mm = 700\n',
        f'{HEAD}[[decision]]\ndate = 2026-01-01\nby = "family"\nkind = "at_most_lengthenings"\nnumber = 12\n',
        f'{HEAD}[[decision]]\ndate = 2026-01-01\nby = "family"\nkind = "lift_at_most"\nmm = 400\n',
        f"{HEAD}{VISIT}skeletal_age_years = 40\n",
        f'{HEAD}[calendar]\noperating_weekdays = ["Monday"]\n',
    ],
)
def test_what_it_refuses_the_reader_refuses_too(text: str) -> None:
    assert faults(HEAD) == []
    assert faults(text)
    assert isinstance(read_case(text, "a.toml", rules(), ON), tuple)
