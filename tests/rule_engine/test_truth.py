"""all, any and not over holds, fails and unknown: the table, and what a combined verdict keeps."""

from __future__ import annotations

import tomllib
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.protocol.model import Condition
from pathway.rule_engine.conditions import judge
from pathway.rule_engine.findings import Unknown
from pathway.rule_engine.verdict import Verdict
from tests.offenders import for_each
from tests.rule_engine.made_facts import FLAG_OF_STATE, FLAGS, condition, facts, flag, known, with_states

TABLE = tomllib.loads((Path(__file__).parent / "truth_table.toml").read_text(encoding="utf-8"))["row"]
STATES = ("holds", "fails", "unknown")


def whole(form: str, parts: int) -> Condition:
    leaves = tuple(flag(number) for number in range(parts))
    return condition(**{form: leaves[0] if form == "not" else leaves})


@for_each(TABLE, name=lambda row: f"{row['form']} of {', '.join(row['of'])}")
def test_the_table(row, protocol) -> None:
    verdict = judge(whole(row["form"], len(row["of"])), with_states(*row["of"]), protocol)
    assert verdict.state == row["gives"]
    assert [part.state for part in verdict.parts] == row["of"]


def test_the_table_is_whole_for_one_and_two_parts() -> None:
    rows = {(row["form"], tuple(row["of"])) for row in TABLE}
    assert rows >= {("not", (state,)) for state in STATES}
    for form in ("all", "any"):
        assert rows >= {(form, (state,)) for state in STATES}
        assert rows >= {(form, pair) for pair in product(STATES, STATES)}


@for_each(product(["all", "any"], product(STATES, repeat=3)))
def test_the_order_of_parts_does_not_change_the_state(form, states, protocol) -> None:
    forward = judge(whole(form, 3), with_states(*states), protocol)
    leaves = tuple(flag(number) for number in (2, 0, 1))
    turned = judge(condition(**{form: leaves}), with_states(*states), protocol)
    assert turned.state == forward.state
    assert turned.asks == forward.asks


@for_each([(states,) for states in product(STATES, repeat=2)])
def test_not_of_all_is_any_of_nots(states, protocol) -> None:
    held = with_states(*states)
    one = judge(condition(**{"not": whole("all", 2)}), held, protocol)
    other = judge(condition(any=[condition(**{"not": flag(0)}), condition(**{"not": flag(1)})]), held, protocol)
    assert one.state == other.state


class TestPartsAreKept:
    """A combined verdict is never cut short: the part that did not decide keeps its value too."""

    def test_a_part_after_the_deciding_one_keeps_its_value(self, protocol) -> None:
        test = condition(
            all=[
                condition(finding="center_edge_angle_deg", above=20),
                condition(finding="neck_shaft_angle_deg", at_least=90),
            ]
        )
        held = facts({"center_edge_angle_deg": 12.0, "neck_shaft_angle_deg": 84.0})
        verdict = judge(test, held, protocol)
        assert [part.value for part in verdict.parts] == [12.0, 84.0]
        assert [part.state for part in verdict.parts] == ["fails", "fails"]

    def test_nested_parts_are_kept_to_the_leaves(self, protocol) -> None:
        test = condition(any=[flag(0), condition(all=[flag(1), condition(**{"not": flag(2)})])])
        verdict = judge(test, with_states("holds", "unknown", "fails"), protocol)
        assert verdict.state == "holds"
        assert verdict.parts[1].state == "unknown"
        assert verdict.parts[1].parts[1].state == "holds"
        assert verdict.parts[1].parts[1].parts[0].state == "fails"

    def test_the_sentence_tells_the_parts_that_decide(self, protocol) -> None:
        verdict = judge(whole("all", 2), with_states("holds", "fails"), protocol)
        assert verdict.sentence == judge(flag(1), with_states("holds", "fails"), protocol).sentence

    def test_the_test_in_words_names_every_part(self, protocol) -> None:
        test = condition(any=[flag(0), condition(all=[flag(1), flag(2)])])
        labels = [protocol.finding(name).label for name in FLAGS]
        words = judge(test, with_states("holds", "holds", "holds"), protocol).test
        assert words == f"{labels[0]} yes or ({labels[1]} yes and {labels[2]} yes)"

    def test_a_range_of_one_finding_has_the_margin_of_its_nearer_bound(self, protocol) -> None:
        test = condition(
            all=[
                condition(finding="neck_shaft_angle_deg", at_least=90),
                condition(finding="neck_shaft_angle_deg", below=120),
            ]
        )
        assert judge(test, facts({"neck_shaft_angle_deg": 95.0}), protocol).margin == 5.0
        assert judge(test, facts({"neck_shaft_angle_deg": 118.0}), protocol).margin == 2.0
        assert judge(test, facts({"neck_shaft_angle_deg": 130.0}), protocol).margin == -10.0

    def test_not_turns_the_margin_round(self, protocol) -> None:
        test = condition(**{"not": condition(finding="neck_shaft_angle_deg", at_least=90)})
        verdict = judge(test, facts({"neck_shaft_angle_deg": 95.0}), protocol)
        assert (verdict.state, verdict.margin, verdict.value) == ("fails", -5.0, 95.0)

    def test_parts_of_different_units_have_no_common_margin(self, protocol) -> None:
        test = condition(
            all=[
                condition(finding="neck_shaft_angle_deg", at_least=90),
                condition(finding="current_discrepancy_mm", at_least=20),
            ]
        )
        held = facts({"neck_shaft_angle_deg": 95.0, "current_discrepancy_mm": 80.0})
        assert judge(test, held, protocol).margin is None


