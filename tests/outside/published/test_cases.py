"""Published courses of treatment: the plan has the same class and the same order of stages, or says why not."""

from __future__ import annotations

import datetime
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.offenders import for_each
from tests.sample import HEALTHY, LEGS, at_age, child, visit

CASES: list[dict[str, Any]] = tomllib.loads((Path(__file__).parent / "cases.toml").read_text(encoding="utf-8"))["case"]
PROTOCOL = load_protocol()


def plan_of(case: dict[str, Any]) -> Plan:
    seen = at_age(case["age_years"])
    known = {**HEALTHY, **dict(zip(LEGS, map(float, case["legs"]), strict=True)), **case.get("findings", {})}
    record = child(visit(seen, known), diagnosis=case["diagnosis"], sex=case["sex"])
    return make_plan(Question(record, PROTOCOL, seen + datetime.timedelta(days=14)), compared=False)


def order_of(plan: Plan) -> list[str]:
    """The dated operations in order, removal of implants and devices aside: courses in print leave it out."""
    return [s.kind for s in plan.stages if s.date is not None and s.operation and not s.kind.endswith("_removal")]


@cache
def plans() -> dict[str, Plan]:
    """Every case's plan: made when it is first asked for, not when the tests are only listed."""
    return {case["id"]: plan_of(case) for case in CASES}


def cases_with(key: str) -> list[dict[str, Any]]:
    return [case for case in CASES if key in case]


@for_each(CASES)
def test_a_case_cites_its_source_and_names_nobody(case: dict[str, Any]) -> None:
    assert len(case["source"]) > 20
    assert len(case["printed"]) > 20
    assert {PROTOCOL.stage(kind).id for kind in case["done"]} == set(case["done"])


@for_each(CASES)
def test_the_child_as_entered_has_the_printed_difference_at_maturity(case: dict[str, Any]) -> None:
    at = plans()[case["id"]].growth.at_maturity
    assert at is not None
    assert at.discrepancy_mm.p50 == pytest.approx(case["predicted_mm"], abs=3)


@for_each(CASES)
def test_the_order_of_stages_is_the_printed_one_or_the_difference_is_explained(case: dict[str, Any]) -> None:
    order = order_of(plans()[case["id"]])
    if "differs" in case:
        assert order == case["ours"]
        assert order != case["done"], "the same order needs no explanation"
        assert len(case["differs"].split()) > 5
    else:
        assert order == case["done"]


@for_each(cases_with("classes"))
def test_the_class_is_the_printed_one(case: dict[str, Any]) -> None:
    found = {item.system: item.type for item in plans()[case["id"]].classification}
    assert {scheme: found[scheme] for scheme in case["classes"]} == case["classes"]


@for_each(cases_with("offers"))
def test_what_was_done_instead_is_offered_without_a_date(case: dict[str, Any]) -> None:
    undated = {stage.kind for stage in plans()[case["id"]].stages if stage.date is None}
    assert set(case["offers"]) <= undated


@for_each(cases_with("cautions"))
def test_what_went_wrong_in_print_is_said(case: dict[str, Any]) -> None:
    texts = [caution.text for caution in plans()[case["id"]].cautions]
    assert all(any(words in text for text in texts) for words in case["cautions"])


@for_each(cases_with("gates"))
def test_the_gate_that_was_missed_in_print_is_asked(case: dict[str, Any]) -> None:
    asked = {gate.id for stage in plans()[case["id"]].stages for gate in stage.gates}
    assert set(case["gates"]) <= asked


def test_ours_beside_the_printed_courses_is_in_step() -> None:
    """The page that shows both was written from today's plans: `python -m tests.outside.published.beside` writes it."""
    from tests.outside.published.beside import beside

    assert (Path(__file__).parent / "beside.md").read_text(encoding="utf-8") == beside()
