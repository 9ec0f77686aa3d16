"""All children of a clinic together: what is told of many, what is not told of few, and that nobody is ranked."""

from __future__ import annotations

import datetime
import json
import re

import numpy as np
import pytest

from pathway.protocol.load import load_protocol
from pathway.record import Operation, Visit
from pathway.results.child import known_of
from pathway.results.clinic import Clinic, Results
from pathway.views.documents.results import results_document
from pathway.views.documents.terminal import document_text
from tests.examples import example, example_plan
from tests.results.test_child import LATER, NAME, accepted, as_kept, at_point, bare, filmed

PROTOCOL = load_protocol()
LEAST = round(PROTOCOL.number("results_least_children"))


def clinic(children: int, off_mm: float = 0.0, spread_mm: float = 4.0) -> Results:
    """Return the results of copies of an example, each seen twice with a difference of its own from the plan."""
    plan, rng = bare(example_plan(NAME)), np.random.default_rng(children)
    made = Clinic(PROTOCOL, each=True)
    for number in range(children):
        own = off_mm + spread_mm * rng.standard_normal()
        visits = [filmed(example(NAME), *at_point(plan, place, own)) for place in (3, 5)]
        record = example(NAME)
        child = record.child.model_copy(update={"id": f"child-{number:03}"})
        whole = record.model_copy(update={"child": child, "visits": (*record.visits, *visits)})
        made.add(known_of(whole, (accepted(as_kept(plan)),), PROTOCOL, LATER))
    return made.results()


def text(found: Results, width: int = 100) -> str:
    return document_text(results_document(found, LATER), width)


def test_of_three_children_no_rate_is_told_only_counts_and_what_they_leave_open() -> None:
    found = clinic(3)
    whole = found.predicted[0]
    assert (whole.children, whole.visits) == (3, 6)
    assert whole.off_mm.mean is whole.off_mm.low is whole.off_mm.found is None
    assert whole.within_90.per_100 is None
    # None of three outside still leaves it open that two in three lie outside.
    assert whole.within_90.low < 40
    said = text(found)
    assert "Too few children for a rate" in said
    assert f"fewer than {LEAST}" in said
    rates = re.findall(r"\d+ of 100 \(", said.split("Intervals hold", 1)[1])
    assert rates == []


def all_numbers_but_counts(found: Results) -> list[str]:
    """Return the fields of all results that hold a rate or a mean."""
    held: list[str] = []

    def walk(value: object, at: str) -> None:
        if isinstance(value, dict):
            for name, one in value.items():
                walk(one, f"{at}.{name}")
        elif isinstance(value, list):
            for one in value:
                walk(one, at)
        elif value is not None and at.rpartition(".")[2] in ("per_100", "mean", "median", "least_per_100"):
            held.append(at)

    walk(json.loads(found.model_dump_json()), "")
    return held


@pytest.mark.parametrize("children", [1, 3, LEAST - 1])
def test_no_field_of_a_small_clinic_holds_a_rate_a_mean_or_a_median(children: int) -> None:
    assert all_numbers_but_counts(clinic(children)) == []


def test_of_enough_children_they_are_told() -> None:
    assert ".predicted.off_mm.mean" in all_numbers_but_counts(clinic(LEAST))


def test_a_clinic_whose_films_all_read_too_much_is_told_by_how_much() -> None:
    found = clinic(40, off_mm=9.0)
    off = found.predicted[0].off_mm
    assert off.found
    assert off.low is not None
    assert off.high is not None
    assert off.low < 9.0 < off.high
    row = text(found).split("\nall ", 1)[1].partition("\nbetween")[0]
    assert row.count("*") == 1


