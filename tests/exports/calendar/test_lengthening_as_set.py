"""The calendar of a lengthening with its visits: day by day what the worksheet with the same settings says.

Read back by vobject, by a reader of lines written here after RFC 5545, and by `ics` where it is installed: none of them
writes the file.
"""

from __future__ import annotations

import datetime
import json
import re
from collections.abc import Callable, Mapping

import pytest
import vobject
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pathway.cli.main import main
from pathway.exports.calendar.ics import calendar_bytes, read_previous
from pathway.exports.calendar.turning import part_of, turning_agenda
from pathway.protocol.question import Question
from pathway.views.words.wording import wording
from pathway.worksheets.case import Case, case_of
from pathway.worksheets.lengthening import worksheet as lengthening
from pathway.worksheets.lengthening.distraction import exact
from tests.examples import example, example_plan
from tests.exports.made import STAMP, clinic_of, rules
from tests.worksheets.cases import planned
from tests.worksheets.lengthening.sheets import BASE, TODAY, day, seen

STAGE = "femoral_lengthening_1"
Days = dict[datetime.date, tuple[int, float, int]]
"""By day: turns, mm, alarms."""
TITLE = re.compile(r"rowan-02: (?:(one) turn|(\d+) turns), ([0-9.]+) mm( \(last day\))?")

AS_SET = {
    "no visit": {},
    "another rate": {"rate_mm_per_day": "0.75"},
    "visits and rates": {"visits": seen("14:14:13.5", "28:12:25:0.75", "42:-:36:0.5x2")},
    "turns of a third": {"visits": seen("14:14:14:1x3")},
    "a film that cannot be": {"visits": seen("4:4:45", "50:40:30")},
    "a pause": {"visits": seen("14:14:14:0.75", "20:-:-:pause", "30:-:18")},
    "a rate planned ahead": {"visits": f"{seen('40:30:30')},{TODAY + datetime.timedelta(days=5)}:-:-:0.25"},
    "a nerve that speaks": {"visits": seen("20:20:20"), "at_visit": "nerve_signs"},
    "by the millimetre and a half turn": {"turn_mm": "0.3", "visits": seen("14:14:14:0.8")},
}


def at(on: datetime.date = TODAY) -> Case:
    plan, posterior = example_plan("rowan-02"), planned()[1]
    return case_of(Question(example("rowan-02"), rules(), on), plan, plan.stage(STAGE), posterior)


def file_as_set(chosen: Mapping[str, str], language: str = "en", previous: bytes | None = None) -> bytes:
    plan, clinic = example_plan("rowan-02"), clinic_of(example("rowan-02"), rules(), language)
    entries = turning_agenda(plan, plan.stage(STAGE), lengthening.worked(at(), {**BASE, **chosen}), clinic)
    before = None if previous is None else read_previous(previous, "before.ics")
    assert before is None or isinstance(before, Mapping)
    words = wording(language)
    return calendar_bytes("rowan-02", entries, TODAY, STAMP, "A caution.", words, before, (part_of(STAGE),))


def turning_day(title: str, alarms: int) -> tuple[int, float, int] | None:
    read = TITLE.fullmatch(title)
    if read is None:
        # A day of a slow rate on which nothing is turned.
        none = re.fullmatch(r"rowan-02: 0 turns, 0 mm", title)
        return (0, 0.0, alarms) if none else None
    return (1 if read[1] else int(read[2]), float(read[3]), alarms)


def by_vobject(data: bytes) -> Days:
    events = vobject.readOne(data.decode("utf-8")).vevent_list
    found = ((one, turning_day(one.summary.value, len(one.contents.get("valarm", ())))) for one in events)
    return {one.dtstart.value: told for one, told in found if told is not None}


def by_lines(data: bytes) -> Days:
    """Return the days as RFC 5545 is read by hand: lines unfolded, events between their BEGIN and END."""
    lines = data.decode("utf-8").replace("\r\n ", "").split("\r\n")
    found: Days = {}
    fields: dict[str, str] = {}
    alarms = 0
    inside: list[str] = []
    for line in lines:
        name, _, value = line.partition(":")
        if name == "BEGIN":
            inside.append(value)
            alarms += value == "VALARM"
            if value == "VEVENT":
                fields, alarms = {}, 0
        elif name == "END":
            assert inside.pop() == value
            if value == "VEVENT":
                title = re.sub(r"\\([,;\\])", r"\1", fields["SUMMARY"])
                told = turning_day(title, alarms)
                if told is not None:
                    found[datetime.datetime.strptime(fields["DTSTART"], "%Y%m%d").date()] = told
        elif inside == ["VCALENDAR", "VEVENT"]:
            fields[name.partition(";")[0]] = value
    assert inside == []
    return found


def by_ics(data: bytes) -> Days:
    ics = pytest.importorskip("ics", reason="ics is not installed here")
    found = ((one, turning_day(one.name, len(one.alarms))) for one in ics.Calendar(data.decode("utf-8")).events)
    return {one.begin.date(): told for one, told in found if told is not None}


PARSERS: dict[str, Callable[[bytes], Days]] = {"vobject": by_vobject, "lines": by_lines, "ics": by_ics}


def of_sheet(chosen: Mapping[str, str]) -> Days:
    tables = lengthening.worksheet(at(), {**BASE, **chosen}).section("Calendar of turns").tables
    rows = tables[0].rows if tables else ()
    return {row[1]: (row[2], float(f"{row[3]:g}"), row[2]) for row in rows}  # type: ignore[misc, str-format]


