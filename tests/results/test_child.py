"""One child: what an accepted plan said on its day, beside what later visits showed."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from typing import Any

import pytest

from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.record import Measurement, Operation, Record, Side, Visit
from pathway.results.child import Known, arrest, endings, known_of, left, pairs
from pathway.results.operations import done_operations, due, waived
from pathway.results.predicted import Revision, revision_of_data
from tests.examples import ON, example, example_plan

PROTOCOL = load_protocol()
FILM = "standing_full_length_film"
NAME = "hazel-08"
LATER = datetime.date(2045, 1, 1)
SHORT, LONG = "affected", "other"


def as_kept(plan: Plan) -> dict[str, Any]:
    """Return a plan as the registry keeps it."""
    return plan.model_dump(mode="json")


def accepted(plan: Mapping[str, Any], number: int = 1, on: datetime.date = ON) -> Revision:
    return revision_of_data(number, on, on, plan)


def filmed(record: Record, on: datetime.date, legs: Mapping[str, tuple[float, float]]) -> Visit:
    """Return a visit at which femur and tibia of both legs were measured."""
    sides: dict[str, Side] = {SHORT: record.affected_side, LONG: record.other_side}
    return Visit(
        date=on,
        method=FILM,
        measurements=tuple(
            Measurement(finding=finding, side=sides[leg], value=value, method=FILM)
            for leg, both in legs.items()
            for finding, value in zip(("femur_length_mm", "tibia_length_mm"), both, strict=True)
        ),
    )


def at_point(plan: Plan, place: int, off_mm: float = 0.0) -> tuple[datetime.date, dict[str, tuple[float, float]]]:
    """Return the day of a point of a plan and legs that differ as it says without operations, and `off_mm` more."""
    point = plan.growth.by_age[place]
    long = point.long_leg_mm
    femur = 0.55 * long
    short = long - point.discrepancy_mm.p50 - off_mm
    return point.date, {LONG: (femur, long - femur), SHORT: (0.5 * short, 0.5 * short)}


def known(plan: Plan, *visits: Visit, operations: Sequence[Operation] = (), on: datetime.date = LATER) -> Known:
    record = example(plan.child.id)
    whole = record.model_copy(
        update={"visits": (*record.visits, *visits), "operations": (*record.operations, *operations)}
    )
    return known_of(whole, (accepted(as_kept(plan)),), PROTOCOL, on)


def bare(plan: Plan) -> Plan:
    """Return a plan without stages to come, as if family and team had agreed to wait."""
    return plan.model_copy(update={"stages": tuple(one for one in plan.stages if one.begun)})


@pytest.mark.parametrize("off", [0.0, 7.0, -12.0])
def test_a_visit_is_held_against_what_the_plan_said_for_its_day(off: float) -> None:
    plan = bare(example_plan(NAME))
    day, legs = at_point(plan, 3, off)
    (pair,), passed = pairs(known(plan, filmed(example(NAME), day, legs)))
    assert not passed
    assert pair.predicted_mm == plan.growth.by_age[3].discrepancy_mm.p50
    assert pair.off_mm == pytest.approx(off)
    assert (pair.revision, pair.stated_on, pair.seen_on, pair.basis) == (1, ON, day, "growth")


def test_between_two_days_of_the_plan_the_prediction_runs_straight() -> None:
    plan = bare(example_plan(NAME))
    before, after = plan.growth.by_age[2:4]
    day = before.date + (after.date - before.date) / 2
    _, legs = at_point(plan, 3)
    (pair,), _ = pairs(known(plan, filmed(example(NAME), day, legs)))
    half = (day - before.date) / (after.date - before.date)
    expected = (1 - half) * before.discrepancy_mm.p50 + half * after.discrepancy_mm.p50
    assert pair.predicted_mm == pytest.approx(expected)


def test_the_band_holds_the_error_of_reading_the_film_besides_that_of_growth() -> None:
    plan = bare(example_plan(NAME))
    day, legs = at_point(plan, 3)
    (pair,), _ = pairs(known(plan, filmed(example(NAME), day, legs)))
    said = plan.growth.by_age[3].discrepancy_mm
    assert pair.low_mm < said.p05
    assert pair.high_mm > said.p95
    for off, inside in ((0.0, True), (said.p95 - said.p50 + 40.0, False)):
        day, legs = at_point(plan, 3, off)
        (pair,), _ = pairs(known(plan, filmed(example(NAME), day, legs)))
        assert (pair.within_90, pair.within_50) == (inside, inside)


def test_every_accepted_plan_stands_beside_every_later_visit_and_none_beside_an_earlier_one() -> None:
    plan = bare(example_plan(NAME))
    visits = [filmed(example(NAME), *at_point(plan, place)) for place in (2, 4, 6)]
    between = plan.growth.by_age[3].date
    record = example(NAME)
    whole = record.model_copy(update={"visits": (*record.visits, *visits)})
    kept = as_kept(plan)
    found, _ = pairs(known_of(whole, (accepted(kept), accepted(kept, 2, between)), PROTOCOL, LATER))
    assert [(one.revision, one.seen_on) for one in found] == [
        *((1, visit.date) for visit in visits),
        *((2, visit.date) for visit in visits[1:]),
    ]


def test_what_is_known_later_does_not_change_what_was_predicted() -> None:
    plan = bare(example_plan(NAME))
    first, second = (filmed(example(NAME), *at_point(plan, place, 25.0)) for place in (2, 5))
    (alone,), _ = pairs(known(plan, second))
    both, _ = pairs(known(plan, first, second))
    assert both[1] == alone


def test_a_plan_that_states_no_length_and_a_visit_without_one_are_counted_and_not_compared() -> None:
    plan = bare(example_plan(NAME))
    day, legs = at_point(plan, 3)
    silent = plan.model_copy(update={"growth": plan.growth.model_copy(update={"by_age": ()})})
    assert pairs(known(silent, filmed(example(NAME), day, legs)))[1] == {"states_no_length": 1}
    assert pairs(known(plan, Visit(date=day, method="examination")))[1] == {"no_length_seen": 1}


def test_a_visit_while_a_bone_is_lengthened_or_after_another_treatment_is_not_compared() -> None:
    plan = bare(example_plan(NAME))
    day, legs = at_point(plan, 3)
    begun = day - datetime.timedelta(days=60)
    worn = Operation(kind="femoral_lengthening", date=begun, side=example(NAME).affected_side, achieved_mm=40)
    assert pairs(known(plan, filmed(example(NAME), day, legs), operations=(worn,)))[1] == {"under_way": 1}
    off = worn.model_copy(update={"device_removed": day - datetime.timedelta(days=1)})
    assert pairs(known(plan, filmed(example(NAME), day, legs), operations=(off,)))[1] == {"treated_otherwise": 1}


def planned_arrest() -> tuple[Plan, Any]:
    """Return a plan of an example with a growth arrest, and the arrest as its only operation for length."""
    for name in ("birch-04", "hazel-08", "elm-01", "oak-12", "hawthorn-12", "maple-01"):
        plan = example_plan(name)
        for stage in plan.stages:
            if stage.kind == "contralateral_growth_arrest" and stage.date is not None and stage.amount_mm:
                others = tuple(one for one in plan.stages if one.begun)
                return plan.model_copy(update={"stages": (*others, stage)}), stage
    raise AssertionError("no example plans a growth arrest")


@pytest.mark.parametrize("effect", [1.0, 0.75, 0.0])
def test_an_arrest_shows_what_it_took_off_the_natural_course(effect: float) -> None:
    plan, stage = planned_arrest()
    last = plan.growth.by_age[-1]
    # With the plan as printed other operations take length off too; here the arrest is all that is planned.
    points = tuple(
        one
        if one.date <= stage.date
        else one.model_copy(
            update={
                "with_plan_mm": one.discrepancy_mm.model_copy(update={"p50": one.discrepancy_mm.p50 - stage.amount_mm})
            }
        )
        for one in plan.growth.by_age
    )
    plan = plan.model_copy(update={"growth": plan.growth.model_copy(update={"by_age": points})})
    _, legs = at_point(plan, -1, -effect * stage.amount_mm)
    done = Operation(kind=stage.kind, date=stage.date, side=stage.side, physes=stage.physes)
    found = arrest(known(plan, filmed(example(plan.child.id), last.date, legs), operations=(done,)))
    assert found is not None
    assert found.stated_mm == pytest.approx(stage.amount_mm)
    assert found.seen_mm == pytest.approx(effect * stage.amount_mm, abs=0.11)
    late = done.model_copy(update={"date": stage.date + datetime.timedelta(days=400)})
    assert arrest(known(plan, filmed(example(plan.child.id), last.date, legs), operations=(late,))) is None


def test_a_stated_chance_waits_for_the_end_of_growth_and_takes_the_first_length_after_it() -> None:
    plan = bare(example_plan(NAME))
    grown = plan.growth.maturity_date + datetime.timedelta(days=30)
    _, legs = at_point(plan, -1, 3.0)
    best = plan.recommended
    assert best is not None
    assert best.chance_within_20_mm is not None
    seen = known(plan, filmed(example(NAME), grown, legs))
    (ten, twenty) = endings(seen)
    assert (ten.within_mm, twenty.within_mm) == (10, 20)
    assert twenty.stated == best.chance_within_20_mm
    assert twenty.seen_mm == pytest.approx(plan.growth.by_age[-1].discrepancy_mm.p50 + 3.0, abs=0.1)
    (before, _) = endings(known(plan, on=plan.growth.maturity_date - datetime.timedelta(days=1)))
    assert (before.seen_mm, before.growing) == (None, True)
    (gone, _) = endings(known(plan))
    assert (gone.seen_mm, gone.growing) == (None, False)


def test_a_growing_child_that_is_not_seen_for_two_years_has_left() -> None:
    plan = bare(example_plan(NAME))
    last = max(visit.date for visit in example(NAME).visits)
    months = round(PROTOCOL.number("results_left_after_months"))
    soon, late = (last + datetime.timedelta(days=days) for days in (30.4 * months - 5, 30.5 * months + 5))
    assert not left(known(plan, on=soon))
    assert left(known(plan, on=late))


def test_an_operation_is_due_once_and_waits_until_it_is_done() -> None:
    plan = example_plan("rowan-02")
    stage = min((one for one in plan.stages if one.operation and one.date), key=lambda one: one.date)
    when = stage.date + datetime.timedelta(days=40)
    waiting = [one for one in due(known(plan, on=when)) if one.kind == stage.kind]
    assert [(one.days, one.since_days) for one in waiting] == [(None, 40)]
    done = Operation(kind=stage.kind, date=stage.date + datetime.timedelta(days=9), side=stage.side)
    came = [one for one in due(known(plan, operations=(done,), on=when)) if one.kind == stage.kind]
    assert [one.days for one in came] == [9]
    before = stage.date - datetime.timedelta(days=1)
    assert not [one for one in due(known(plan, on=before)) if one.kind == stage.kind]


def test_a_later_plan_moves_what_was_not_due_yet_and_hides_nothing_that_was() -> None:
    plan = example_plan("rowan-02")
    stage = min((one for one in plan.stages if one.operation and one.date), key=lambda one: one.date)
    moved = plan.model_copy(
        update={
            "stages": tuple(
                one.model_copy(update={"date": stage.date + datetime.timedelta(days=200)}) if one is stage else one
                for one in plan.stages
            )
        }
    )
    done = Operation(kind=stage.kind, date=stage.date + datetime.timedelta(days=205), side=stage.side)
    record = example("rowan-02")
    whole = record.model_copy(update={"operations": (*record.operations, done)})

    def days(second: datetime.date) -> list[int | None]:
        both = (accepted(as_kept(plan)), accepted(as_kept(moved), 2, second))
        return [one.days for one in due(known_of(whole, both, PROTOCOL, LATER)) if one.kind == stage.kind]

    assert days(stage.date - datetime.timedelta(days=1)) == [5]
    assert days(stage.date + datetime.timedelta(days=20)) == [205]


def test_a_waived_gate_is_told_with_what_followed() -> None:
    plan = example_plan("rowan-02")
    stage = next(one for one in plan.stages if one.gates and one.date is not None and not one.begun)
    gate = stage.gates[0].model_copy(update={"state": "waived", "waived_because": "said in the corridor"})
    stages = tuple(
        one.model_copy(update={"gates": (gate, *one.gates[1:])}) if one is stage else one for one in plan.stages
    )
    plan = plan.model_copy(update={"stages": stages})
    (still,) = waived(known(plan))
    assert (still.gate, still.done, still.events) == (gate.id, False, ())
    done = Operation(kind=stage.kind, date=stage.date, side=stage.side, complications=("nerve_signs",))
    (came,) = waived(known(plan, operations=(done,)))
    assert (came.done, came.events) == (True, ("nerve_signs",))


def test_events_count_where_the_operation_lies_far_enough_back_and_the_child_was_seen_since() -> None:
    plan = example_plan("rowan-02")
    stage = plan.stage("femoral_lengthening_1")
    assert stage.date is not None
    done = Operation(kind=stage.kind, date=stage.date, side="left", achieved_mm=44, complications=("hip_subluxation",))
    seen = Visit(date=stage.date + datetime.timedelta(days=400), method="examination")
    for visits, on, followed, after in (
        ((seen,), LATER, True, True),
        ((), LATER, True, False),
        ((), stage.date + datetime.timedelta(days=90), False, False),
    ):
        *_, last = done_operations(known(plan, *visits, operations=(done,), on=on))
        assert (last.followed, last.seen_after, last.lengthening) == (followed, after, True)
        assert last.planned is not None
        assert last.planned.amount_mm == stage.amount_mm
