"""What the plan says of time in words: remedies of a conflict, delays, the wish for school holidays."""

from __future__ import annotations

import datetime
import re
from functools import cache

import pytest

from pathway.days import add_months, span_words, whole_months
from pathway.network import Conflict, Link, windows
from pathway.plan.assemble import conflict
from pathway.plan.waiting import may_wait_days, may_wait_until, moves_others
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.why import why
from pathway.record import CaseCalendar, SchoolHoliday
from pathway.views.pictures.rows import short_span, slip_words
from pathway.views.words.plan import plan_text
from tests.examples import NAMES, example_plan
from tests.made_once import made_once
from tests.sample import BORN, ON, SHALLOW_AND_BENT, at_age, decision, five_year_old
from tests.timing.schedules import lengthening, schedule

FIRST, HIP = "femoral_lengthening_1", "hip_preparation_1"
Day = datetime.date


class TestSpans:
    @pytest.mark.parametrize(
        ("days", "down", "up"),
        [
            (1, "1 day", "1 day"),
            (60, "60 days", "60 days"),
            (61, "2 months", "3 months"),
            (365, "11 months", "1 year"),
            (366, "1 year", "1 year 1 month"),
            (800, "2 years 2 months", "2 years 3 months"),
        ],
    )
    def test_days_in_words(self, days, down, up) -> None:
        assert (span_words(days), span_words(days, up=True)) == (down, up)


def _hurried():
    """Rules under which a hip is prepared by four and not later."""
    protocol = load_protocol()
    before = {"hard": True, "at_least_months": None, "at_most_months": 48}
    windows = tuple(
        rule.model_copy(update=before) if rule.id == "hip_preparation.two_to_four" else rule
        for rule in protocol.age_windows
    )
    return protocol.model_copy(update={"age_windows": windows})


@cache
def _too_late():
    (found,) = made_once(Question(five_year_old(SHALLOW_AND_BENT), _hurried(), ON), compared=False).conflicts
    return found


class TestRemedies:
    def test_the_rule_says_to_which_age_it_would_have_to_allow(self) -> None:
        """Hip preparation at four, and the child is past five: only the age and the lead could give way."""
        words = " ".join(_too_late().remedies)
        first = ON + datetime.timedelta(days=28)
        months = whole_months(BORN, first) + (add_months(BORN, whole_months(BORN, first)) < first)
        assert f"longer, up to {months // 12} y {months % 12} m" in words
        assert "sooner after the date of the plan" in words

    def test_the_day_of_the_plan_cannot_give_way(self) -> None:
        assert "the day of the plan" in _too_late().rules
        assert len(_too_late().remedies) == len(_too_late().rules) - 1

    def test_the_text_lists_them(self) -> None:
        text = plan_text(made_once(Question(five_year_old(SHALLOW_AND_BENT), _hurried(), ON), compared=False))
        assert "Any one of these alone would make it possible:" in text
        assert all(remedy.split()[0] in text for remedy in _too_late().remedies)

    def test_giving_way_by_so_much_makes_a_plan_and_a_day_less_does_not(self) -> None:
        from pathway.timing.windows import stage_windows
        from tests.rule_engine.graphs import graph_of

        record = five_year_old(SHALLOW_AND_BENT)
        protocol = _hurried()
        answer = stage_windows(graph_of(record, protocol), Question(record, protocol, ON))
        assert isinstance(answer, Conflict)
        bounds = [bound for item in answer.relaxations for bound in item.bounds]
        assert isinstance(windows(bounds, "birth"), Conflict)
        assert {item.days for item in answer.relaxations} == {answer.short_by_days}

    def test_blocked_days_would_have_to_leave_a_day_sooner(self) -> None:
        away = decision("block_dates", by="family", from_date=at_age(17), to_date=at_age(20.5))
        answer = schedule(five_year_old(decisions=(away,)), load_protocol(), lengthening(1, 17.5))
        assert isinstance(answer, Conflict)
        words = conflict(answer, load_protocol(), BORN).remedies
        assert sorted(words) == [
            "Femoral lengthening 1 would have to be allowed for 7 months longer, up to 20 y 7 m.",
            "The blocked dates would have to leave a date 7 months earlier for femoral lengthening 1.",
        ]

    def test_waiting_less_and_starting_sooner_are_told_apart(self) -> None:
        links = [
            Link("birth", "femoral_lengthening_1.start", 3000, None, "femoral_lengthening.not_before_three"),
            Link(f"{FIRST}.start", "femoral_lengthening_2.start", 1096, None, "femoral_lengthening.three_years_apart"),
            Link("birth", "femoral_lengthening_2.start", None, 3900, "femoral_lengthening.before_twenty"),
        ]
        answer = windows(links, "birth")
        assert isinstance(answer, Conflict)
        assert answer.short_by_days == 196
        assert set(conflict(answer, load_protocol(), BORN).remedies) == {
            "Femoral lengthening 1 would have to start 7 months earlier, at 7 y 8 m.",
            "The wait between femoral lengthening 1 and femoral lengthening 2 would have to be 7 months shorter.",
            "Femoral lengthening 2 would have to be allowed for 7 months longer, up to 11 y 3 m.",
        }

    def test_a_shorter_time_with_the_device_is_one_of_them(self) -> None:
        links = [
            Link("birth", f"{FIRST}.end", 0, 3000, "femoral_lengthening.before_twenty"),
            Link(f"{FIRST}.start", f"{FIRST}.end", 180, None, f"duration of {FIRST}"),
            Link("birth", f"{FIRST}.start", 2900, None, f"{FIRST} was done on some day"),
        ]
        answer = windows(links, "birth")
        assert isinstance(answer, Conflict)
        words = conflict(answer, load_protocol(), BORN).remedies
        assert "Femoral lengthening 1 would have to be 3 months shorter." in words
        assert len(words) == 2, "what was done cannot give way"


