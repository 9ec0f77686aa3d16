"""Which single change would bring another recommendation: each claim is checked by planning with the change."""

from __future__ import annotations

import itertools
from functools import cache
from statistics import NormalDist
from unittest import mock

import numpy as np
import pytest

from pathway.growth import fit_growth, outlook
from pathway.plan.make import first_course
from pathway.protocol.load import load_protocol
from pathway.protocol.preference_sets import multiplied
from pathway.protocol.question import Question
from pathway.questions.sensitivity import FUTURES, LEAST_CHANCE, Robustness, robustness, same_first
from pathway.record import Measurement, Record
from pathway.rule_engine.facts import known_steps
from tests.examples import ON, example, example_plan
from tests.made_once import made_once

PROTOCOL = load_protocol()


@cache
def firm(name: str) -> Robustness:
    """Ask of ten futures: each is solved anew, and what is held here holds for any number of them."""
    with mock.patch("pathway.questions.sensitivity.FUTURES", 10):
        return robustness(Question(example(name), PROTOCOL, ON), example_plan(name))


def with_value(record: Record, finding: str, value: float) -> Record:
    def changed(item: Measurement) -> Measurement:
        return item.model_copy(update={"value": value}) if item.finding == finding else item

    visits = [v.model_copy(update={"measurements": tuple(map(changed, v.measurements))}) for v in record.visits]
    return record.model_copy(update={"visits": tuple(visits)})


