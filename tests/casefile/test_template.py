"""A case file to be filled in: it asks for what is missing, takes what is filled in, and holds no value by itself."""

from __future__ import annotations

import datetime
import tomllib

import pytest

from pathway.casefile import read_case
from pathway.casefile.template import Given, case_template
from pathway.problems import Problem
from pathway.protocol.model import FindingRule
from pathway.record import Record
from tests.plans import rules

ON = datetime.date(2026, 11, 25)
WHOLE = Given("pine-01", datetime.date(2020, 3, 1), "girl", "left", "congenital_short_femur")


def template(given: Given = WHOLE) -> str:
    return case_template(given, rules(), ON, "file:///case-file.json")


def test_with_all_that_is_needed_it_is_read_as_a_child_without_findings() -> None:
    record = read_case(template(), "pine-01.toml", rules(), ON)
    assert isinstance(record, Record)
    assert record.child.diagnosis == "congenital_short_femur"
    assert not (record.visits or record.operations or record.decisions)


def test_what_is_missing_is_asked_for_by_name_and_nothing_else() -> None:
    found = read_case(template(Given("pine-01")), "pine-01.toml", rules(), ON)
    assert isinstance(found, tuple)
    assert [fault.key for fault in found] == [
        "child.date_of_birth", "child.sex", "child.affected_side", "child.diagnosis",
    ]  # fmt: skip
    assert all(isinstance(fault, Problem) and fault.remedy for fault in found)


def test_a_field_that_is_opened_and_left_empty_is_refused_not_guessed() -> None:
    lines = [line for line in template(Given("pine-01")).splitlines() if line.startswith("# ") and " =" in line]
    empty = [line for line in lines if line.split("=", 1)[1].split("#")[0].strip() == ""]
    assert len(empty) > 90
    for line in empty:
        with pytest.raises(tomllib.TOMLDecodeError):
            tomllib.loads(line.removeprefix("# "))


def sample(rule: FindingRule) -> str:
    if rule.kind == "number":
        assert rule.plausible is not None
        return f"{sum(rule.plausible) / 2:g}"
    return f'"{rule.choices[-1]}"' if rule.kind == "choice" else "true"


def test_every_finding_of_the_rules_stands_there_and_is_taken_once_filled_in() -> None:
    text, entered = template(), 0
    for rule in rules().findings:
        if rule.derived or rule.id == "skeletal_age_years":
            continue
        line = next(line for line in text.splitlines() if line.startswith(f"# {rule.id} ="))
        place = "left" if rule.of == "limb" else "child"
        filled = line.removeprefix("# ").replace(" =", f" = {sample(rule)}", 1)
        head = f'[[visit]]\ndate = {ON}\nmethod = "examination"\n[visit.{place}]\n{filled}\n'
        record = read_case(text + head, "pine-01.toml", rules(), ON)
        assert isinstance(record, Record), record
        entered += len(record.visits[0].measurements)
    assert entered >= len([rule for rule in rules().findings if not rule.derived]) - 1


def test_no_line_is_wider_than_a_window() -> None:
    assert max(len(line) for line in template(Given("pine-01")).splitlines()) <= 120
