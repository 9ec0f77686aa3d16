"""The calendar as a family has it: in its language, with reminders, on days the clinic is open, with whom to call.

Read back by every parser that is installed here: icalendar, vobject and, where they are there, two more.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import icalendar
import pytest
import vobject

from pathway.exports.calendar.agenda import agenda
from pathway.exports.calendar.turning import turn_hours
from pathway.problems import Refused
from pathway.protocol.question import Question
from pathway.record import BlockedWeeks
from pathway.rule_engine.facts import facts_on
from pathway.views.words import family_terms
from pathway.views.words.wording import wording
from tests.examples import NAMES, ON, example, example_plan
from tests.exports.made import clinic_of, entries, entries_of, file_of, rules, turning, uid

STAGE = "femoral_lengthening_1"
LANGUAGES = ("en", "de")
Read = dict[str, tuple[datetime.date, str, str, int]]
"""By UID: day, title, words, number of reminders."""


@cache
def made(language: str) -> bytes:
    whole = (*entries("rowan-02", language), *turning("rowan-02", STAGE, language))
    return file_of(whole, language=language)


def by_icalendar(data: bytes) -> Read:
    found = icalendar.Calendar.from_ical(data).walk("VEVENT")
    return {
        str(one["uid"]): (one["dtstart"].dt, str(one["summary"]), str(one["description"]), len(one.walk("VALARM")))
        for one in found
    }


def by_vobject(data: bytes) -> Read:
    found = vobject.readOne(data.decode("utf-8")).vevent_list
    return {
        one.uid.value: (
            one.dtstart.value,
            one.summary.value,
            one.description.value,
            len(one.contents.get("valarm", ())),
        )
        for one in found
    }


def by_ics(data: bytes) -> Read:
    ics = pytest.importorskip("ics", reason="ics is not installed here")
    # Times of whole-day alarms are the reader's own matter: it reads them one by one.
    found = ics.Calendar(data.decode("utf-8")).events
    return {one.uid: (one.begin.date(), one.name, one.description, len(one.alarms)) for one in found}


def by_recurring(data: bytes) -> Read:
    recurring = pytest.importorskip("recurring_ical_events", reason="recurring-ical-events is not installed here")
    found = recurring.of(icalendar.Calendar.from_ical(data)).between((1990, 1, 1), (2100, 1, 1))
    return {
        str(one["uid"]): (one["dtstart"].dt, str(one["summary"]), str(one["description"]), len(one.walk("VALARM")))
        for one in found
    }


PARSERS: dict[str, Callable[[bytes], Read]] = {
    "icalendar": by_icalendar,
    "vobject": by_vobject,
    "ics": by_ics,
    "recurring_ical_events": by_recurring,
}


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("parser", PARSERS)
def test_every_parser_reads_the_same_entries(parser: str, language: str) -> None:
    whole = (*entries("rowan-02", language), *turning("rowan-02", STAGE, language))
    expected = {
        uid("rowan-02", entry.key): (entry.day, entry.title, "\n".join(entry.words), len(entry.reminders))
        for entry in whole
    }
    assert PARSERS[parser](made(language)) == expected


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("name", NAMES)
def test_every_entry_ends_with_the_caution_in_its_language(name: str, language: str) -> None:
    words, plan = wording(language), example_plan(name)
    for entry in entries(name, language):
        assert entry.words[-2:] == (family_terms.caution_of(plan, words), words.say("invented"))


def test_an_entry_keeps_its_name_in_every_language() -> None:
    assert by_icalendar(made("en")).keys() == by_icalendar(made("de")).keys()


def test_german_entries_have_no_english_words() -> None:
    told = " ".join(text for _, title, text, _ in by_icalendar(made("de")).values() for text in (title, text))
    found = set(re.findall(r"[A-Za-zäöüßÄÖÜ]+", told))
    assert not found & {"the", "of", "and", "is", "visit", "planned", "turns", "film", "Call", "about", "until", "with"}


def test_a_step_has_the_name_and_the_words_of_the_familys_other_texts() -> None:
    plan = example_plan("rowan-02")
    told = {entry.key: entry for entry in entries("rowan-02", "de")}
    stage = plan.stage("hip_preparation_1")
    entry = told[stage.id]
    assert entry.title == "rowan-02: Die Hüfte vorbereiten, das linke Bein (geplant)"
    assert entry.words[0] == family_terms.what_of(stage, wording("de"))
    assert "4,0 cm" in told[STAGE].title


class TestReminders:
    def test_come_before_every_operation_and_visit_ahead_as_many_days_as_the_rules_say(self) -> None:
        hour = datetime.timedelta(hours=rules().number("reminder_hour"))
        for entry in entries("rowan-02"):
            days = rules().number(f"reminder_{'operation' if entry.category == 'operation' else 'visit'}_days")
            if entry.category in ("operation", "examination", "follow-up"):
                (one,) = entry.reminders
                assert one.after == hour - datetime.timedelta(days=days)
                assert entry.title in one.words

    def test_none_for_what_is_over(self) -> None:
        assert not [entry for name in NAMES for entry in entries(name) if entry.firm and entry.reminders]


class TestDaysOnWhichTheClinicIsClosed:
    @pytest.mark.parametrize("name", NAMES)
    def test_no_visit_ahead_falls_on_a_weekend(self, name: str) -> None:
        visits = [entry for entry in entries(name) if entry.category in ("examination", "follow-up") and not entry.firm]
        assert all(entry.day.weekday() < 5 for entry in visits)

    def test_a_visit_in_closed_weeks_stands_on_the_next_open_day_says_so_and_keeps_its_name(self) -> None:
        first = next(entry for entry in entries("rowan-02") if entry.category == "follow-up")
        closed = BlockedWeeks(reason="closed", from_date=first.day, to_date=first.day + datetime.timedelta(days=9))
        (ours,) = rules().calendars
        shut = rules().model_copy(update={"calendars": (ours.model_copy(update={"blocked": (closed,)}),)})
        moved = {entry.key: entry for entry in entries_of(example_plan("rowan-02"), example("rowan-02"), "en", shut)}
        entry = moved[first.key]
        assert entry.day > closed.to_date
        assert entry.day.weekday() < 5
        assert any(text.startswith("No visit can be on ") for text in entry.words)
        assert moved.keys() == {one.key for one in entries("rowan-02")}

    def test_an_examination_stays_before_the_operation_that_it_is_for(self) -> None:
        plan = example_plan("rowan-02")
        exam = next(s for s in plan.stages if s.kind == "examination" and s.date is not None and s.date > ON)
        assert exam.date is not None
        span = datetime.timedelta(days=400)
        closed = BlockedWeeks(reason="closed", from_date=exam.date, to_date=exam.date + span)
        (ours,) = rules().calendars
        shut = rules().model_copy(update={"calendars": (ours.model_copy(update={"blocked": (closed,)}),)})
        moved = {entry.key: entry for entry in entries_of(plan, example("rowan-02"), "en", shut)}
        assert moved[exam.id].day < exam.date
        assert any("open day before" in text for text in moved[exam.id].words)


class TestTurning:
    def test_turns_are_spread_over_the_hours_of_the_rules(self) -> None:
        def clock(hours: tuple[datetime.time, ...]) -> list[str]:
            return [f"{hour:%H:%M}" for hour in hours]

        assert clock(turn_hours(4, rules())) == ["08:00", "12:00", "16:00", "20:00"]
        assert clock(turn_hours(3, rules())) == ["08:00", "14:00", "20:00"]
        assert clock(turn_hours(1, rules())) == ["08:00"]
        assert turn_hours(0, rules()) == ()

    def test_each_turn_is_named_and_reminded_of_at_its_hour(self) -> None:
        days = [entry for entry in turning("rowan-02", STAGE) if "/turn/" in entry.key]
        for entry in days:
            told = next(text for text in entry.words if text.startswith("Turn at "))
            hours = [f"{one.after.seconds // 3600:02}:{one.after.seconds % 3600 // 60:02}" for one in entry.reminders]
            assert re.findall(r"\d\d:\d\d", told) == hours
            turns = re.search(r"(\d+) turns|one turn", entry.title)
            assert turns is not None
            assert len(hours) == int(turns[1] or 1)

    def test_every_week_says_when_to_call_at_once_and_whom(self) -> None:
        weeks = [entry for entry in turning("rowan-02", STAGE) if "/week/" in entry.key]
        days = [entry.day for entry in turning("rowan-02", STAGE) if "/turn/" in entry.key]
        assert [entry.day for entry in weeks] == days[::7]
        wanted = [rule.family_words for rule in rules().stop_rules if rule.stage == "femoral_lengthening"]
        for entry in weeks:
            assert [text for text in wanted if text and f"- {text}" not in entry.words] == []
            assert "Phone of the clinic: ______" in entry.words

    def test_the_number_of_the_clinic_comes_from_its_own_rules(self) -> None:
        (ours,) = rules().calendars
        own = rules().model_copy(update={"calendars": (ours.model_copy(update={"phone": "+49 30 000 00"}),)})
        week = next(entry for entry in turning("rowan-02", STAGE, "en", own) if "/week/" in entry.key)
        assert "Phone of the clinic: +49 30 000 00" in week.words

    def test_no_visit_falls_on_a_day_on_which_the_clinic_is_closed(self) -> None:
        visits = [entry for entry in turning("rowan-02", STAGE) if entry.category == "visit"]
        assert visits
        closed = clinic_of(example("rowan-02"), rules()).calendar.blocked
        assert all(entry.day.weekday() < 5 and not any(entry.day in span for span in closed) for entry in visits)


def test_words_of_stop_rules_say_no_number_that_the_rule_does_not() -> None:
    for rule in (*rules().stop_rules, *rules().follow_ups):
        said = set(re.findall(r"\d+", rule.family_words or ""))
        assert said <= set(re.findall(r"\d+", f"{rule.text} {rule.because}")), rule.id


EVIL = "x\\nEND:VEVENT\\nBEGIN:VEVENT\\nUID:evil\\nSUMMARY:owned; a, b"
"""TOML makes line ends of its escapes. With a carriage return before them the file is refused."""


def test_hostile_words_of_a_clinic_make_no_entry_and_no_line() -> None:
    with pytest.raises(Refused, match="a character that nobody sees"):
        wording("en", f'[calendar]\nsigns = "{EVIL}\\r"\n', "mine.toml")
    words = wording("en", f'[calendar]\nplanned = "{{child}}: {EVIL}"\nbelongs = "{EVIL}"\n', "mine.toml")
    assert "\nEND:VEVENT\n" in words.say("calendar.belongs", step="x")
    clinic = replace(clinic_of(example("rowan-02"), rules()), words=words)
    plan = example_plan("rowan-02")
    facts = facts_on(Question(example("rowan-02").until(ON), rules(), ON), None)
    found = agenda(plan, facts, clinic)
    data = file_of(found)
    assert any("owned" in entry.title for entry in found)
    assert by_icalendar(data).keys() == by_vobject(data).keys() == {uid("rowan-02", entry.key) for entry in found}
    assert not [line for line in data.split(b"\r\n") if line in (b"UID:evil", b"SUMMARY:owned; a, b")]


def test_the_entries_read_as_easily_as_the_handout() -> None:
    """US grade 6, as `tests/views/documents/test_words.py` asks of the handout."""
    textstat = pytest.importorskip("textstat", reason="textstat is not installed here")
    caution = family_terms.caution_of(example_plan("rowan-02"), wording())
    whole = (*entries("rowan-02"), *turning("rowan-02", STAGE))
    said = dict.fromkeys(text for entry in whole for text in entry.words if text != caution)
    told = " ".join(text if text.endswith((".", "?", ":")) else f"{text}." for text in said)
    assert textstat.flesch_kincaid_grade(told.replace(":", ".")) <= 6.0
