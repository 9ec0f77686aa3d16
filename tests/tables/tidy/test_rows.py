"""One row an observation: what stands in it is what the record or the accepted plan holds."""

from __future__ import annotations

import datetime

import pytest

from pathway.days import age_years
from pathway.record import Measurement, Operation, Visit
from pathway.tables.tidy.fields import KINDS, SHAPES, UNDATED, fields_of
from tests.examples import NAMES, ON, example, example_plan
from tests.questions.test_achieved import AFTER, film, sheet, with_films
from tests.tables.tidy.made import accepted, kept, of_name, rows


@pytest.mark.parametrize("name", NAMES)
def test_every_finding_of_every_visit_is_a_row_with_its_value_unit_and_method(name: str) -> None:
    record = example(name)
    made = rows("visits", kept(record, on=datetime.date(2031, 1, 1)), dates=True)
    told = {
        (one["date"], one["finding"], one["side"]): one["value"] if one["category"] is None else one["category"]
        for one in made
        if one["not_measured"] is None and one["finding"] != "skeletal_age_years"
    }
    words = {True: "true", False: "false"}
    assert told == {
        (visit.date, item.finding, item.side): words[item.value] if isinstance(item.value, bool) else item.value
        for visit in record.visits
        for item in visit.measurements
    }
    ages = {one["date"]: one["value"] for one in made if one["finding"] == "skeletal_age_years"}
    assert ages == {v.date: v.skeletal_age_years for v in record.visits if v.skeletal_age_years is not None}
    missing = [(one["finding"], one["not_measured"]) for one in made if one["not_measured"] is not None]
    assert missing == [(gap.finding, gap.why) for visit in record.visits for gap in visit.missing]


WITH_IDS = tuple(kind for kind in KINDS if kind not in UNDATED)


@pytest.mark.parametrize("kind", WITH_IDS)
def test_days_stand_in_a_table_only_where_they_are_asked_for(kind) -> None:
    child = of_name("hazel-08", accepted("hazel-08"))
    without, with_dates = rows(kind, child), rows(kind, child, dates=True)
    assert len(without) == len(with_dates) > 0
    held = [value for row in without for value in row.values()]
    assert not any(isinstance(value, datetime.date) for value in held)
    assert not any(str(year) in str(value) for value in held for year in range(2010, 2060) if isinstance(value, str))
    born = example("hazel-08").child.date_of_birth
    for row, dated in zip(without, with_dates, strict=True):
        assert dated["date_of_birth"] == born
        day = dated.get("date")
        if isinstance(day, datetime.date):
            assert row["age_years"] == pytest.approx(age_years(born, day), abs=6e-4)


@pytest.mark.parametrize("kind", KINDS)
def test_free_text_stands_in_no_table(kind) -> None:
    record = example("rowan-02")
    spoken = "said in the corridor"
    visits = tuple(visit.model_copy(update={"note": spoken}) for visit in record.visits)
    child = record.child.model_copy(update={"note": spoken})
    noted = record.model_copy(update={"visits": visits, "child": child})
    assert spoken not in str(rows(kind, kept(noted, accepted("rowan-02")), dates=True))


def test_operations_of_the_record_and_stages_to_come_of_the_last_plan_are_stages() -> None:
    made = rows("stages", of_name("hazel-08", accepted("hazel-08"), accepted("hazel-08", 2)), dates=True)
    recorded = [row for row in made if row["status"] == "recorded"]
    operations = example("hazel-08").operations
    assert [(row["stage"], row["date"], row["amount_mm"]) for row in recorded] == [
        (one.kind, one.date, one.achieved_mm) for one in operations
    ]
    coming = [row for row in made if row["status"] != "recorded"]
    assert {row["revision"] for row in coming} == {2}
    planned = [stage for stage in example_plan("hazel-08").stages if not stage.begun]
    assert [(row["stage"], row["date"], row["amount_mm"]) for row in coming] == [
        (stage.kind, stage.date, stage.amount_mm) for stage in planned
    ]


def test_a_plan_that_was_accepted_tells_what_it_expected() -> None:
    plan = example_plan("rowan-02")
    (row,) = rows("revisions", of_name("rowan-02", accepted("rowan-02")), dates=True)
    best = next(course for course in plan.alternatives if course.recommended)
    assert best.expected is not None
    assert plan.growth.at_maturity is not None
    assert (row["revision"], row["date"], row["course"]) == (1, ON, best.id)
    assert row["untreated_difference_mm"] == plan.growth.at_maturity.discrepancy_mm.p50
    assert row["expected_operations"] == best.expected.operations.mean
    assert row["chance_within_20_mm"] == best.chance_within_20_mm
    first = min((s for s in plan.stages if s.operation and s.date and not s.begun), key=lambda s: str(s.date))
    assert row["next_stage"] == first.kind


