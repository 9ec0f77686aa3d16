"""Every threshold that "what would change it" prints is the rule's own: its number, its side, its edge."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterator

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.protocol.load import load_protocol
from pathway.protocol.model import Condition, FindingRule
from pathway.protocol.references import conditions_of, entries
from pathway.protocol.words import WITHOUT_UNIT, value_words
from pathway.questions.formula import FAILS, HOLDS, Change, Variables, solve
from pathway.record import Value
from pathway.rule_engine.conditions import Facts, compared, judge
from pathway.rule_engine.findings import Known, Unknown
from pathway.rule_engine.verdict import OPERATORS
from tests.rule_engine.made_facts import condition as made_condition
from tests.rule_engine.made_facts import facts, known

PROTOCOL = load_protocol()
CONDITIONS = [condition for _, entry in entries(PROTOCOL) for condition in conditions_of(entry)]
COMPARISONS = [
    leaf
    for leaf in dict.fromkeys(leaf for condition in CONDITIONS for leaf in condition.leaves())
    if compared(leaf)[0] in OPERATORS
]
WORDS = {"at_least": "at least", "above": "more than", "at_most": "at most", "below": "less than"}
OPPOSITE = {"at_least": "below", "above": "at_most", "at_most": "above", "below": "at_least"}
OPERATOR_OF_WORDS = {words: name for name, words in WORDS.items()}
TINY = 0.001
STEP = {"ratio": 0.01}


def ways(condition: Condition, of: Facts, wanted: str) -> list[tuple[Change, ...]]:
    """Return the smallest sets of changes after which a condition has the wanted state (holds, fails)."""
    verdict = judge(condition, of, PROTOCOL)
    variables = Variables(PROTOCOL, (verdict,))
    goal = [[(verdict, HOLDS if wanted == "holds" else FAILS)]]
    return [variables.changes(cube) for cube in solve(goal, variables)]


def bounds_of(condition: Condition, finding: str, leg: str) -> dict[float, set[str]]:
    """Return the thresholds with which a condition compares one finding, each with its operators."""
    found: dict[float, set[str]] = {}
    for leaf in condition.leaves():
        comparison, bound = compared(leaf)
        if comparison in OPERATORS and leaf.finding == finding and leaf.leg == leg:
            found.setdefault(float(bound), set()).add(comparison)  # type: ignore[arg-type]
    return found


def printed(words: str) -> list[tuple[str, float]]:
    """Return the operators and numbers that a change prints; `20 deg` alone is from 20 to 20."""
    found = [
        (OPERATOR_OF_WORDS[w], float(n)) for w, n in re.findall(r"(at least|more than|at most|less than) (\S+)", words)
    ]
    if not found and (alone := re.fullmatch(r"(-?[0-9.]+)( [a-z]+)?", words)):
        return [("at_least", float(alone[1])), ("at_most", float(alone[1]))]
    return found


def values_inside(change: Change, rule: FindingRule) -> list[Value]:
    """Return values, near every edge and far from it, that the words of a change promise will do."""
    if rule.kind == "flag":
        return [value for value in (True, False) if value_words(value) in change.words.split(" or ")]
    if rule.kind == "choice":
        return [value for value in rule.choices if value_words(value) in change.words.split(" or ")]
    low, high = rule.plausible or (-1000.0, 1000.0)
    edges = printed(change.words)
    near = {
        low,
        high,
        float(change.to),
        *(n + d for _, n in edges for d in (-STEP.get(rule.unit, 1.0), -TINY, 0, TINY, 1.0)),
    }
    near |= {(one + other) / 2 for one, other in itertools.pairwise(sorted(near))}
    return [v for v in sorted(near) if low <= v <= high and all(OPERATORS[name](v, n) for name, n in edges)]


def unlike(comparison: str, bound: float, unit: str) -> Iterator[float]:
    """Yield values on both sides of a threshold, on it, beside it and far from it."""
    step = STEP.get(unit, 1.0)
    yield from (round(bound + far * step, 6) for far in (-3.37, -1, -0.5, 0, 0.5, 1, 3.37))


def expected(leaf: Condition, wanted: str, unit: str) -> str:
    comparison, bound = compared(leaf)
    words = WORDS[comparison if wanted == "holds" else OPPOSITE[str(comparison)]]
    return f"{words} {bound:g}" + (f" {unit}" if unit and unit not in WITHOUT_UNIT else "")


def of_finding(leaf: Condition, fact: Known | Unknown) -> Facts:
    return facts(**{"other" if leaf.leg == "other" else "findings": {str(leaf.finding): fact}})  # type: ignore[arg-type]


def test_a_comparison_is_printed_with_the_operator_and_the_number_of_its_rule() -> None:
    wrong, tried = [], 0
    for leaf in COMPARISONS:
        if leaf.finding is None:
            continue
        comparison, bound = compared(leaf)
        unit = PROTOCOL.finding(leaf.finding).unit
        values = list(unlike(str(comparison), float(bound), unit))  # type: ignore[arg-type]
        states: list[Known | Unknown] = [known(value) for value in values]
        states += [Unknown("out_of_date", known(value)) for value in values]
        states += [Unknown("never_measured"), Unknown("declined"), Unknown("not_measurable")]
        for fact, wanted in itertools.product(states, ("holds", "fails")):
            found = ways(leaf, of_finding(leaf, fact), wanted)
            told = [change.words for changes in found for change in changes]
            if told and told != [expected(leaf, wanted, unit)]:
                wrong.append((leaf.finding, comparison, bound, fact, wanted, told))
            tried += bool(told)
    assert tried > 200
    assert not wrong


def test_an_age_is_printed_with_the_operator_and_the_number_of_its_rule() -> None:
    wrong, tried = [], 0
    for leaf in (leaf for leaf in COMPARISONS if leaf.quantity == "age_years"):
        bound = float(compared(leaf)[1])  # type: ignore[arg-type]
        for age, wanted in itertools.product((1.0, bound - 0.05, bound, bound + 0.05), ("holds", "fails")):
            told = [c.words for changes in ways(leaf, facts(age_years=age), wanted) for c in changes]
            if told and told != [expected(leaf, wanted, "years")]:
                wrong.append((leaf, age, wanted, told))
            tried += bool(told)
    assert tried
    assert not wrong


def test_a_predicted_value_is_printed_as_its_rule_has_it_or_as_the_least_shift_that_does() -> None:
    wrong, tried = [], 0
    for leaf, wanted in itertools.product(COMPARISONS, ("holds", "fails")):
        if leaf.quantity is None or leaf.quantity == "age_years":
            continue
        told = [c.words for changes in ways(leaf, facts(), wanted) for c in changes]
        if told != [expected(leaf, wanted, "mm")]:
            wrong.append((leaf, wanted, told))
        for middle in (10.0, 48.4, 50.0, 51.7, 200.0):
            draws = [middle - 20, middle - 5, middle, middle + 4, middle + 21]
            today = facts(predicted={leaf.quantity: draws})
            for change in (change for changes in ways(leaf, today, wanted) for change in changes):
                by, _, side, *_ = change.words.split()
                sign = 1 if side == "more" else -1
                moved = [[draw + sign * shift for draw in draws] for shift in (float(by), float(by) - 1)]
                states = [judge(leaf, facts(predicted={leaf.quantity: to}), PROTOCOL).state for to in moved]
                if states[0] != wanted or states[1] == wanted:
                    wrong.append((leaf, wanted, change.words))
                tried += 1
    assert tried
    assert not wrong


@settings(max_examples=400, deadline=None, derandomize=True)
@given(st.data())
def test_every_value_that_the_words_allow_does_what_they_say(data) -> None:
    condition = data.draw(st.sampled_from(CONDITIONS))
    legs: dict[str, dict[str, Known | Unknown | Value]] = {"affected": {}, "other": {}}
    for leaf in condition.leaves():
        if leaf.finding is None or leaf.finding in legs[leaf.leg]:
            continue
        rule = PROTOCOL.finding(leaf.finding)
        if rule.kind == "number":
            bounds = sorted(bounds_of(condition, rule.id, leaf.leg)) or [sum(rule.plausible or (0, 2)) / 2]
            low, high = rule.plausible or (-math.inf, math.inf)  # no other value gets into a record
            near = [round(b + d, 3) for b in bounds for d in (-7, -1, 0, 0.5, 9)]
            value = data.draw(st.sampled_from([number for number in near if low <= number <= high]))
        else:
            value = data.draw(st.sampled_from([True, False] if rule.kind == "flag" else list(rule.choices)))
        unknown: list[Known | Unknown] = [Unknown("never_measured"), Unknown("out_of_date", known(value))]
        legs[leaf.leg][rule.id] = data.draw(st.sampled_from([*unknown, known(value)]))
    diagnosis = data.draw(st.sampled_from([item.id for item in PROTOCOL.diagnoses]))
    age = data.draw(st.sampled_from([1.0, 5.0, 12.0]))
    wanted = data.draw(st.sampled_from(["holds", "fails"]))
    today = facts(legs["affected"], other=legs["other"], diagnosis=diagnosis, age_years=age)
    for changes in ways(condition, today, wanted):
        of_findings = [change for change in changes if change.leg]
        for change in of_findings:
            own = bounds_of(condition, change.finding, change.leg)
            for name, number in printed(change.words):
                assert number in own, (condition, change)
                assert {name, OPPOSITE[name]} & own[number], (condition, change)
        if len(of_findings) < len(changes):
            continue
        inside = [values_inside(change, PROTOCOL.finding(change.finding)) for change in changes]
        assert all(change.to in values for change, values in zip(changes, inside, strict=True)), (condition, changes)
        for values in itertools.islice(itertools.product(*inside), 200):
            then = {leg: dict(held) for leg, held in legs.items()}
            for change, value in zip(changes, values, strict=True):
                then[change.leg][change.finding] = value
            told = facts(then["affected"], other=then["other"], diagnosis=diagnosis, age_years=age)
            assert judge(condition, told, PROTOCOL).state == wanted, (condition, changes, values)


BAND = made_condition(
    all=(
        {"finding": "center_edge_angle_deg", "above": 10},
        {"finding": "center_edge_angle_deg", "at_most": 20},
    )
)


@pytest.mark.parametrize(
    ("fact", "wanted", "words", "to"),
    [
        (Unknown("never_measured"), "holds", "more than 10 but at most 20 deg", 11.0),
        (Unknown("never_measured"), "fails", "at most 10 deg", 10.0),
        (known(25.0), "holds", "more than 10 but at most 20 deg", 20.0),
        (known(11.0), "fails", "at most 10 deg", 10.0),
        (Unknown("out_of_date", known(24.0)), "holds", "more than 10 but at most 20 deg", 20.0),
    ],
)
def test_a_range_is_printed_from_edge_to_edge(fact, wanted, words, to) -> None:
    ((change,),) = ways(BAND, facts({"center_edge_angle_deg": fact}), wanted)
    assert (change.words, change.to) == (words, to)


def test_a_single_value_is_printed_alone() -> None:
    one = made_condition(
        all=({"finding": "center_edge_angle_deg", "at_least": 20}, {"finding": "center_edge_angle_deg", "at_most": 20})
    )
    ((change,),) = ways(one, facts(), "holds")
    assert (change.words, change.to) == ("20 deg", 20.0)
