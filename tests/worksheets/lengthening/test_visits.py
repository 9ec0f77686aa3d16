"""Any number of visits with what was turned and the rate from then on: turns, millimetres and days add up exactly."""

from __future__ import annotations

import datetime
import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.problems import Refused
from pathway.worksheets.lengthening.distraction import ordered, ordered_by
from pathway.worksheets.lengthening.ledger import Ledger, begun
from pathway.worksheets.lengthening.visits import Visit, read_visits
from tests.worksheets.cases import protocol
from tests.worksheets.lengthening.sheets import FIRST, asked, day, hand, seen, turned, worked

RATES = tuple(Fraction(n, 100) for n in (10, 25, 33, 50, 75, 80, 100, 125, 200))
TURNS = (Fraction(1, 20), Fraction(1, 4), Fraction(1, 3), Fraction(1, 2), Fraction(1))
amounts = st.integers(100, 15000).map(lambda n: Fraction(n, 100))


@st.composite
def visits(draw: st.DrawFn) -> tuple[Visit, ...]:
    """Return visits in order, each counted or not, with any order from then on."""
    gaps = draw(st.lists(st.integers(1, 40), max_size=8))
    found, on = [], FIRST - datetime.timedelta(days=1)
    for gap in gaps:
        on += datetime.timedelta(days=gap)
        most = 2 * gap
        counted = draw(st.none() | st.integers(0, 100 * most).map(lambda n: Fraction(n, 100)))
        then = draw(st.sampled_from(("", "", "rate", "pause", "stop")))
        rate = draw(st.sampled_from(RATES)) if then == "rate" else None
        turn = draw(st.none() | st.sampled_from(TURNS)) if then == "rate" else None
        found.append(Visit(on, counted, None, None, then, rate, turn))
    return tuple(found)


def through(start: Ledger, several: tuple[Visit, ...]) -> list[Ledger]:
    """Return the ledger before any visit and after each."""
    found = [start]
    for visit in several:
        found.append(found[-1].visited(visit, visit.turned_mm))
    return found


@given(amount=amounts, rate=st.sampled_from(RATES), turn=st.sampled_from(TURNS), several=visits())
def test_what_was_turned_and_what_is_to_come_add_up_exactly(
    amount: Fraction, rate: Fraction, turn: Fraction, several: tuple[Visit, ...]
) -> None:
    steps = through(begun(amount, FIRST, rate, turn), several)
    since = [after.reached_mm - before.reached_mm for before, after in pairwise(steps)]
    assert all(mm >= 0 for mm in since)
    last = steps[-1].resumed(14)
    to_come = [one for one in last.days() if last.on is None or one.date > last.on]
    total = sum(since, Fraction(0)) + sum((one.mm for one in to_come), Fraction(0))
    counted_beyond = last.reached_mm > amount
    if last.rate_mm_per_day is None or counted_beyond:
        assert not to_come
        assert total == last.reached_mm
    else:
        assert total == amount
    if to_come:
        assert to_come[-1].reached_mm == total
        assert all(later.date > sooner.date for sooner, later in pairwise(to_come))


@given(amount=amounts, rate=st.sampled_from(RATES), turn=st.sampled_from(TURNS), several=visits())
def test_turns_of_each_order_are_whole_but_for_the_last(
    amount: Fraction, rate: Fraction, turn: Fraction, several: tuple[Visit, ...]
) -> None:
    last = through(begun(amount, FIRST, rate, turn), several)[-1].resumed(14)
    for one in last.days():
        whole = one.turns * last.turn_mm
        assert one.mm == whole or one.reached_mm == amount
        assert one.mm <= whole


@given(amount=amounts, rate=st.sampled_from(RATES), turn=st.sampled_from(TURNS), numbers=st.sets(st.integers(1, 90)))
def test_visits_that_count_and_change_nothing_shift_no_turn(
    amount: Fraction, rate: Fraction, turn: Fraction, numbers: set[int]
) -> None:
    alone = begun(amount, FIRST, rate, turn)
    last = through(alone, tuple(Visit(day(number), film_mm=1.0) for number in sorted(numbers)))[-1]
    assert last.days() == alone.days()
    assert last.on is None or last.reached_mm == alone.ordered_to(last.on)


@given(
    amount=amounts, rate=st.sampled_from(RATES), turn=st.sampled_from(TURNS), several=visits(), until=st.integers(1, 99)
)
def test_the_sum_to_a_day_is_that_of_its_days(
    amount: Fraction, rate: Fraction, turn: Fraction, several: tuple[Visit, ...], until: int
) -> None:
    last = through(begun(amount, FIRST, rate, turn), several)[-1]
    days = tuple(ordered(last.orders, amount, last.base_mm, day(until)))
    reached = days[-1].reached_mm if days else last.base_mm
    assert ordered_by(last.orders, amount, last.base_mm, day(until)) == reached


@settings(max_examples=60, deadline=None)
@given(
    steps=st.lists(
        st.tuples(st.integers(1, 12), st.integers(0, 100), st.sampled_from((None, *RATES))), min_size=1, max_size=6
    )
)
def test_the_sheet_of_any_visits_adds_up(steps: list[tuple[int, int, Fraction | None]]) -> None:
    number, total, written = 0, Fraction(0), []
    for gap, percent, rate in steps:
        number += gap
        mm = min(Fraction(percent * gap, 100), 50 - total)
        total += mm
        then = "-" if rate is None else f"{float(rate):g}"
        written.append(f"{day(number)}:{float(mm):.2f}:-:{then}")
    made = worked(",".join(written))
    rows = made.so_far.rows
    assert [row.turned_mm for row in rows] == [Fraction(text.split(":")[1]) for text in written]
    assert sum((row.turned_mm or Fraction(0) for row in rows), Fraction(0)) == total == rows[-1].reached_mm
    assert total + sum((one.mm for one in made.course.days), Fraction(0)) == 50 == made.course.gain_mm
    assert not made.so_far.questions


