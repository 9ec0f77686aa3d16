"""The clinic's calendar among the rules: one, sourced, replaced by an overlay, refused where it cannot be."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from pathway.problems import Refused
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.timing.calendar import calendar_of
from pathway.views.rules.words import statement
from tests.made_once import made_once
from tests.sample import ON, SHALLOW_AND_BENT, five_year_old

OURS = """
[calendar]
id = "clinic_calendar"
operating_weekdays = ["tuesday", "thursday"]
blocked = [{ reason = "theatre closed", from = 2027-04-20, to = 2027-05-10 }]
school_holidays = [{ name = "summer", from = 2027-07-12, to = 2027-08-21 }]
because = "Our list days are Tuesday and Thursday."
provenance = "practice"
sources = ["common_practice"]
"""


def laid_over(folder: Path, text: str):
    (folder / "ours.toml").write_text(text, encoding="utf-8")
    return load_protocol(folder)


def test_ours_is_neutral_and_our_own_judgement(protocol) -> None:
    (ours,) = protocol.calendars
    assert ours.operating_weekdays == ("monday", "tuesday", "wednesday", "thursday", "friday")
    assert (ours.blocked, ours.school_holidays, ours.provenance) == ((), (), "judgement")


def test_a_clinic_lays_its_own_over_it(tmp_path) -> None:
    protocol = laid_over(tmp_path, OURS)
    (calendar,) = protocol.calendars
    assert calendar.local
    assert calendar.operating_weekdays == ("tuesday", "thursday")
    assert calendar.school_holidays[0].to_date == datetime.date(2027, 8, 21)
    assert statement(calendar, protocol) == (
        "Operations on Tuesday, Thursday; closed 2027-04-20 to 2027-05-10 (theatre closed); "
        "school holidays: summer 2027-07-12 to 2027-08-21."
    )


def test_the_plan_keeps_to_it(tmp_path) -> None:
    protocol = laid_over(tmp_path, OURS)
    plan = made_once(Question(five_year_old(SHALLOW_AND_BENT), protocol, ON), compared=False)
    days = [s.date for s in plan.stages if s.operation and s.date and s.status not in ("done", "under_way")]
    assert days
    assert {day.weekday() for day in days} <= {1, 3}
    assert not any(datetime.date(2027, 4, 20) <= day <= datetime.date(2027, 5, 10) for day in days)
    assert "clinic_calendar" in plan.protocol.local_rules


def test_what_an_overlay_does_not_give_stays_ours(tmp_path) -> None:
    text = '[calendar]\nid = "clinic_calendar"\nblocked = []\nsources = ["common_practice"]\nprovenance = "practice"\n'
    assert calendar_of(five_year_old(), laid_over(tmp_path, text)).weekdays == frozenset(range(5))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('id = "clinic_calendar"', 'id = "second_calendar"'), "2 calendars"),
        (('"thursday"]', '"thurseday"]'), "thurseday"),
        (('"thursday"]', '"tuesday"]'), "tuesday twice"),
        (('["tuesday", "thursday"]', "[]"), "at least 1"),
        (("to = 2027-08-21", "to = 2027-07-01"), "before it begins"),
        (('name = "summer"', 'title = "summer"'), "title"),
        ((OURS.strip(), '[calendar]\nid = "clinic_calendar"\noff = true\nbecause = "never closed"'), "clinic_calendar"),
    ],
    ids=["a second one", "no weekday", "a weekday twice", "no weekdays", "ends first", "unknown field", "off"],
)
def test_one_that_cannot_be_is_refused_with_file_and_rule(tmp_path, change, says) -> None:
    old, new = change
    assert old in OURS
    with pytest.raises(Refused) as refused:
        laid_over(tmp_path, OURS.replace(old, new))
    assert says in str(refused.value)
    assert "ours.toml" in str(refused.value)
