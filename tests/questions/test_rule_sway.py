"""What hangs on rules of judgement and memory: the kept counts name rules that exist, and come out again."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.rule_sway import TABLE, UNREAD, differs, otherwise, ranked, unread
from pathway.views.rules.catalogue import catalogue
from tests.examples import ON, example, example_plan

ROOT = Path(__file__).parents[2]
PROTOCOL = load_protocol()
ROWS = {str(rule): (int(plans), int(of)) for rule, plans, of in PROTOCOL.table(TABLE).rows}


def rule_of(id: str):
    return next(rule for rule in unread(PROTOCOL) if rule.id == id)


def test_the_counts_name_rules_that_exist_and_rest_on_judgement_or_memory() -> None:
    known = {rule.id: rule for rule in unread(PROTOCOL)}
    assert [id for id in ROWS if id not in known] == []
    assert {known[id].provenance for id in ROWS} <= set(UNREAD)
    assert min(of for _, of in ROWS.values()) >= 25
    assert all(0 <= plans <= of for plans, of in ROWS.values())
    assert sum(plans > 0 for plans, _ in ROWS.values()) > 10


def test_some_rows_come_out_again() -> None:
    most = max(ROWS, key=lambda id: ROWS[id][0])
    none = next(id for id in ROWS if ROWS[id][0] == 0 and id.startswith("femoral_lengthening."))
    command = [sys.executable, str(ROOT / ".ci" / "what_rules_change.py"), "--jobs", "1", "--only", none]
    told = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT).stdout
    assert f"{none}: 0" in told
    # The rule with most plans changes at least one of the examples, which are half of the children.
    other = list(otherwise(PROTOCOL, rule_of(most)))
    names = ("alder-06", "rowan-02", "birch-04")
    assert any(
        differs(example_plan(name), make_plan(Question(example(name), protocol, ON), compared=False))
        for name in names
        for protocol in other
    )


def test_a_plan_does_not_differ_from_itself() -> None:
    plan = make_plan(Question(example("alder-06"), PROTOCOL, ON), compared=False)
    assert not differs(example_plan("alder-06"), plan)


def test_another_amount_or_another_month_is_another_plan() -> None:
    plan = example_plan("alder-06")
    at = next(k for k, stage in enumerate(plan.stages) if stage.amount_mm is not None and stage.date is not None)
    step = plan.stages[at]

    def with_step(**new: object):
        stages = (*plan.stages[:at], step.model_copy(update=new), *plan.stages[at + 1 :])
        return plan.model_copy(update={"stages": stages})

    assert step.amount_mm is not None
    assert step.date is not None
    assert differs(plan, with_step(amount_mm=step.amount_mm + 5))
    assert not differs(plan, with_step(amount_mm=step.amount_mm + 4))
    assert differs(plan, with_step(date=step.date.fromordinal(step.date.toordinal() + 32)))
    assert not differs(plan, with_step(date=step.date.fromordinal(step.date.toordinal() + 1)))
    assert differs(plan, with_step(date=None))


@pytest.mark.parametrize(("id", "ways"), [("weigh_lengthening", {1.5, 3.0}), ("goal_band_mm", {8.0, 12.5})])
def test_a_number_is_moved_to_its_ends_or_by_a_fifth(id: str, ways: set[float]) -> None:
    assert {protocol.number(id) for protocol in otherwise(PROTOCOL, rule_of(id))} == ways


def test_a_rule_is_left_out_and_nothing_else() -> None:
    rule = rule_of("femoral_lengthening.therapy_ready")
    (other,) = otherwise(PROTOCOL, rule)
    assert {gate.id for gate in PROTOCOL.gates} - {gate.id for gate in other.gates} == {rule.id}
    assert (other.indications, other.values, other.intervals) == (
        PROTOCOL.indications,
        PROTOCOL.values,
        PROTOCOL.intervals,
    )


def test_the_catalogue_ends_with_the_list_for_clinicians_most_plans_first() -> None:
    text = catalogue(PROTOCOL)
    _, _, tail = text.partition("## For clinicians: set or check these first")
    assert tail
    assert "\n## " not in tail
    listed = [line for line in tail.splitlines() if line.startswith("- ")]
    counts = [int(line.split()[1]) for line in listed]
    assert counts == sorted(counts, reverse=True)
    assert [line.split("`")[1] for line in listed] == [rule.id for rule, plans, _ in ranked(PROTOCOL) if plans]