def test_the_calendar_goes_on_from_what_was_counted_at_the_rate_from_then_on() -> None:
    made = hand(seen("14:14:13.5", "28:12:25:0.75", "42:-:36:0.5x2"), on=day(42))
    table = made.section("Visits so far").tables[0].rows
    assert [row[2] for row in table] == [14.0, 12.0, 10.5]
    assert [row[3] for row in table] == [14.0, 26.0, 36.5]
    assert [row[6] for row in table] == ["as before", "0.75 mm a day", "0.5 mm a day"]
    rows = turned(made)
    assert (rows[0][1], rows[0][2], rows[0][3]) == (day(43), 2, 0.5)
    assert len(rows) == 27
    assert made.line("End of distraction").value == rows[-1][1] == day(69)
    assert rows[-1][4] == 50.0
    assert not asked(made)


def test_turns_counted_by_the_family_are_millimetres_at_the_turn_in_force() -> None:
    made = worked(seen("14:56t:14:0.6x3", "24:30t:20"))
    assert [row.turned_mm for row in made.so_far.rows] == [14, 6]


def test_a_third_of_a_millimetre_stays_exact() -> None:
    made = worked(seen("14:14:14:1x3"))
    assert {one.mm for one in made.course.days} == {Fraction(1)}
    assert {one.turns for one in made.course.days} == {3}
    assert made.course.gain_mm == 50


def test_a_pause_lasts_to_the_next_visit_and_turning_goes_on_at_the_rate_before() -> None:
    made = worked(seen("14:14:14:0.75", "20:-:-:pause", "30:-:18"))
    assert [row.turned_mm for row in made.so_far.rows] == [14, Fraction(9, 2), 0]
    assert made.course.days[0].date == day(31)
    assert made.course.days[0].mm == Fraction(3, 4)


def test_a_pause_that_no_visit_ended_lasts_to_the_next_visit_that_is_due() -> None:
    made = worked(seen("14:14:14:pause"), on=day(14))
    assert made.course.days[0].date == day(14) + datetime.timedelta(days=15)


def test_what_is_ordered_after_a_stop_begins_again_with_its_own_rate() -> None:
    stopped = worked(seen("14:14:14:stop"))
    assert stopped.course.days == ()
    assert (stopped.course.gain_mm, stopped.course.end) == (14, day(14))
    again = worked(seen("14:14:14:stop", "21:-:14:0.5"))
    assert again.course.days[0].date == day(22)
    assert again.course.gain_mm == 50


def test_a_rate_planned_for_a_day_to_come_stands_in_the_calendar_and_asks_nothing() -> None:
    made = hand(seen("7:7:7", "21:-:-:0.5"), on=day(7))
    rows = turned(made)
    assert [row[1] for row in rows[:14]] == [day(number) for number in range(8, 22)]
    assert {row[3] for row in rows[:14]} == {1.0}
    assert {row[3] for row in rows[14:]} == {0.5}
    assert rows[-1][4] == 50.0
    assert not asked(made)


def test_visits_may_be_set_to_none() -> None:
    assert turned(hand("none")) == turned(hand())


def test_the_visits_that_the_calendar_plans_come_after_the_last_one_seen() -> None:
    made = hand(seen("14:14:14", "28:14:28"), on=day(28))
    planned = made.section("Visits").tables[0].rows
    assert all(isinstance(row[1], datetime.date) and row[1] > day(28) for row in planned)
    assert planned[0][2] == pytest.approx(42.0, abs=2)


def test_the_lift_goes_on_week_by_week_from_the_last_visit() -> None:
    made = hand(seen("14:14:14", "28:10:24"), on=day(28), difference_mm="90")
    rows = made.section("Lift").tables[0].rows
    assert (rows[0][0], rows[0][1]) == (day(29), 24.0)
    assert rows[-1][1] == 50.0


def test_what_was_turned_beyond_the_amount_is_asked_back_and_stays_turned() -> None:
    made = hand(seen("40:40:40", "52:12:52"))
    assert any("52 mm turned in all" in text and "at most the amount of 50 mm" in text for text in asked(made))
    assert made.section("Visits so far").tables[0].rows[-1][3] == 52.0
    assert turned(made) == ()


def test_more_turned_than_the_fastest_rate_allows_is_asked_back_and_counted_as_ordered() -> None:
    made = hand(seen("7:45:7"))
    assert [row[3] for row in made.section("Visits so far").tables[0].rows] == [7.0]
    assert any("45 mm turned in the 7 days" in text and "at most 14 mm" in text for text in asked(made))


@given(text=st.text(max_size=40))
@settings(max_examples=200)
def test_any_text_is_read_or_refused_with_what_is_expected(text: str) -> None:
    rules = protocol().value("distraction_mm_per_day"), protocol().value("lengthening_turn_mm")
    try:
        found = read_visits(text, "lengthening", *rules)
    except Refused as refused:
        assert all(fault.found and fault.expected and fault.remedy for fault in refused.problems)
        return
    assert all(visit.film_mm is None or isinstance(visit.film_mm, float) for visit in found)
    assert not any(visit.turned_mm is not None and not math.isfinite(visit.turned_mm) for visit in found)
