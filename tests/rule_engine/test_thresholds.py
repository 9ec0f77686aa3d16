"""Every judgement carries what was compared: form, comparison, threshold, value, and the kind of not-knowing."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from pathway.protocol.load import load_protocol
from pathway.protocol.references import conditions_of, entries
from pathway.protocol.words import condition_words
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.conditions import ClassFact, judge
from pathway.rule_engine.findings import Unknown
from tests.offenders import for_each
from tests.rule_engine.made_facts import condition, facts, known

PROTOCOL = load_protocol()
ALL = [(entry.id, one) for _, entry in entries(PROTOCOL) for one in conditions_of(entry)]
ANGLE = "center_edge_angle_deg"
PREDICTED = "predicted_discrepancy_at_maturity_mm"
SCHEME = "femoral_mobile_hip_1998"


HIP = "hip_joint"
FORMS = (
    ({"finding": ANGLE, "above": 20}, {ANGLE: 12.0}, ("finding", "above", 20, 12.0)),
    ({"finding": ANGLE, "above": 20}, {}, ("finding", "above", 20, None)),
    ({"finding": HIP, "equals": "reduced"}, {HIP: "subluxed"}, ("finding", "equals", "reduced", "subluxed")),
    ({"finding": "hip_mobile", "equals": True}, {"hip_mobile": False}, ("finding", "equals", True, False)),
    ({"finding": HIP, "one_of": ["reduced", "subluxed"]}, {}, ("finding", "one_of", ("reduced", "subluxed"), None)),
    ({"finding": ANGLE, "known": True}, {ANGLE: 12.0}, ("finding", "known", True, 12.0)),
    ({"quantity": "age_years", "at_least": 4}, {}, ("quantity", "at_least", 4, 5.0)),
    ({"diagnosis": "fibular_deficiency"}, {}, ("diagnosis", "equals", "fibular_deficiency", facts().diagnosis)),
    ({"stage": "hip_preparation", "equals": "done"}, {}, ("stage", "equals", "done", "neither done nor planned")),
    ({"classification": SCHEME, "one_of": ["1a"]}, {}, ("classification", "one_of", ("1a",), None)),
)


@for_each(FORMS, name=lambda form, held, _: f"{form} with {held}")
def test_a_leaf_keeps_value_and_threshold(form, held, expected) -> None:
    verdict = judge(condition(**form), facts(held), PROTOCOL)
    assert (verdict.form, verdict.comparison, verdict.threshold, verdict.value) == expected


def test_a_predicted_value_keeps_the_chance_asked_and_its_spread() -> None:
    draws = [10.0, 20.0, 30.0, 40.0]
    verdict = judge(condition(quantity=PREDICTED, above=15, chance=0.8), facts(predicted={PREDICTED: draws}), PROTOCOL)
    assert (verdict.subject, verdict.chance, verdict.threshold) == (PREDICTED, 0.8, 15)
    assert verdict.sd == pytest.approx(np.std(draws), abs=0.05)


def test_facts_copied_with_other_draws_are_judged_on_those() -> None:
    first = facts(predicted={PREDICTED: [10.0, 20.0]})
    test = condition(quantity=PREDICTED, above=50)
    assert judge(test, first, PROTOCOL).state == "fails"
    assert (
        judge(test, dataclasses.replace(first, predicted={PREDICTED: np.array([60.0, 70.0])}), PROTOCOL).state
        == "holds"
    )


def test_the_other_leg_is_named() -> None:
    verdict = judge(condition(finding=ANGLE, leg="other", above=20), facts(), PROTOCOL)
    assert (verdict.leg, verdict.threshold) == ("other", 20)


def test_a_combination_has_the_threshold_of_the_part_it_speaks_of() -> None:
    test = condition(all=[{"finding": ANGLE, "above": 20}, {"finding": "neck_shaft_angle_deg", "at_least": 90}])
    verdict = judge(test, facts({ANGLE: 30.0, "neck_shaft_angle_deg": 80.0}), PROTOCOL)
    assert (verdict.form, verdict.finding, verdict.threshold) == ("all", "neck_shaft_angle_deg", 90)
    turned = judge(condition(**{"not": test}), facts({ANGLE: 30.0, "neck_shaft_angle_deg": 80.0}), PROTOCOL)
    assert (turned.form, turned.threshold) == ("not", 90)


class TestKindsOfNotKnowing:
    """Why something is not known is carried through types and predictions too."""

    @pytest.mark.parametrize("why", ["never_measured", "out_of_date", "not_measurable", "declined"])
    def test_through_an_undetermined_type(self, why) -> None:
        held = facts({"femoral_shaft": Unknown(why)})
        classed = with_classes(held, classify(held, PROTOCOL))
        verdict = judge(condition(classification=SCHEME, one_of=["3c"]), classed, PROTOCOL)
        assert (verdict.state, verdict.why_unknown) == ("unknown", why)

    def test_through_a_type_given_as_a_fact(self) -> None:
        fact = ClassFact("undetermined", frozenset({"femoral_shaft"}), frozenset({"3c"}), "declined")
        verdict = judge(condition(classification=SCHEME, one_of=["3c"]), facts(classes={SCHEME: fact}), PROTOCOL)
        assert verdict.why_unknown == "declined"

    @pytest.mark.parametrize("why", ["never_measured", "not_measurable", "declined"])
    def test_through_a_prediction_without_lengths(self, why) -> None:
        held = facts({"femur_length_mm": Unknown(why), "tibia_length_mm": known(200.0)})
        assert judge(condition(quantity=PREDICTED, above=50), held, PROTOCOL).why_unknown == why


@for_each(ALL, name=lambda id, _: id)
def test_a_condition_reads_the_same_with_and_without_facts(id, one) -> None:
    assert judge(one, facts(), PROTOCOL).test == condition_words(one, PROTOCOL)


@for_each(ALL, name=lambda id, _: id)
def test_nothing_is_cut_short_and_every_leaf_says_what_it_compared(id, one) -> None:
    def leaves(verdict):
        return [leaf for part in verdict.parts for leaf in leaves(part)] if verdict.parts else [verdict]

    found = leaves(judge(one, facts(), PROTOCOL))
    assert len(found) == len(one.leaves())
    for leaf in found:
        assert leaf.comparison is not None
        assert leaf.threshold is not None
        assert leaf.sentence
        assert leaf.test
