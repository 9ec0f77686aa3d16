"""One lengthening: from the plan's stage, set by hand, and re-planned after what a visit found."""

from __future__ import annotations

import datetime

import pytest

from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.record import Value
from pathway.worksheets.case import Case, case_of
from pathway.worksheets.kinds import stage_of
from pathway.worksheets.lengthening import worksheet as lengthening
from pathway.worksheets.sheet import Sheet
from tests.examples import example
from tests.made_once import made_once
from tests.sample import HEALTHY, LEGS, at_age, child, operation, visit
from tests.worksheets.cases import by_hand, growth_of, planned, protocol, sheet

OPERATED = at_age(5.5)
BASE = {"amount_mm": "50", "operation_on": "2030-01-07"}
SEEN_ON = datetime.date(2030, 2, 4)
SEEN = {**BASE, "visits": "2030-02-04:20:20"}


def turned(made: Sheet) -> tuple[tuple[object, ...], ...]:
    tables = made.section("Calendar of turns").tables
    return tables[0].rows if tables else ()


def hand(settings: dict[str, str]) -> Sheet:
    """Return a sheet made on the day of the visit, or long before the operation."""
    return lengthening.worksheet(by_hand(on=SEEN_ON) if "visits" in settings else by_hand(), settings)


def test_the_next_stage_is_opened_and_its_amount_date_and_bone_come_from_the_plan() -> None:
    made, plan = sheet("lengthening"), planned()[0]
    stage = plan.stage("femoral_lengthening_1")
    assert made.stage == "femoral_lengthening_1"
    assert made.input("amount_mm").value == stage.amount_mm
    assert made.input("operation_on").value == stage.date
    assert {made.input(name).origin for name in ("bone", "amount_mm", "operation_on", "femur_mm")} == {"plan"}
    assert made.line("Share of the bone").value == pytest.approx(stage.amount_percent, abs=0.5)


def test_the_device_comes_off_on_the_day_of_the_plan() -> None:
    for id in ("femoral_lengthening_1", "femoral_lengthening_2"):
        stage = planned()[0].stage(id)
        end = sheet("lengthening", stage=id).line("Device comes off").value
        assert isinstance(end, datetime.date)
        assert stage.end_date is not None
        # The plan moves operations off weekends and blocked days.
        assert abs((end - stage.end_date).days) <= 4


def test_the_second_stage_starts_from_the_bone_as_lengthened_before() -> None:
    first, second = (sheet("lengthening", stage=f"femoral_lengthening_{k}") for k in (1, 2))
    before, after = (made.input("femur_mm").value for made in (first, second))
    assert isinstance(before, float)
    assert isinstance(after, float)
    assert after > before + float(first.input("amount_mm").value)  # type: ignore[arg-type]


def test_a_changed_rate_plans_the_calendar_anew() -> None:
    usual, slow = hand(BASE), hand({**BASE, "rate_mm_per_day": "0.75"})
    assert len(turned(usual)) == 50
    assert len(turned(slow)) == 67
    assert {row[2] for row in turned(slow)[:-1]} == {3}
    assert turned(slow)[-1][4] == 50.0


def test_what_a_visit_recorded_is_where_the_calendar_goes_on() -> None:
    rows = turned(hand(SEEN))
    assert rows[0][1] == datetime.date(2030, 2, 5)
    assert rows[0][4] == 21.0
    assert len(rows) == 30
    assert rows[-1][4] == 50.0


@pytest.mark.parametrize(("rate", "then"), [("1", 0.75), ("0.75", 0.5), ("0.5", 0.25), ("1.25", 0.75)])
@pytest.mark.parametrize("found", ["slow_regenerate", "nerve_signs"])
def test_weak_bone_or_a_nerve_slows_to_the_next_step_of_the_stop_rule(found: str, rate: str, then: float) -> None:
    made = hand({**SEEN, "at_visit": found, "rate_mm_per_day": rate})
    assert turned(made)[1][3] == then
    warning = next(item for item in made.warnings if item.text.startswith("Found on 2030-02-04"))
    assert warning.rule in ("femoral_lengthening.weak_bone", "femoral_lengthening.nerve_signs")
    assert warning.sources