def test_visits_of_the_same_children_prove_no_more_than_the_children() -> None:
    once, plan = clinic(12), bare(example_plan(NAME))
    made = Clinic(PROTOCOL)
    rng = np.random.default_rng(12)
    for _ in range(12):
        own = 4.0 * rng.standard_normal()
        visits = [filmed(example(NAME), *at_point(plan, place, own)) for place in (3, 4, 5, 6, 7, 8)]
        record = example(NAME)
        whole = record.model_copy(update={"visits": (*record.visits, *visits)})
        made.add(known_of(whole, (accepted(as_kept(plan)),), PROTOCOL, LATER))
    often = made.results()
    assert (once.predicted[0].visits, often.predicted[0].visits) == (24, 72)
    for few, many in ((once.predicted[0].off_mm, often.predicted[0].off_mm),):
        assert few.high is not None
        assert few.low is not None
        assert many.high is not None
        assert many.low is not None
        assert many.high - many.low == pytest.approx(few.high - few.low, rel=0.05)


def test_nobody_who_operates_or_enters_is_named_and_nothing_is_grouped_by_a_person() -> None:
    found = clinic(12)
    assert {one.of for one in found.predicted} <= {"all", "between", "age at the visit", "sex", "diagnosis"}
    assert not re.search(r"surgeon [a-z]*\d|by whom|operator", text(found))
    assert "never of one person" in " ".join(text(found).split())


def test_operations_without_an_accepted_plan_are_counted_and_held_against_nothing() -> None:
    made = Clinic(PROTOCOL)
    record = example("hazel-08")
    assert record.operations
    made.add(known_of(record, (), PROTOCOL, LATER))
    found = made.results()
    assert (found.children, found.accepted, found.predicted, found.harms) == (1, 0, (), ())
    assert sum(one.lengthenings for one in found.lengthenings) > 0
    assert found.waits.waiting == 0


def test_without_an_accepted_plan_it_is_said_how_to_begin() -> None:
    made = Clinic(PROTOCOL)
    made.add(known_of(example("elm-01"), (), PROTOCOL, LATER))
    said = " ".join(text(made.results()).split())
    assert "No plan was accepted yet" in said
    assert "limb-pathway accept CASE" in said


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_is_wider_than_the_terminal(width: int) -> None:
    assert [line for line in text(clinic(LEAST), width).splitlines() if len(line) > width] == []


def test_events_of_lengthenings_stand_beside_what_the_accepted_plans_stated() -> None:
    plan = example_plan("rowan-02")
    stage = plan.stage("femoral_lengthening_1")
    assert stage.date is not None
    stated = next(one for one in stage.harms if one.id == "stage_harm.lengthening.hip")
    made = Clinic(PROTOCOL)
    for number in range(20):
        record = example("rowan-02")
        done = Operation(
            kind=stage.kind,
            date=stage.date,
            side="left",
            achieved_mm=(stage.amount_mm or 0) - 5 - 0.1 * number,
            device_removed=stage.date + datetime.timedelta(days=300),
            complications=("hip_subluxation",) if number < 15 else (),
        )
        seen = Visit(date=stage.date + datetime.timedelta(days=500 if number < 18 else 100), method="examination")
        whole = record.model_copy(update={"operations": (*record.operations, done), "visits": (*record.visits, seen)})
        made.add(known_of(whole, (accepted(as_kept(plan)),), PROTOCOL, LATER))
    found = made.results()
    hip = next(one for one in found.harms if one.harm == stated.id)
    assert (hip.came.count, hip.came.of, hip.left, hip.left_with_event) == (15, 18, 2, 0)
    assert (hip.stated_per_100, hip.stated_low, hip.stated_high) == (stated.per_100, stated.low, stated.high)
    assert hip.found
    (lengthened,) = (one for one in found.lengthenings if one.kind == stage.kind)
    assert lengthened.gain_off_mm.mean == pytest.approx(-5.95)
    assert lengthened.gain_off_mm.found
    assert [(one.complication, one.operations) for one in found.events if one.complication == "hip_subluxation"] == [
        ("hip_subluxation", 15)
    ]
