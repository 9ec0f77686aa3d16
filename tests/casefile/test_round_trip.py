"""A record written as a case file reads back to the identical record."""

from __future__ import annotations

import datetime
import subprocess
import sys
from functools import cache
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.casefile import PREFERENCES, case_text, in_order, read_case
from pathway.casefile.planned import FRAMES, NAMES, REQUIRED
from pathway.protocol.load import load_protocol
from pathway.protocol.roles import may_be_declined, predecessor_of
from pathway.record import (
    BlockedWeeks,
    CaseCalendar,
    Child,
    Decision,
    DecisionKind,
    Measurement,
    Missing,
    Operation,
    OsteotomyPlan,
    Record,
    SchoolHoliday,
    Visit,
    Weekday,
)

BORN = datetime.date(2020, 2, 29)
notes = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
reasons = notes.filter(str.strip)
days = st.dates(BORN, datetime.date(2040, 12, 31))
entered = ("skeletal_age_years",)


@cache
def _catalogue():
    protocol = load_protocol()
    return tuple(rule for rule in protocol.findings if not rule.derived and rule.id not in entered)


@cache
def _ids(kind: str) -> tuple[str, ...]:
    return tuple(item.id for item in getattr(load_protocol(), kind))


def _value(rule):
    if rule.kind == "number":
        low, high = rule.plausible
        return st.one_of(st.floats(low, high), st.integers(int(low) + 1, int(high)).map(float))
    return st.booleans() if rule.kind == "flag" else st.sampled_from(rule.choices)


@st.composite
def visits(draw, day):
    method = draw(st.sampled_from(["", *_ids("methods")]))
    measured, missing = [], []
    for side in draw(st.permutations(["left", "right", None])):
        place = "child" if side is None else "limb"
        rules = [rule for rule in _catalogue() if rule.of == place]
        for rule in draw(st.lists(st.sampled_from(rules), max_size=4, unique_by=lambda rule: rule.id)):
            if draw(st.booleans()):
                methods = _ids("methods") if not method else (method, *_ids("methods"))
                measured.append(
                    Measurement(
                        finding=rule.id,
                        side=side,
                        value=draw(_value(rule)),
                        method=draw(st.sampled_from(methods)),
                        note=draw(notes),
                    )
                )
            else:
                why = draw(st.sampled_from(["never_measured", "not_measurable", "declined"]))
                missing.append(Missing(finding=rule.id, side=side, why=why, note=draw(notes)))
    years = draw(st.none() | st.floats(0.5, 18))
    return Visit(
        date=day,
        method=method,
        skeletal_age_years=years,
        skeletal_age_method=None if years is None else draw(st.none() | st.sampled_from(_ids("skeletal_methods"))),
        measurements=tuple(measured),
        missing=tuple(missing),
        note=draw(notes),
    )


@st.composite
def sheets(draw):
    shown = {name: draw(st.floats(-90, 90)) for name in NAMES}
    left_out = draw(st.sets(st.sampled_from(sorted(set(NAMES) - REQUIRED))))
    told = {name: value for name, value in shown.items() if name not in left_out}
    return OsteotomyPlan(flexion_frame=draw(st.sampled_from(FRAMES)), **told)


@st.composite
def operations(draw):
    protocol = load_protocol()
    stage = draw(st.sampled_from([kind for kind in protocol.stages if predecessor_of(kind, protocol) is None]))
    day = draw(days)
    return Operation(
        kind=stage.id,
        date=day,
        side="right" if stage.lane == "other_leg" else "left",
        achieved_mm=draw(st.none() | st.floats(0, 200)),
        achieved_deg=draw(st.none() | st.floats(-90, 90)),
        physes=tuple(draw(st.lists(st.sampled_from(["distal_femur", "proximal_tibia"]), unique=True))),
        device_removed=draw(st.none() | st.dates(day, datetime.date(2041, 1, 1))),
        complications=tuple(draw(st.lists(st.sampled_from(load_protocol().complications), max_size=3, unique=True))),
        planned=draw(st.none() | sheets()) if stage.role == "neck_shaft_correction" else None,
        note=draw(notes),
    )


def _details(kind: str):
    protocol = load_protocol()
    gates = [gate.id for gate in protocol.gates if gate.waivable]
    declinable = [stage.id for stage in protocol.stages if may_be_declined(stage, protocol)]
    return {
        "waive_gate": st.fixed_dictionaries({"gate": st.sampled_from(gates)}),
        "block_dates": st.tuples(days, days).map(
            lambda pair: {"from_date": min(pair), "to_date": max(pair)},
        ),
        "choose_course": st.fixed_dictionaries({"course": reasons}),
        "prefer": st.fixed_dictionaries({"prefer": st.sampled_from(PREFERENCES)}),
        "decline": st.fixed_dictionaries({"stage": st.sampled_from(declinable)}),
        "no_device": st.tuples(days, days).map(lambda pair: {"from_date": min(pair), "to_date": max(pair)}),
        "finish_before": st.fixed_dictionaries({"before": days}),
        "at_most_lengthenings": st.fixed_dictionaries({"number": st.integers(0, 9)}),
        "lift_at_most": st.fixed_dictionaries({"mm": st.floats(0, 300)}),
    }[kind]


@st.composite
def decisions(draw):
    kind = draw(st.sampled_from(get_args(DecisionKind)))
    by = draw(st.sampled_from(["family", "team"]))
    return Decision(date=draw(days), by=by, kind=kind, reason=draw(reasons), **draw(_details(kind)))


@st.composite
def spans(draw, shape, word):
    first, last = sorted((draw(days), draw(days)))
    return shape(from_date=first, to_date=last, **{word: draw(reasons)})