@cache
def _bent():
    return made_once(Question(five_year_old(SHALLOW_AND_BENT), load_protocol(), ON), compared=False)


class TestDelays:
    @pytest.mark.parametrize("name", NAMES)
    def test_every_operation_to_come_says_what_a_delay_does(self, name) -> None:
        roles = {stage.id: stage.role for stage in load_protocol().stages}
        for stage in example_plan(name).stages:
            coming = stage.date is not None and stage.status not in ("done", "under_way")
            if coming and roles[stage.kind] not in ("reexamination", "accompanying"):
                assert stage.delay
                assert all(sentence.endswith(".") for sentence in stage.delay)
            else:
                assert stage.delay == ()

    @pytest.mark.parametrize("name", NAMES)
    def test_free_slack_is_never_more_than_slack(self, name) -> None:
        for stage in example_plan(name).stages:
            if stage.free_slack_days is not None:
                assert stage.free_slack_days >= 0
                assert stage.slack_days is None or stage.free_slack_days <= stage.slack_days

    @pytest.mark.parametrize("name", NAMES)
    def test_no_delay_is_told_beyond_the_last_day_of_a_stage_and_the_column_has_the_same_day(self, name) -> None:
        for stage in example_plan(name).stages:
            told = " ".join(stage.delay)
            free = re.search(r"A delay of up to [^,]+, to (\d{4}-\d\d-\d\d)(, its last day)?, moves no other", told)
            if free is None:
                continue
            until = Day.fromisoformat(free[1])
            last = stage.window.latest
            assert last is None or until <= last
            assert (until == last) == (free[2] is not None)
            assert may_wait_until(stage) == until
            assert slip_words(stage) == short_span((until - stage.date).days)

    @pytest.mark.parametrize("name", NAMES)
    def test_what_starts_where_another_ends_has_no_room_of_its_own(self, name) -> None:
        for stage in example_plan(name).stages:
            if stage.delay and stage.delay[0].startswith("Any delay makes"):
                assert may_wait_days(stage) == 0
                assert not moves_others(stage)

    def test_a_lengthening_that_nothing_waits_for_still_ends_with_its_rule_of_use(self) -> None:
        stage = example_plan("alder-06").stage(FIRST)
        assert stage.delay[0].startswith("A delay of up to 2 years 2 months, to 2029-05-09, its last day, moves no")

    @pytest.mark.parametrize("name", ["alder-06", "hazel-08", "rowan-02"])
    def test_the_second_hip_look_waits_no_longer_than_the_operation_after_it(self, name) -> None:
        plan = example_plan(name)
        look = next(stage for stage in plan.stages if stage.kind == "second_hip_look")
        first = min(stage.date for stage in plan.stages if stage.operation and stage.date and not stage.begun)
        assert may_wait_until(look) <= first

    def test_first_what_stays_then_what_moves_and_the_end_of_the_plan_loses_nothing(self) -> None:
        stage = _bent().stage("hardware_removal_1")
        assert stage.free_slack_days is not None
        free = stage.date + datetime.timedelta(days=stage.free_slack_days)
        stays, *moves = stage.delay
        assert stays == f"A delay of up to {span_words(stage.free_slack_days)}, to {free}, moves no other date."
        assert moves[0].startswith("A longer delay also delays femoral lengthening 1")
        assert "too late" not in " ".join(stage.delay)

    def test_the_growth_arrest_names_its_last_useful_day(self) -> None:
        """It is no border: nothing else is lost with it."""
        stage = _bent().stage("contralateral_growth_arrest")
        assert stage.delay[-1] == (
            f"After {stage.window.latest} it misses what is planned by more than the goal allows: less each month, "
            "not at once."
        )
        others = [other for other in _bent().stages if other.id != stage.id]
        assert not [text for other in others for text in other.delay if "misses what is planned" in text]

    def test_the_usual_age_passes_before_the_last_day(self) -> None:
        usual, last = _bent().stage(FIRST).delay[-2:]
        assert usual == f"Later than the usual age after {add_months(BORN, 96)}."
        assert last.startswith(f"As a rule of use until {add_months(BORN, 108)}: ")

    def test_a_hip_preparation_tells_its_clinical_latest_age(self) -> None:
        """Two to four years, later in a series to 8.1 years (Children 2024)."""
        last = _bent().stage(HIP).delay[-1]
        assert last.startswith(f"As a rule of use until {add_months(BORN, 96)}: Later than the preferred years")
        assert "8.1" in last

    def test_a_removal_that_comes_later_makes_the_lengthening_longer(self) -> None:
        (only,) = _bent().stage("femoral_device_removal_1").delay
        assert only == "Any delay makes femoral lengthening 1 last longer."

    def test_plan_and_why_print_it(self) -> None:
        plan = _bent()
        assert "If an operation is delayed" in plan_text(plan)
        lines = [line.text for line in why(plan, plan.stage(HIP))]
        at = lines.index("If it is delayed")
        delay = plan.stage(HIP).delay
        assert tuple(lines[at + 1 : at + 1 + len(delay)]) == delay


