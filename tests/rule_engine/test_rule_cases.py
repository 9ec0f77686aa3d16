"""Every rule that tests something has a file of cases: it holds, fails, is unknown, is out of date.

Gates, indications, contraindications, types, and goals and follow-up where they test findings.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Condition
from pathway.rule_engine.conditions import judge
from pathway.rule_engine.verdict import Verdict
from tests.offenders import for_each
from tests.rule_engine.facts_of_case import facts_of_case

PROTOCOL = load_protocol()
FOLDER = Path(__file__).parents[1] / "data" / "rule_cases"
FILES = {path.stem: tomllib.loads(path.read_text(encoding="utf-8")) for path in FOLDER.glob("*.toml")}
CASES = [(rule, number, case) for rule, file in sorted(FILES.items()) for number, case in enumerate(file["case"], 1)]
CONDITIONS: dict[str, Condition] = {
    **{rule.id: rule.requires for rule in PROTOCOL.gates},
    **{rule.id: rule.when for rule in (*PROTOCOL.indications, *PROTOCOL.contraindications)},
    **{kind.id: kind.when for scheme in PROTOCOL.classifications for kind in scheme.types},
    **{goal.id: goal.requires for goal in PROTOCOL.goals if goal.requires is not None},
    **{visit.id: visit.when for visit in PROTOCOL.follow_ups if visit.when is not None},
    **{rule.id: rule.tested for rule in PROTOCOL.devices if rule.tested is not None},
    **{rule.id: rule.when for rule in PROTOCOL.both_sided if rule.when is not None},
    **{rule.id: rule.when for rule in (*PROTOCOL.amount_limits, *PROTOCOL.cautions) if rule.when is not None},
    **{rule.id: rule.when for rule in PROTOCOL.spans},
}


def states_asked(condition: Condition) -> set[str]:
    """What can become of a rule: stages, ages and diagnoses are always known, some findings never go out of date,
    and what only asks whether a finding is known cannot fail.
    """
    asked = {"holds"} if all(leaf.known for leaf in condition.leaves()) else {"holds", "fails"}
    for leaf in condition.leaves():
        if leaf.missing == "fails":
            continue
        if leaf.finding is not None:
            asked.add("unknown")
            if leaf.known != "once" and PROTOCOL.finding(leaf.finding).valid_months is not None:
                asked.add("out_of_date")
        elif leaf.classification is not None or (leaf.quantity is not None and leaf.quantity != "age_years"):
            asked.add("unknown")
    return asked


def state_of(verdict: Verdict) -> str:
    return "out_of_date" if verdict.why_unknown == "out_of_date" else verdict.state


def test_every_rule_has_its_file_and_every_file_its_rule() -> None:
    assert sorted(FILES) == sorted(CONDITIONS)


@for_each(sorted(CONDITIONS))
def test_a_rule_has_a_case_of_every_state_it_can_be_in(rule: str) -> None:
    assert states_asked(CONDITIONS[rule]) <= {case["state"] for case in FILES[rule]["case"]}


@for_each(CASES, name=lambda rule, number, _: f"{rule}-{number}", parts=4)
def test_a_case_comes_out_as_written(rule: str, number: int, case: dict[str, Any]) -> None:
    verdict = judge(CONDITIONS[rule], facts_of_case(case, PROTOCOL), PROTOCOL)
    assert state_of(verdict) == case["state"], verdict.sentence


@for_each(sorted(CONDITIONS))
def test_the_sentence_of_a_holding_rule_is_not_empty(rule: str) -> None:
    holding = next(case for case in FILES[rule]["case"] if case["state"] == "holds")
    assert judge(CONDITIONS[rule], facts_of_case(holding, PROTOCOL), PROTOCOL).sentence.strip()