def test_an_operation_is_held_against_the_last_plan_before_it_and_a_complication_is_a_row_of_its_own() -> None:
    record = example("rowan-02")
    stage = example_plan("rowan-02").stage("femoral_lengthening_1")
    done = Operation(
        kind="femoral_lengthening",
        date=datetime.date(2028, 3, 1),
        side="left",
        achieved_mm=44,
        device_removed=datetime.date(2028, 10, 1),
        complications=("pin_site_infection",),
    )
    after = record.model_copy(update={"operations": (*record.operations, done)})
    later = accepted("rowan-02", 2, datetime.date(2029, 1, 1))
    made = rows("outcomes", kept(after, accepted("rowan-02"), later, on=datetime.date(2030, 1, 1)))
    gain = next(row for row in made if row["quantity"] == "gain_mm")
    assert stage.amount_mm is not None
    assert (gain["planned"], gain["achieved"], gain["revision"]) == (stage.amount_mm, 44, 1)
    assert gain["difference"] == pytest.approx(44 - stage.amount_mm)
    months = next(row for row in made if row["quantity"] == "device_months")
    assert (months["achieved"], months["unit"]) == (7.0, "months")
    assert [row["complication"] for row in made if row["quantity"] == "complication"] == ["pin_site_infection"]


def test_an_osteotomy_is_held_against_the_sheet_that_was_used() -> None:
    record = with_films(sheet(), (AFTER, film(119, 20)))
    made = rows("outcomes", kept(record, on=datetime.date(2045, 1, 1)))
    told = {row["quantity"]: (row["planned"], row["achieved"], row["unit"]) for row in made}
    assert sheet().neck_shaft_after_deg == told["neck_shaft_after_deg"][0]
    assert told["neck_shaft_after_deg"][2] == "deg"
    assert told["neck_shaft_after_deg"][1] == 119


def test_the_same_kind_on_the_same_side_is_counted() -> None:
    made = rows("stages", of_name("hawthorn-12"))
    numbers = [row["number"] for row in made if row["stage"] == "femoral_lengthening"]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) > 1


@pytest.mark.parametrize("kind", KINDS)
def test_each_column_is_there_once(kind) -> None:
    for dates in (True, False):
        names = [field.name for field in fields_of(kind, dates=dates)]
        assert len(names) == len(set(names))
        assert names[:2] == ["child", "sex"] if kind in WITH_IDS else names[0] == "sex"
    assert set(SHAPES[kind].key) <= {field.name for field in SHAPES[kind].fields}


def test_a_lengthening_to_be_pooled_has_amounts_bone_and_cover_and_neither_day_nor_id() -> None:
    record = example("rowan-02")
    planned = example_plan("rowan-02").stage("femoral_lengthening_1")
    done = Operation(
        kind="femoral_lengthening",
        date=datetime.date(2028, 3, 1),
        side="left",
        achieved_mm=44,
        device_removed=datetime.date(2028, 10, 1),
        complications=("pin_site_infection", "nerve_signs"),
    )
    again = done.model_copy(update={"date": datetime.date(2032, 3, 1), "device_removed": None, "complications": ()})
    seen = Visit(
        date=datetime.date(2028, 2, 1),
        method="standing_full_length_film",
        measurements=(
            Measurement(finding="femur_length_mm", side="left", value=220.0, method="standing_full_length_film"),
        ),
    )
    last = Visit(date=datetime.date(2029, 9, 1), method="examination")
    after = record.model_copy(
        update={
            "operations": (*record.operations, done, again),
            "visits": (*record.visits, seen, last),
        }
    )
    child = kept(after, accepted("rowan-02"), on=datetime.date(2033, 1, 1))
    first, second = rows("lengthenings", child)
    assert (first["planned_mm"], first["achieved_mm"]) == (planned.amount_mm, 44)
    assert (first["bone"], first["bone_mm"], first["percent"]) == ("femur", 220.0, 20.0)
    assert (first["device_months"], first["followed_months"]) == (7.0, 18.0)
    assert first["events"] == "pin_site_infection nerve_signs"
    assert (first["number"], second["number"]) == (1, 2)
    assert (second["events"], second["device_months"], second["followed_months"]) == (None, None, None)
    for dates in (False, True):
        told = str(rows("lengthenings", child, dates=dates))
        assert record.child.id not in told
        assert not any(
            isinstance(value, datetime.date) for row in rows("lengthenings", child) for value in row.values()
        )


def test_a_hip_that_was_operated_on_before_counts_as_prepared() -> None:
    record = example("rowan-02")
    done = Operation(kind="femoral_lengthening", date=datetime.date(2028, 3, 1), side="left", achieved_mm=44)
    hip = Operation(kind="hip_preparation", date=datetime.date(2027, 3, 1), side="left")

    def cover(*operations: Operation) -> object:
        (row,) = rows(
            "lengthenings",
            kept(record.model_copy(update={"operations": operations}), on=datetime.date(2030, 1, 1)),
        )
        return row["hip_cover"]

    assert cover(hip, done) == "prepared"
    assert cover(done) in ("good", "poor", "unknown")