class TestWish:
    def plan(self, *holidays: SchoolHoliday):
        calendar = CaseCalendar(operations_in_school_holidays="wished", school_holidays=holidays)
        record = five_year_old(SHALLOW_AND_BENT).model_copy(update={"calendar": calendar})
        return made_once(Question(record, load_protocol(), ON), compared=False)

    def test_met(self) -> None:
        first = _bent().stage(HIP).date + datetime.timedelta(days=10)
        summer = SchoolHoliday(name="summer", from_date=first, to_date=first + datetime.timedelta(days=20))
        stage = self.plan(summer).stage(HIP)
        assert summer.from_date <= stage.date <= summer.to_date
        assert stage.preferred == "in a school holiday (summer), as the family wished"

    def test_not_met_without_a_holiday(self) -> None:
        plan = self.plan()
        assert plan.stage(HIP).date == _bent().stage(HIP).date
        assert plan.stage(HIP).preferred.startswith(
            "the family would like a school holiday; none with an operating day"
        )
        assert "The family would like a school holiday" in " ".join(plan_text(plan).split())

    def test_not_met_where_a_chosen_age_would_move(self) -> None:
        far = SchoolHoliday(name="far", from_date=at_age(9), to_date=at_age(9.1))
        stage = self.plan(far).stage(HIP)
        assert "would also move" in stage.preferred and "femoral lengthening 1" in stage.preferred
        assert stage.date == _bent().stage(HIP).date

    def test_without_a_wish_nothing_is_said(self) -> None:
        assert {stage.preferred for stage in _bent().stages} == {""}