@pytest.mark.parametrize("name", AS_SET)
@pytest.mark.parametrize("parser", PARSERS)
def test_the_file_is_the_sheet_day_by_day(parser: str, name: str) -> None:
    found = PARSERS[parser](file_as_set(AS_SET[name]))
    expected = of_sheet(AS_SET[name])
    assert expected
    assert found.keys() == expected.keys()
    for date, (turns, mm, alarms) in expected.items():
        assert found[date][0] == turns
        assert found[date][1] == pytest.approx(mm, abs=0.005)
        assert found[date][2] == alarms


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    steps=st.lists(
        st.tuples(st.integers(1, 15), st.integers(0, 12), st.sampled_from(("-", "0.5", "0.75", "1", "1.25"))),
        min_size=1,
        max_size=4,
    )
)
def test_the_millimetres_of_the_file_and_of_the_visits_make_the_amount(steps: list[tuple[int, int, str]]) -> None:
    number, written, turned = 0, [], 0
    for gap, mm, then in steps:
        number += gap
        mm = min(mm, 2 * gap, 49 - turned)
        turned += mm
        written.append(f"{number}:{mm}:-:{then}")
    data = file_as_set({"visits": seen(*written)})
    days = by_lines(data)
    assert days == by_vobject(data)
    assert turned + sum(exact(mm) for _, mm, _ in days.values()) == 50
    assert min(days) > day(number)


def test_days_that_fell_away_after_a_visit_are_called_off() -> None:
    planned_at_first = file_as_set({"amount_mm": "150"})
    after = file_as_set({"amount_mm": "150", "visits": seen("100:100:100:stop")}, previous=planned_at_first)
    events = vobject.readOne(after.decode("utf-8")).vevent_list
    gone = [one for one in events if one.status.value == "CANCELLED" and turning_day(one.summary.value, 0)]
    assert {one.dtstart.value for one in gone} == {date for date in by_lines(planned_at_first) if date > TODAY}


def run(*arguments: str) -> tuple[int, str, str]:
    done = CliRunner().invoke(main, [*arguments])
    return done.exit_code, done.stdout, done.stderr


SET = ("--set", "operation_on=2026-11-02", "--set", "amount_mm=40", "--set", "visits=2026-11-16:7:7:0.75")


def test_the_verb_takes_the_sheet_as_it_is_set() -> None:
    more = (*SET, "--set", "visits=2026-11-24:-:13")
    code, printed, _ = run("worksheet", "lengthening", "rowan-02", "--on", "2026-11-25", "--json", *more)
    assert code == 0
    sections = json.loads(printed)["sections"]
    rows = next(one for one in sections if one["title"] == "Calendar of turns")["tables"][0]["rows"]
    code, written, said = run("calendar", "rowan-02", "--on", "2026-11-25", "--lengthening", STAGE, *more)
    assert code == 0
    assert "Asked back" not in said
    found = by_vobject(written.encode().replace(b"\r\n", b"\n").replace(b"\n", b"\r\n"))
    assert {str(date): turns for date, (turns, _, _) in found.items()} == {row[1]: row[2] for row in rows}
    assert sum(row[3] for row in rows) + 7 + 6 == 40


def test_what_is_asked_back_is_said_beside_the_file() -> None:
    code, written, said = run(
        "calendar", "rowan-02", "--on", "2026-11-25", "--lengthening", STAGE, *SET[:-1], "visits=2026-11-13:-:45"
    )
    assert code == 0
    assert "Asked back: film of 2026-11-13 shows 45 mm after 4 mm turned" in said
    assert "BEGIN:VCALENDAR" in written


@pytest.mark.parametrize("language", ["en", "de"])
def test_a_film_without_a_gap_leaves_no_day_of_turning_and_says_so_in_the_file(language: str) -> None:
    chosen = {"visits": seen("14:14:6:1")}
    data = file_as_set(chosen, language, previous=file_as_set({}, language))
    events = [one for one in vobject.readOne(data.decode("utf-8")).vevent_list if one.status.value != "CANCELLED"]
    (only,) = events
    assert only.dtstart.value == TODAY
    title, why = ("do not turn", "grown together") if language == "en" else ("nicht drehen", "zusammengewachsen")
    assert title in only.summary.value
    assert why in only.description.value


def test_a_film_without_a_gap_is_said_on_stderr() -> None:
    visits = (*SET[:-1], "visits=2026-11-23:14:5:1")
    code, written, said = run("calendar", "rowan-02", "--on", "2026-11-25", "--lengthening", STAGE, *visits)
    assert code == 0
    assert "no further turns" in said
    assert "No day of turning is written until the film is repeated" in said
    assert by_vobject(written.encode().replace(b"\r\n", b"\n").replace(b"\n", b"\r\n")) == {}


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--set", "amount_mm=40"), "name the stage with --lengthening"),
        (("--lengthening", STAGE, "--set", "amount_mm"), "expected name=value"),
        (("--lengthening", STAGE, "--set", "amuont_mm=40"), "did you mean amount_mm"),
        (("--lengthening", STAGE, "--set", "visits=yesterday"), "expected DAY:TURNED:FILM"),
        (("--lengthening", STAGE, "--set", "operation_on=2020-01-01"), "before the child was born"),
    ],
)
def test_a_setting_that_cannot_be_is_a_sentence_and_no_file(arguments: tuple[str, ...], said: str) -> None:
    code, written, told = run("calendar", "rowan-02", "--on", "2026-11-25", *arguments)
    assert code == 2
    assert said in " ".join(told.split())
    assert written == ""
