"""The calendar file: read again by another parser, and an older file replaced without doubling an entry."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from pathway.exports.calendar.agenda import Entry
from pathway.exports.calendar.ics import calendar_bytes, read_previous
from pathway.problems import CannotBeDone, Problem
from pathway.protocol.question import Question
from pathway.views.words.wording import wording
from tests.examples import NAMES, ON, example, example_plan
from tests.exports.made import STAMP, entries, entries_of, events, file_of, rules, turning, uid
from tests.made_once import made_once

LATER = datetime.date(2027, 6, 1)


def moves(stage: dict, on: datetime.date) -> bool:
    """Only a visit still to come may stand on another day than the plan has it: one on which the clinic is open."""
    return stage["lane"] == "checks" and stage["status"] not in ("done", "under_way") and stage["date"] > str(on)


def open_after(day: datetime.date) -> datetime.date:
    return day + datetime.timedelta(days=(7 - day.weekday()) if day.weekday() > 4 else 0)


def earlier(data: bytes):
    found = read_previous(data, "old.ics")
    assert not isinstance(found, Problem), found
    return found


@pytest.mark.parametrize("name", NAMES)
def test_another_parser_reads_every_number_of_the_plan(name: str) -> None:
    plan, found = example_plan(name), events(file_of(entries(name), child=name))
    data = plan.model_dump(mode="json")
    dated = [stage for stage in data["stages"] if stage["date"] is not None]
    assert dated
    for stage in dated:
        event = found[uid(name, stage["id"])]
        day = datetime.date.fromisoformat(stage["date"])
        assert event.dtstart.value in ((day, open_after(day)) if moves(stage, plan.on) else (day,))
        assert event.dtend.value - event.dtstart.value == datetime.timedelta(days=1)
        assert event.status.value == ("CONFIRMED" if stage["status"] in ("done", "under_way") else "TENTATIVE")
        if stage["amount_mm"] is not None:
            assert f", {stage['amount_mm'] / 10:.1f} cm" in event.summary.value
        if stage["window"] is not None and stage["status"] not in ("done", "under_way"):
            window = [datetime.date.fromisoformat(day) for day in stage["window"].values() if day]
            assert all(f"{day.day} {day:%B %Y}" in event.description.value for day in window)


def test_days_are_whole_days_without_a_zone_also_past_2038() -> None:
    far = Entry("far", "plan", "operation", datetime.date(2045, 3, 26), "far", ("words",))
    event = events(file_of((far,)))[uid("rowan-02", "far")]
    assert event.dtstart.value == datetime.date(2045, 3, 26)
    assert type(event.dtstart.value) is datetime.date
    assert b"TZID" not in file_of((far,))
    assert b"VTIMEZONE" not in file_of((far,))


def test_lines_are_folded_and_ended_as_rfc_5545_asks() -> None:
    data = file_of(entries("rowan-02"))
    assert data.count(b"\r\n") == data.count(b"\n")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75


def test_text_with_commas_semicolons_and_line_ends_comes_back_whole() -> None:
    words = ("a, b; c \\ d", "é … second line")
    odd = Entry("odd", "plan", "operation", ON, "x: a, b; c", words)
    event = events(file_of((odd,)))[uid("rowan-02", "odd")]
    assert (event.summary.value, event.description.value) == ("x: a, b; c", "\n".join(words))


def test_the_same_plan_gives_the_same_bytes() -> None:
    assert file_of(entries("rowan-02")) == file_of(entries("rowan-02"))


def test_a_later_plan_keeps_the_names_and_raises_the_numbers() -> None:
    old = events(file_of(entries("rowan-02")))
    plan = made_once(Question(example("rowan-02"), rules(), LATER), compared=False)
    new = events(file_of(entries_of(plan, example("rowan-02")), LATER))
    both = old.keys() & new.keys()
    assert {uid("rowan-02", stage.id) for stage in plan.stages if stage.date is not None} <= both
    moved = [name for name in both if old[name].dtstart.value != new[name].dtstart.value]
    assert moved
    assert all(int(new[name].sequence.value) > int(old[name].sequence.value) for name in both)


def test_with_the_previous_file_only_what_changed_gets_a_higher_number() -> None:
    first = entries("rowan-02")
    moved = next(entry for entry in first if entry.category == "operation" and not entry.firm)
    changed = tuple(
        replace(entry, day=entry.day + datetime.timedelta(days=7)) if entry is moved else entry for entry in first
    )
    before = file_of(first)
    old, new = events(before), events(file_of(changed, previous=earlier(before)))
    assert old.keys() == new.keys()
    raised = {name for name in new if int(new[name].sequence.value) > int(old[name].sequence.value)}
    assert raised == {uid("rowan-02", moved.key)}
    assert all(new[name].sequence.value == old[name].sequence.value for name in new.keys() - raised)


def test_with_the_previous_file_the_number_grows_however_often_a_day_the_plan_is_revised() -> None:
    day, data = ON, file_of((Entry("a", "plan", "operation", ON, "a", ("x",)),))
    numbers = [int(events(data)[uid("rowan-02", "a")].sequence.value)]
    for _ in range(3):
        day += datetime.timedelta(days=40)
        data = file_of((Entry("a", "plan", "operation", day, "a", ("x",)),), previous=earlier(data))
        numbers.append(int(events(data)[uid("rowan-02", "a")].sequence.value))
    assert numbers == sorted(set(numbers))


def test_what_fell_out_of_the_plan_is_called_off_once_and_what_is_past_is_left_alone() -> None:
    gone = Entry("gone", "plan", "operation", ON + datetime.timedelta(days=30), "gone", ("x",))
    past = replace(gone, key="past", day=ON - datetime.timedelta(days=30))
    first = file_of((gone, past))
    second = file_of((), previous=earlier(first))
    found = events(second)
    assert found.keys() == {uid("rowan-02", "gone")}
    event = found[uid("rowan-02", "gone")]
    assert event.status.value == "CANCELLED"
    assert int(event.sequence.value) == int(events(first)[uid("rowan-02", "gone")].sequence.value) + 1
    assert file_of((), previous=earlier(second)) == second
    back = events(file_of((gone,), previous=earlier(second)))[uid("rowan-02", "gone")]
    assert back.status.value == "TENTATIVE"
    assert int(back.sequence.value) > int(event.sequence.value)


def test_the_days_of_a_lengthening_stay_when_a_later_file_does_not_ask_for_them() -> None:
    stage = "femoral_lengthening_1"
    whole = file_of((*entries("rowan-02"), *turning("rowan-02", stage)))
    assert len(events(whole)) == len(entries("rowan-02")) + len(turning("rowan-02", stage))
    again = file_of(entries("rowan-02"), previous=earlier(whole))
    assert not [event for event in events(again).values() if event.status.value == "CANCELLED"]


def test_two_children_never_share_a_name() -> None:
    one, other = events(file_of(entries("rowan-02"))), events(file_of(entries("rowan-02"), child="other-02"))
    assert not one.keys() & other.keys()


def test_the_moment_of_writing_is_the_one_given_and_changes_no_number() -> None:
    later = file_of(entries("rowan-02"), stamp=STAMP + datetime.timedelta(hours=5))
    assert later.replace(b"DTSTAMP:20261125T130000Z", b"DTSTAMP:20261125T080000Z") == file_of(entries("rowan-02"))


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"not a calendar", "not a calendar"),
        (b"", "not a calendar"),
        (b"\xff\xfe\x00", "not a calendar"),
        (b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//other//x//EN\r\nEND:VCALENDAR\r\n", "by -//other"),
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:1\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n", "an incomplete entry"),
        (file_of((Entry("a", "plan", "operation", ON, "a", ("x",)),))[:300], "not a calendar"),
    ],
)
def test_a_previous_file_that_is_not_ours_is_refused_in_words(data: bytes, found: str) -> None:
    fault = read_previous(data, "old.ics")
    assert isinstance(fault, Problem)
    assert found in fault.sentence
    assert "name the file that was sent before" in fault.sentence


def test_every_sequence_fits_the_standards_integer() -> None:
    last = datetime.date(2150, 12, 31)
    data = calendar_bytes("a", (Entry("a", "plan", "operation", last, "a", ("x",)),), last, STAMP, "x", wording())
    assert 0 < int(events(data)[uid("a", "a")].sequence.value) < 2**31


def test_a_plan_without_a_day_gives_no_calendar() -> None:
    with pytest.raises(CannotBeDone):
        file_of((), child="elm-01")
