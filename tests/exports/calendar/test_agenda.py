"""What is entered in the calendar: every dated stage, the examinations before them, the follow-ups still to come."""

from __future__ import annotations

import datetime
from itertools import pairwise

import pytest

from pathway.days import add_months
from pathway.views.words.wording import wording
from tests.examples import NAMES, ON, example, example_plan
from tests.exports.made import entries, rules, turning

SATURDAY = 5


@pytest.mark.parametrize("name", NAMES)
def test_every_dated_stage_stands_on_its_day_and_a_visit_on_a_weekday(name: str) -> None:
    plan = example_plan(name)
    found = {entry.key: entry.day for entry in entries(name) if entry.category != "follow-up"}
    dated = {stage.id: stage for stage in plan.stages if stage.date is not None}
    assert found.keys() == dated.keys()
    for id, stage in dated.items():
        assert stage.date is not None
        visit = stage.lane == "checks" and not stage.begun and stage.date > ON
        over_the_weekend = (7 - stage.date.weekday()) % 7 if visit and stage.date.weekday() >= SATURDAY else 0
        assert (found[id] - stage.date).days == over_the_weekend, id


@pytest.mark.parametrize("name", NAMES)
def test_each_gate_to_be_looked_at_again_is_named_by_an_examination_on_that_day(name: str) -> None:
    plan, found = example_plan(name), entries(name)
    for stage in plan.stages:
        for gate in stage.gates:
            if gate.look_again_on is not None:
                days = (gate.look_again_on, gate.look_again_on + datetime.timedelta(days=2))
                asked = [e for e in found if e.category == "examination" and days[0] <= e.day <= days[1]]
                if gate.finding is not None:
                    told = rules().finding(gate.finding).family_words
                    assert any(f"- {told}" in entry.words for entry in asked), gate.id


@pytest.mark.parametrize("name", NAMES)
def test_every_entry_carries_the_caution_and_says_that_the_child_is_invented(name: str) -> None:
    for entry in entries(name):
        assert entry.words[-2:] == (example_plan(name).cautions[0].text, wording().say("invented"))


@pytest.mark.parametrize("name", NAMES)
def test_only_what_is_done_or_under_way_is_firm(name: str) -> None:
    plan = example_plan(name)
    firm = {entry.key for entry in entries(name) if entry.firm}
    assert firm == {stage.id for stage in plan.stages if stage.status in ("done", "under_way")}
    assert all(entry.day > ON for entry in entries(name) if entry.category in ("examination", "follow-up"))


def test_hip_films_come_every_six_months_until_the_watching_ends() -> None:
    # rules/follow_ups.toml, hip_surveillance.half_yearly: every 6 months until 3 years after the device is out.
    watched = example_plan("rowan-02").stage("hip_surveillance_1")
    assert watched.date is not None
    days = [e.day for e in entries("rowan-02") if e.key.startswith("hip_surveillance_1/")]
    assert len(days) == 6
    for count, day in enumerate(days, start=1):
        assert 0 <= (day - add_months(watched.date, 6 * count)).days <= 2
        assert day.weekday() < SATURDAY
    assert watched.end_date is not None
    assert (days[-1] - watched.end_date).days in (0, 1, 2)


def test_a_follow_up_without_an_end_is_entered_once_and_says_how_it_goes_on() -> None:
    found = [e for e in entries("rowan-02") if e.key.startswith("femoral_device_removal_1/")]
    assert len(found) == 1
    assert "Then every 3 months. Each visit is entered when the one before is over." in found[0].words


def test_the_days_of_a_lengthening_add_up_to_its_amount() -> None:
    plan = example_plan("rowan-02")
    stage = plan.stage("femoral_lengthening_1")
    turns = [entry for entry in turning("rowan-02", stage.id) if "/turn/" in entry.key]
    assert stage.date is not None
    assert turns[0].day > stage.date
    assert [b.day - a.day for a, b in pairwise(turns)] == [datetime.timedelta(1)] * (len(turns) - 1)
    assert sum(float(entry.title.split("turns, ")[1].split(" mm")[0]) for entry in turns) == pytest.approx(40)
    assert "Reached by the evening: 40 mm of 4.0 cm." in turns[-1].words


def test_a_childs_own_words_stay_at_home() -> None:
    told = " ".join(word for entry in entries("rowan-02") for word in (entry.title, *entry.words))
    assert example("rowan-02").child.date_of_birth.isoformat() not in told
    assert {rule.id for rule in rules().follow_ups} >= {
        entry.key.split("/")[1] for entry in entries("rowan-02") if entry.category == "follow-up"
    }