class TestNotKnowing:
    """Unknown stays unknown, says which kind, and asks only for what could still settle it."""

    def test_an_unknown_whole_asks_for_its_unknown_parts(self, protocol) -> None:
        verdict = judge(whole("all", 3), with_states("unknown", "holds", "unknown"), protocol)
        assert set(verdict.asks) == {FLAGS[0], FLAGS[2]}

    @pytest.mark.parametrize(("form", "deciding"), [("all", "fails"), ("any", "holds")])
    def test_a_decided_whole_asks_for_nothing(self, form, deciding, protocol) -> None:
        verdict = judge(whole(form, 2), with_states("unknown", deciding), protocol)
        assert verdict.asks == ()
        assert verdict.why_unknown is None

    @for_each(product(["all", "any", "not"], ["never_measured", "out_of_date", "not_measurable", "declined"]))
    def test_the_kind_of_not_knowing_is_carried_up(self, form, why, protocol) -> None:
        verdict = judge(whole(form, 1), facts({FLAGS[0]: Unknown(why)}), protocol)
        assert (verdict.state, verdict.why_unknown) == ("unknown", why)

    def test_not_asks_for_what_its_part_asks(self, protocol) -> None:
        assert judge(whole("not", 1), with_states("unknown"), protocol).asks == (FLAGS[0],)


def _trees() -> st.SearchStrategy[Condition]:
    leaves = st.integers(0, 2).map(flag)
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.lists(inner, min_size=1, max_size=3).map(lambda parts: condition(all=parts)),
            st.lists(inner, min_size=1, max_size=3).map(lambda parts: condition(any=parts)),
            inner.map(lambda part: condition(**{"not": part})),
        ),
        max_leaves=8,
    )


def _leaves(verdict: Verdict) -> list[Verdict]:
    return [leaf for part in verdict.parts for leaf in _leaves(part)] if verdict.parts else [verdict]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(_trees(), st.tuples(*[st.sampled_from(STATES)] * 3), st.tuples(*[st.booleans()] * 3))
def test_more_information_never_turns_an_answer_into_another_or_into_unknown(protocol, tree, states, learnt) -> None:
    before = judge(tree, with_states(*states), protocol)
    now = {
        name: known(value) if state == "unknown" else FLAG_OF_STATE[state]
        for name, state, value in zip(FLAGS, states, learnt, strict=True)
    }
    after = judge(tree, facts(now), protocol)
    assert after.state in ("holds", "fails")
    if before.state != "unknown":
        assert after.state == before.state


@settings(max_examples=100, deadline=None, derandomize=True)
@given(_trees(), st.tuples(*[st.sampled_from(STATES)] * 3))
def test_an_unknown_answer_asks_for_unknown_findings_and_a_known_one_for_none(protocol, tree, states) -> None:
    verdict = judge(tree, with_states(*states), protocol)
    unknown = {name for name, state in zip(FLAGS, states, strict=True) if state == "unknown"}
    assert set(verdict.asks) <= unknown
    assert bool(verdict.asks) == (verdict.state == "unknown")
    assert len(_leaves(verdict)) == len(tree.leaves())
