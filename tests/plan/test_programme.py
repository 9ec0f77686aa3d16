"""The programme of the invented children: as published practice has it, and in step with its own parts."""

from __future__ import annotations

import datetime
from functools import cache

import pytest

from pathway.plan.make_programme import make_programme
from pathway.plan.programme import Programme
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.examples import ON, example
from tests.offenders import for_each
from tests.sample import operation

LENGTHENED = ("alder-06", "hazel-08", "rowan-02", "willow-03", "birch-04")
# Series means of one lengthening: 33 to 84 mm, 11 to 33 % of the bone (31 series, achondroplasia and adults left out);
# dislocations came from 45 mm on, growth suffers above 30 % (150 children). As limits the whole of it: common practice.
PRACTICE_MM, PRACTICE_PERCENT, BEFORE_YEARS = (30, 65), 30, 12.5


@cache
def programme(name: str) -> Programme:
    made = make_programme(Question(example(name), load_protocol(), ON))
    assert isinstance(made, Programme), made
    return made


@for_each(LENGTHENED)
def test_steps_before_adolescence_are_those_of_published_practice(name: str) -> None:
    early = [step for step in programme(name).path if step.percent is not None and step.age_years < BEFORE_YEARS]
    assert early
    for step in early:
        assert PRACTICE_MM[0] <= step.amount_mm <= PRACTICE_MM[1]
        assert step.percent is not None
        assert step.percent <= PRACTICE_PERCENT


@for_each(LENGTHENED)
def test_the_good_leg_is_not_operated_on_while_a_device_is_on(name: str) -> None:
    path = programme(name).path
    starts = [step.age_years for step in path if step.percent is not None]
    arrests = [step.age_years for step in path if step.kind == "growth_arrest"]
    # A device stays 6 to 14 months (healing indices of the rules) and three months more are kept.
    assert not [1 for start in starts for age in arrests if start < age < start + 0.75]


@for_each(LENGTHENED)
def test_chances_and_numbers_fit_together(name: str) -> None:
    made = programme(name)
    assert 97 <= sum(one.of_100 for one in made.lengthenings) <= 103
    assert 0 <= made.within_10_mm_of_100 <= made.within_20_mm_of_100 <= 100
    assert made.choices[0] == made.first
    assert made.first.costs_more == 0
    assert all(one.costs_more >= 0 for one in made.choices)
    assert made.other is None or made.gap == pytest.approx(made.other.costs_more, abs=0.01)


def test_a_child_of_two_years_is_lengthened_before_seven_and_not_once_for_all() -> None:
    # 12 to 20 cm predicted and seen before 4 years: published programmes begin at 3.5 to 6.5 years.
    first = programme("rowan-02").path[0]
    assert 3.5 <= first.age_years <= 6.5
    assert sum(step.percent is not None for step in programme("rowan-02").path) >= 2


def test_it_stands_on_value_judgements_that_are_all_told() -> None:
    told = {weight.id for weight in programme("alder-06").rests_on}
    assert {"weigh_lengthening", "weigh_burden_a_year", "practice_percent_weight"} <= told
    assert all(len(weight.because) > 20 for weight in programme("alder-06").rests_on)


def test_nothing_is_promised_of_a_split() -> None:
    said = " ".join(programme("rowan-02").troubles).lower()
    assert "published groups" in said
    assert "lower risk" not in said
    assert "safer" not in said


def test_no_programme_is_made_while_a_device_is_on() -> None:
    record = example("alder-06")
    started = operation("femoral_lengthening", ON - datetime.timedelta(days=40), side=record.affected_side)
    lengthened = record.model_copy(update={"operations": (*record.operations, started)})
    assert make_programme(Question(lengthened, load_protocol(), ON)) == (
        "A device is on: a programme is made when it is off."
    )


def test_a_child_never_measured_is_told_what_to_measure() -> None:
    found = make_programme(Question(example("elm-01"), load_protocol(), ON))
    assert found == "No length was ever measured: measure both legs first."