@st.composite
def calendars(draw):
    weekdays = st.lists(st.sampled_from(get_args(Weekday)), min_size=1, max_size=7, unique=True).map(tuple)
    blocked = st.lists(spans(BlockedWeeks, "reason"), max_size=2).map(tuple)
    holidays = st.lists(spans(SchoolHoliday, "name"), max_size=3).map(tuple)
    return CaseCalendar(
        operating_weekdays=draw(st.none() | weekdays),
        operations_in_school_holidays=draw(st.sampled_from([None, "wished", "not_wished"])),
        blocked=draw(st.none() | blocked),
        school_holidays=draw(st.none() | holidays),
    )


@st.composite
def records(draw):
    child = Child(
        id=draw(st.from_regex(r"[a-z0-9-]{1,12}", fullmatch=True)),
        date_of_birth=BORN,
        sex=draw(st.sampled_from(["girl", "boy"])),
        affected_side="left",
        diagnosis=draw(st.sampled_from(_ids("diagnoses"))),
        growth_pattern=draw(st.sampled_from([None, "congenital", "developmental"])),
        note=draw(notes),
    )
    visit_days = draw(st.lists(days, max_size=4, unique=True))
    return Record(
        child=child,
        visits=tuple(draw(visits(day)) for day in visit_days),
        operations=tuple(draw(st.lists(operations(), max_size=3))),
        decisions=tuple(draw(st.lists(decisions(), max_size=3))),
        calendar=draw(st.none() | calendars()),
    )


@given(records())
def test_a_record_written_and_read_again_is_the_same_record_in_order(protocol, record) -> None:
    assert read_case(case_text(record), "case.toml", protocol) == in_order(record)


@given(records())
def test_putting_in_order_loses_and_invents_nothing(record) -> None:
    ordered = in_order(record)
    assert in_order(ordered) == ordered
    assert sorted(map(repr, ordered.operations)) == sorted(map(repr, record.operations))
    assert sorted(map(repr, ordered.decisions)) == sorted(map(repr, record.decisions))
    for visit in record.visits:
        (same,) = [one for one in ordered.visits if one.date == visit.date]
        assert sorted(map(repr, same.measurements)) == sorted(map(repr, visit.measurements))
        assert sorted(map(repr, same.missing)) == sorted(map(repr, visit.missing))
        assert same.note == visit.note


def test_numbers_are_written_as_people_write_them() -> None:
    visit = Visit(
        date=datetime.date(2024, 3, 20),
        method="ct_scout",
        measurements=(
            Measurement(finding="femur_length_mm", side="left", value=101.0, method="ct_scout"),
            Measurement(finding="tibia_length_mm", side="left", value=118.5, method="ct_scout"),
            Measurement(finding="hip_mobile", side="left", value=True, method="examination"),
        ),
    )
    child = Child(
        id="maple-03",
        date_of_birth=BORN,
        sex="girl",
        affected_side="left",
        diagnosis="congenital_femoral_deficiency",
    )
    assert case_text(Record(child=child, visits=(visit,))) == (
        "schema_version = 1\n"
        "\n"
        "[child]\n"
        'id = "maple-03"\n'
        "date_of_birth = 2020-02-29\n"
        'sex = "girl"\n'
        'affected_side = "left"\n'
        'diagnosis = "congenital_femoral_deficiency"\n'
        "\n"
        "[[visit]]\n"
        "date = 2024-03-20\n"
        'method = "ct_scout"\n'
        "\n"
        "[visit.left]\n"
        "femur_length_mm = 101\n"
        "tibia_length_mm = 118.5\n"
        'hip_mobile = {value = true, method = "examination"}\n'
    )


def test_a_finding_that_stands_twice_in_a_visit_is_not_written_once() -> None:
    one = Measurement(finding="femur_length_mm", side="left", value=101.0, method="ct_scout")
    gap = Missing(finding="femur_length_mm", side="left", why="declined")
    child = Child(id="a", date_of_birth=BORN, sex="girl", affected_side="left", diagnosis="fibular_deficiency")
    visit = Visit(date=datetime.date(2024, 3, 20), method="ct_scout", measurements=(one,), missing=(gap,))
    with pytest.raises(ValueError, match="twice in the visit of 2024-03-20"):
        case_text(Record(child=child, visits=(visit,)))


def test_the_writer_is_not_loaded_by_reading() -> None:
    ask = "import sys, pathway.casefile; print('tomlkit' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", ask], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_a_calendar_is_written_as_people_write_it() -> None:
    child = Child(id="a", date_of_birth=BORN, sex="girl", affected_side="left", diagnosis="fibular_deficiency")
    summer = SchoolHoliday(name="summer", from_date=datetime.date(2027, 7, 12), to_date=datetime.date(2027, 8, 21))
    calendar = CaseCalendar(
        operating_weekdays=("tuesday",),
        operations_in_school_holidays="wished",
        blocked=(),
        school_holidays=(summer,),
    )
    assert case_text(Record(child=child, calendar=calendar)).endswith(
        "\n"
        "[calendar]\n"
        'operating_weekdays = ["tuesday"]\n'
        'operations_in_school_holidays = "wished"\n'
        "blocked = []\n"
        "\n"
        "[[calendar.school_holidays]]\n"
        "from = 2027-07-12\n"
        "to = 2027-08-21\n"
        'name = "summer"\n'
    )


def test_an_empty_calendar_is_kept(protocol) -> None:
    child = Child(id="a", date_of_birth=BORN, sex="girl", affected_side="left", diagnosis="fibular_deficiency")
    record = Record(child=child, calendar=CaseCalendar())
    assert read_case(case_text(record), "case.toml", protocol) == record