def test_below_the_slowest_step_distraction_stops() -> None:
    made = hand({**SEEN, "at_visit": "slow_regenerate", "rate_mm_per_day": "0.25"})
    assert turned(made) == ()
    assert made.line("Reached").value == 20.0
    assert any(item.stop and "Distraction ends at 20 mm" in item.text for item in made.warnings)


def test_the_surgeon_may_set_another_rate_than_the_rule() -> None:
    made = hand({**SEEN, "at_visit": "slow_regenerate", "rate_from_then_mm_per_day": "0.5"})
    assert {row[3] for row in turned(made)} == {0.5}


def test_slow_bone_lengthens_the_time_in_the_device() -> None:
    usual, slow = hand(SEEN), hand({**SEEN, "at_visit": "slow_regenerate"})
    assert slow.input("index_days_per_cm").value == 45.1
    off = [made.line("Device comes off").value for made in (usual, slow)]
    assert off[1] > off[0]  # type: ignore[operator]


def test_a_contracture_pauses_until_the_next_visit() -> None:
    rows = turned(hand({**SEEN, "at_visit": "joint_contracture"}))
    assert rows[0][1] == datetime.date(2030, 2, 19)
    assert rows[-1][4] == 50.0


def test_a_joint_out_of_place_ends_distraction() -> None:
    made = hand({**SEEN, "at_visit": "subluxation"})
    assert turned(made) == ()
    assert made.line("Length kept, for planning").spread == (5.0, 20.0)


def test_length_kept_is_told_against_the_plan() -> None:
    line = hand({**BASE, "kept_mm": "44"}).line("Kept minus planned")
    assert line.value == pytest.approx(-6)
    assert "goes back into the plan" in line.note


def test_limits_of_the_protocol_speak() -> None:
    rules = {item.rule: item.stop for item in hand({**BASE, "amount_mm": "90", "femur_mm": "200"}).warnings}
    assert rules["femoral_lengthening.most_80mm"] is True
    assert rules["femoral_lengthening.share_30"] is False
    assert rules["femoral_lengthening.share_20"] is False
    fast = hand({**BASE, "rate_mm_per_day": "1.75"})
    assert "distraction_fast_mm_per_day" in {item.rule for item in fast.warnings}


def test_turns_that_do_not_fit_are_said_and_still_add_up() -> None:
    made = hand({**BASE, "amount_mm": "50.1"})
    assert turned(made)[-1][4] == 50.1
    assert any("the last turn is only 0.1 mm" in item.text for item in made.warnings)


def test_stop_rules_stand_on_the_sheet_in_the_protocol_s_words() -> None:
    words = sheet("lengthening").section("When to slow or stop").words
    rules = [rule.text for rule in protocol().stop_rules if rule.stage == "femoral_lengthening"]
    assert set(rules) <= set(words)


def test_visits_are_on_weekdays_and_every_two_weeks_while_turning() -> None:
    rows = sheet("lengthening").section("Visits").tables[0].rows
    days = [row[1] for row in rows]
    assert all(isinstance(day, datetime.date) and day.weekday() < 5 for day in days)
    assert days == sorted(days)  # type: ignore[type-var]
    assert rows[-1][3] == "device off, if the bone is solid"


def test_the_lift_falls_week_by_week_by_what_is_gained() -> None:
    rows = sheet("lengthening").section("Lift").tables[0].rows
    lifts = [row[3] for row in rows]
    assert lifts == sorted(lifts, reverse=True)  # type: ignore[type-var]
    assert all(row[1] + row[2] == pytest.approx(rows[0][2]) for row in rows)  # type: ignore[operator]


def test_the_tibia_has_its_own_rate_index_and_fractures() -> None:
    made = hand({**BASE, "bone": "tibia"})
    assert made.input("rate_mm_per_day").value == 0.75
    assert made.input("index_days_per_cm").value == 55
    assert made.line("Fracture after removal").value == 12.7
    assert made.line("Length lost after removal").spread == (4, 32)
    with pytest.raises(KeyError):
        made.section("Axis of the leg")


@pytest.mark.parametrize(
    ("settings", "key"),
    [
        ({}, "amount_mm"),
        ({**BASE, "at_visit": "slow_regenerate"}, "visits"),
        ({**BASE, "rate_from_then_mm_per_day": "0.5"}, "visits"),
        ({**BASE, "visits": "2030-02-04:20:20:0.5", "rate_from_then_mm_per_day": "0.75"}, "rate_from_then_mm_per_day"),
        ({**BASE, "bone": "fibula"}, "bone"),
    ],
)
def test_inputs_that_do_not_fit_are_told_by_name(settings: dict[str, str], key: str) -> None:
    with pytest.raises(Refused) as told:
        hand(settings)
    assert told.value.problems[0].key == key