class TestGrowth:
    @pytest.mark.parametrize("name", ["rowan-02", "hazel-08"])
    def test_the_shares_of_all_futures_make_a_whole(self, name: str) -> None:
        found = firm(name)
        assert found.stands is not None
        others = [turn.chance for turn in found.turns if turn.what == "The difference at maturity"]
        assert found.stands + sum(others) == pytest.approx(1)

    def test_each_future_asked_is_a_draw_and_its_own_centre(self) -> None:
        """A future that is known has no spread: its course leaves in every draw what it leaves in the middle."""
        record = example("rowan-02")
        posterior = fit_growth(Question(record, PROTOCOL, ON), known_steps=known_steps(Question(record, PROTOCOL, ON)))
        assert posterior is not None
        one = posterior.one(17)
        assert one.draws == 1
        assert float(outlook(one).at_maturity()[0]) == pytest.approx(float(outlook(posterior).at_maturity()[17]))
        assert float(outlook(one.central()).at_maturity()[0]) == pytest.approx(float(outlook(one).at_maturity()[0]))

    def test_the_central_future_has_the_course_of_the_plan(self) -> None:
        record = example("rowan-02")
        posterior = fit_growth(Question(record, PROTOCOL, ON), known_steps=known_steps(Question(record, PROTOCOL, ON)))
        assert posterior is not None
        course, best = first_course(Question(record, PROTOCOL, ON), posterior), example_plan("rowan-02").recommended
        assert course is not None
        assert best is not None
        assert getattr(course, "id", "") == best.id

    def test_more_growth_never_asks_for_less(self) -> None:
        """Over the futures of a child the corrections of the first course rise with the difference."""
        record = example("hazel-08")
        posterior = fit_growth(Question(record, PROTOCOL, ON), known_steps=known_steps(Question(record, PROTOCOL, ON)))
        assert posterior is not None
        mature = outlook(posterior).at_maturity()
        order = np.argsort(mature)[:: len(mature) // 8]
        amounts = []
        for draw in order:
            course = first_course(Question(record, PROTOCOL, ON), posterior.one(int(draw)))
            assert course is not None
            amounts.append(getattr(course, "corrections_mm", 0.0))
        # Within the wished band around equal legs the amount is free.
        assert all(b >= a - PROTOCOL.number("goal_band_mm") for a, b in itertools.pairwise(amounts))


class TestTheFirstOperation:
    NEAR = 1.0, 10.0

    def test_it_is_the_same_within_a_year_and_a_centimetre(self) -> None:
        one = [("femoral_lengthening_1", 8.0, 55.0), ("growth_arrest", 11.0, 30.0)]
        assert same_first(one, [("femoral_lengthening_1", 9.0, 45.0)], self.NEAR)
        assert not same_first(one, [("femoral_lengthening_1", 9.25, 55.0)], self.NEAR)
        assert not same_first(one, [("femoral_lengthening_1", 8.0, 66.0)], self.NEAR)
        assert not same_first(one, [("growth_arrest", 8.0, 55.0)], self.NEAR)
        assert not same_first(one, [*one, ("growth_arrest", 8.0, 30.0)], self.NEAR)
        assert not same_first(one, [], self.NEAR)
        assert same_first([], [], self.NEAR)

    @pytest.mark.parametrize("name", ["rowan-02", "hazel-08"])
    def test_its_share_is_counted_over_the_same_futures_and_said(self, name: str) -> None:
        """A first operation that comes at another age is counted also where the kind of course stays the same."""
        found = firm(name)
        assert found.same_first is not None
        assert 0 <= found.same_first <= 1
        assert 10 * found.same_first == pytest.approx(round(10 * found.same_first))
        assert f"within 1 year and 1 cm, in about {100 * found.same_first:.0f} of 100" in found.first_words
        assert (found.weighed, found.weighed_words) == (None, "")

    def test_risks_and_weights_are_tried_where_asked(self) -> None:
        """Where years after the usual age weigh little, this child's first operation turns with some weight."""
        rules = multiplied(PROTOCOL, {"practice_late_weight": 0.15})
        question = Question(example("birch-04"), rules, ON)
        with mock.patch("pathway.questions.sensitivity.FUTURES", 1):
            found = robustness(question, made_once(question, compared=False), weighed=True)
        assert found.weighed
        assert all(" x0.7" in item or " x1.3" in item or item.endswith("risks") for item in found.weighed)
        assert found.weighed[0] in found.weighed_words


class TestFindings:
    def test_a_stated_change_brings_the_stated_stage(self) -> None:
        (turn,) = [t for t in firm("rowan-02").turns if t.what == "Knee flexion contracture"]
        assert turn.then == ("knee preparation would be planned",)
        value = float(turn.change.split()[2])
        plan = made_once(
            Question(with_value(example("rowan-02"), "knee_flexion_contracture_deg", value), PROTOCOL, ON),
            compared=False,
        )
        assert any(stage.kind == "knee_preparation" and stage.date for stage in plan.stages)

    def test_its_chance_is_that_of_an_error_of_that_size(self) -> None:
        (turn,) = [t for t in firm("rowan-02").turns if t.what == "Knee flexion contracture"]
        rule = PROTOCOL.finding("knee_flexion_contracture_deg")
        gate = next(
            leaf
            for item in example_plan("rowan-02").considered
            for leaf in [item.reason.verdict]
            if leaf is not None and item.about == "knee_preparation" and "contracture" in leaf.sentence
        )
        assert rule.sd
        assert LEAST_CHANCE <= turn.chance <= 0.5
        assert turn.chance == pytest.approx(NormalDist().cdf(-abs(_margin(gate)) / rule.sd), abs=0.02)

    def test_a_hip_that_needs_no_operation_leaves_the_lengthening_alone(self) -> None:
        """Wishing for few operations is no reason to do none: equal legs come first."""
        plan = made_once(
            Question(with_value(example("hazel-08"), "center_edge_angle_deg", 21.0), PROTOCOL, ON), compared=False
        )
        best, before = plan.recommended, example_plan("hazel-08").recommended
        assert best is not None
        assert before is not None
        assert best.id == before.id


def _margin(verdict) -> float:
    if verdict.parts:
        found = [_margin(part) for part in verdict.parts]
        return next((m for m in found if m), 0.0)
    return float(verdict.margin or 0.0) if verdict.finding == "knee_flexion_contracture_deg" else 0.0


def test_the_likeliest_change_comes_first() -> None:
    chances = [turn.chance for turn in firm("rowan-02").turns]
    assert chances == sorted(chances, reverse=True)
    assert all(0 < chance <= 1 for chance in chances)
    assert FUTURES >= 40
