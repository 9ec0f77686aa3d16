"""What would bring another first operation: on a made-up programme whose turning weight is known, and on a child."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from pathway.courses.policy.first import First, first_operations
from pathway.courses.policy.induction import solve
from pathway.courses.policy.programme import OWN, Programme
from pathway.plan.make_programme import make_programme
from pathway.plan.programme import Programme as Told
from pathway.plan.what_turns import Change, changes, weights, what_turns
from pathway.protocol.load import load_protocol
from pathway.protocol.preference_sets import multiplied
from pathway.protocol.question import Question
from pathway.views.words.printed import printed
from pathway.views.words.programme import programme_paragraphs
from tests.courses.policy.programmes import Size, random_programme
from tests.examples import ON, example

LENGTHENING, ARREST = 1.0, 1.5
"""What the two operations of the made-up child cost; both leave the legs equal, and at once."""


def made_up(lengthening: float = LENGTHENING, arrest: float = ARREST) -> First:
    """A child that either one lengthening or one arrest makes equal, today only, with nothing left to chance."""
    size = Size(steps=1, classes=1, joints=1, most=1, waits=1, amounts=1, outcomes=1, gains=5, below=3, above=1)
    given = random_programme(1, size, certain=True)
    (table,), other = given.lengthenings, given.arrest
    programme: Programme = replace(
        given,
        age_years=np.array([8.0, 8.5]),
        tempo=replace(given.tempo, reached=np.ones((1, 2)), offset_mm=np.zeros((1, 2)), known_from=0),
        forecast=replace(given.forecast, mean_mm=10.0),
        costs=replace(given.costs, burden=0.0, miss=2.0, miss_flat_mm=0.0),
        start=replace(given.start, arrested=False, stopped=False, done=0, waited=0),
        when=np.ones_like(given.when),
        lengthenings=(
            replace(
                table,
                amounts_mm=np.array([10.0]),
                allowed=np.ones_like(table.allowed),
                cost=np.full_like(table.cost, lengthening),
                gain_steps=np.full_like(table.gain_steps, 2),
            ),
        ),
        arrest=replace(
            other,
            effect_mm=np.full_like(other.effect_mm, 10.0),
            allowed=np.ones_like(other.allowed),
            allowed_at_start=np.zeros_like(other.allowed),
            sitting=np.array([[OWN]]),
            cost=np.full_like(other.cost, arrest),
        ),
    )
    return first_operations(solve(programme))


def solver(asked: list[Change]) -> Callable[[Change], First]:
    def solved(change: Change) -> First:
        asked.append(change)
        prices = {"lengthening": LENGTHENING, "arrest": ARREST}
        if change.weight in prices:
            prices[change.weight] *= change.times
        return made_up(**prices)

    return solved


def test_the_made_up_child_is_lengthened_and_the_arrest_costs_half_an_operation_more() -> None:
    now = made_up()
    assert now.best().action.kind == "lengthen"
    assert now.gap() == pytest.approx(ARREST - LENGTHENING)


def test_only_a_weight_beyond_its_turning_point_is_told() -> None:
    # The lengthening turns at 1.5 times its cost, the arrest at two thirds of its own.
    tried = [Change(weight="lengthening", times=times) for times in (0.7, 1.4, 1.6)] + [
        Change(weight="arrest", times=times) for times in (0.6, 0.7, 1.3)
    ]
    asked: list[Change] = []
    found = list(what_turns(made_up(), tried, solver(asked)))
    assert asked == tried
    assert [(one.change.weight, one.change.times) for one in found] == [("lengthening", 1.6), ("arrest", 0.6)]
    assert {one.first.action.kind for one in found} == {"arrest"}
    assert [one.keeping for one in found] == [pytest.approx(0.1), pytest.approx(0.1)]


def test_every_price_is_tried_both_ways_and_shapes_are_left_alone() -> None:
    protocol = load_protocol()
    tried = list(changes(protocol))
    prices = {weight.id for weight in weights(protocol)}
    assert {"weigh_lengthening", "weigh_burden_a_year", "practice_percent_weight"} <= prices
    assert not {"weigh_burden_power", "weigh_final_miss_free_mm", "practice_long_from_mm"} & prices
    assert [change.level for change in tried[:2]] == ["low", "high"]
    assert [np.exp(change.slope) for change in tried[2:4] if change.slope is not None] == pytest.approx([1.0, 1.82])
    assert {(change.weight, change.times) for change in tried[4:]} == {(id, t) for id in prices for t in (0.7, 1.3)}


@cache
def told() -> Told:
    """A child whose first operation is a close call where years after the usual age weigh little."""
    rules = multiplied(load_protocol(), {"practice_late_weight": 0.15})
    made = make_programme(Question(example("birch-04"), rules, ON), turn=True)
    assert isinstance(made, Told), made
    return made


def test_a_child_whose_choice_turns_is_a_close_call_and_is_told_by_what() -> None:
    made = told()
    assert made.turns
    assert made.firmness == "close call"
    assert all(one.first.kind != made.first.kind or one.first != made.first for one in made.turns)
    assert all(one.keeping is None or one.keeping >= 0 for one in made.turns)
    lines = printed(programme_paragraphs(made), 80)
    assert max(map(len, lines)) <= 80
    said = " ".join(" ".join(lines).split())
    assert "What would turn it" in said
    for one in made.turns:
        assert one.what != "weight" or f"{one.id} x{one.times:g}" in said


def test_without_asking_nothing_is_tried() -> None:
    made = make_programme(Question(example("birch-04"), load_protocol(), ON))
    assert isinstance(made, Told)
    assert made.turns is None
    assert "What would turn it" not in [one.text for one in programme_paragraphs(made)]