def under_way(*, complications: tuple[str, ...] = (), film: bool = True, **later: Value) -> Case:
    """Return a child with the femur being lengthened, seen five weeks after the operation."""
    seen = OPERATED + datetime.timedelta(days=35)
    measured = {"affected.femur_length_mm": 200.0} if film else {}
    record = child(
        visit(at_age(5), {**HEALTHY, **LEGS}),
        visit(seen, {**measured, **later}),
        operations=(operation("femoral_lengthening", OPERATED, complications=complications),),
    )
    on = seen + datetime.timedelta(days=1)
    plan = made_once(Question(record, protocol(), on), compared=False)
    opened = stage_of("lengthening", plan, protocol(), None)
    assert opened is not None
    assert opened.status == "under_way"
    return case_of(Question(record, protocol(), on), plan, opened, growth_of(record, on))


def test_a_lengthening_under_way_starts_from_its_operation_and_its_films() -> None:
    made = lengthening.worksheet(under_way(), {"amount_mm": "50"})
    assert made.input("operation_on").value == OPERATED
    assert made.input("femur_mm").value == 170.0
    assert made.input("femur_mm").measured_on == at_age(5)
    seen = OPERATED + datetime.timedelta(days=35)
    assert made.input("visits").value == f"{seen}:-:30"
    assert (made.input("visits").origin, made.input("visits").measured_on) == ("visit", seen)
    # 28 days of turning make 28 mm; the film is within the error of two films and moves no turn.
    assert len(turned(made)) == 22
    assert not [item for item in made.warnings if item.text.startswith("Asked back")]


@pytest.mark.parametrize(
    ("finding", "value", "found"),
    [
        ("knee_flexion_deg", 40.0, "joint_contracture"),
        ("knee_flexion_deg", 41.0, "nothing"),
        ("knee_flexion_contracture_deg", 41.0, "joint_contracture"),
        ("knee_flexion_contracture_deg", 40.0, "nothing"),
        ("hip_joint", "subluxed", "subluxation"),
        ("hip_joint", "reduced", "nothing"),
        ("knee_dislocated", True, "subluxation"),
    ],
)
def test_what_an_examination_found_changes_the_calendar_by_itself(finding: str, value: Value, found: str) -> None:
    made = lengthening.worksheet(under_way(**{finding: value}), {"amount_mm": "50"})
    assert made.input("at_visit").value == found
    assert (made.input("at_visit").origin == "visit") == (found != "nothing")


@pytest.mark.parametrize(
    ("complication", "found", "then"),
    [
        ("slow_regenerate", "slow_regenerate", 0.75),
        ("nerve_signs", "nerve_signs", 0.75),
        ("hip_dislocation", "subluxation", None),
    ],
)
def test_what_is_recorded_with_the_operation_changes_it_too(complication: str, found: str, then: float | None) -> None:
    made = lengthening.worksheet(under_way(complications=(complication,)), {"amount_mm": "50"})
    assert made.input("at_visit").value == found
    assert [row[3] for row in turned(made)][:1] == ([] if then is None else [then])


def test_something_wrong_without_a_film_asks_for_the_gain() -> None:
    made = lengthening.worksheet(under_way(complications=("slow_regenerate",), film=False), {"amount_mm": "50"})
    assert made.input("at_visit").value == "nothing"
    assert any("give the visit in visits" in item.text for item in made.warnings)


def test_a_lengthening_that_is_done_starts_from_the_bone_as_it_was_before() -> None:
    record = example("hazel-08")
    done = next(op for op in record.operations if op.kind == "femoral_lengthening")
    made = sheet("lengthening", name="hazel-08", stage="femoral_lengthening_1")
    before = [
        float(item.value)
        for seen in record.visits
        for item in seen.measurements
        if seen.date <= done.date and item.finding == "femur_length_mm" and item.side == done.side
    ]
    assert made.input("femur_mm").value == (before[-1] if before else None)
    assert made.input("kept_mm").value == done.achieved_mm
    assert made.line("Kept minus planned").value == 0
