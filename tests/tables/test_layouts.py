"""Five tables as five clinics might keep them, made by hand with invented children: each comes in, value by value."""

from __future__ import annotations

import datetime

import pytest

from pathway.files.workbook import grid_of_workbook
from tests.tables.reading import TABLES, faults, read, sound, values
from tests.tables.workbooks import two_heading_rows

FILM, SCAN = "standing_full_length_film", "supine_hip_film"


def test_german_headings_with_decimal_commas_in_cm_and_mm_from_an_old_spreadsheet() -> None:
    made = sound(TABLES / "german_wide.csv")
    assert list(made) == ["w-01", "w-02"]
    child = made["w-01"].child
    assert (child.date_of_birth, child.sex, child.affected_side, child.diagnosis) == (
        datetime.date(2017, 4, 3), "girl", "left", "fibular_deficiency",
    )  # fmt: skip
    assert values(made["w-01"]) == {
        ("2022-05-14", "femur_length_mm", "left"): (248, FILM),
        ("2022-05-14", "femur_length_mm", "right"): (273.5, FILM),
        ("2022-05-14", "tibia_length_mm", "left"): (198, FILM),
        ("2022-05-14", "tibia_length_mm", "right"): (226, FILM),
        ("2023-06-02", "femur_length_mm", "left"): (271, FILM),
        ("2023-06-02", "femur_length_mm", "right"): (299, FILM),
        ("2023-06-02", "tibia_length_mm", "left"): (212.5, FILM),
        ("2023-06-02", "tibia_length_mm", "right"): (243, FILM),
    }
    other = made["w-02"].child
    assert (other.sex, other.affected_side, other.diagnosis) == ("boy", "right", "congenital_femoral_deficiency")
    assert values(made["w-02"]) == {
        ("2022-05-14", "femur_length_mm", "left"): (330, "tape"),
        ("2022-05-14", "femur_length_mm", "right"): (264, "tape"),
        ("2022-05-14", "tibia_length_mm", "left"): (271, "tape"),
        ("2022-05-14", "tibia_length_mm", "right"): (259, "tape"),
    }


def test_one_row_a_measurement_with_the_month_first_and_a_column_of_units() -> None:
    (record,) = sound(TABLES / "long_month_first.csv").values()
    assert record.child.date_of_birth == datetime.date(2016, 11, 30)
    first, second = record.visits
    assert (first.date, second.date) == (datetime.date(2022, 4, 5), datetime.date(2022, 10, 28))
    assert (first.skeletal_age_years, first.skeletal_age_method) == (5.5, "hand_atlas")
    assert values(record) == {
        ("2022-04-05", "femur_length_mm", "left"): (302, FILM),
        ("2022-04-05", "femur_length_mm", "right"): (267.5, FILM),
        ("2022-04-05", "tibia_length_mm", "left"): (241, FILM),
        ("2022-04-05", "tibia_length_mm", "right"): (238, FILM),
        ("2022-04-05", "standing_height_mm", None): (1124, "examination"),
        ("2022-10-28", "femur_length_mm", "left"): (315, FILM),
        ("2022-10-28", "femur_length_mm", "right"): (279, FILM),
        ("2022-10-28", "hip_joint", "right"): ("reduced", SCAN),
    }
    assert [(gap.finding, gap.side, gap.why) for gap in second.missing] == [
        ("neck_shaft_angle_deg", "right", "not_measurable")
    ]


def test_sides_called_short_and_sound_with_tabs_and_cells_that_say_nothing() -> None:
    made = read(TABLES / "short_and_sound.tsv")
    assert (made.faults, made.nothing, made.rows) == ((), 2, 3)
    left, right = (one.record for one in made.children)
    assert values(left) == {
        ("2024-02-01", "femur_length_mm", "left"): (281, FILM),
        ("2024-02-01", "femur_length_mm", "right"): (300, FILM),
        ("2024-02-01", "tibia_length_mm", "left"): (180, FILM),
        ("2024-02-01", "tibia_length_mm", "right"): (251, FILM),
        ("2024-02-01", "leg_length_discrepancy_mm", "left"): (90, FILM),
        ("2024-02-01", "knee_dislocated", "left"): (False, FILM),
    }
    assert left.visits[0].skeletal_age_years == 8.25
    assert values(right) == {
        ("2024-02-01", "femur_length_mm", "right"): (228, FILM),
        ("2024-02-01", "femur_length_mm", "left"): (240, FILM),
        ("2024-02-01", "tibia_length_mm", "left"): (199, FILM),
        ("2024-02-01", "leg_length_discrepancy_mm", "right"): (55, FILM),
        ("2024-02-01", "knee_dislocated", "right"): (True, FILM),
        ("2025-03-03", "femur_length_mm", "right"): (250, FILM),
        ("2025-03-03", "femur_length_mm", "left"): (263.5, FILM),
        ("2025-03-03", "tibia_length_mm", "left"): (221, FILM),
        ("2025-03-03", "leg_length_discrepancy_mm", "right"): (62, FILM),
        ("2025-03-03", "knee_dislocated", "right"): (True, FILM),
    }
    assert [visit.skeletal_age_years for visit in right.visits] == [None, 6]


def test_gaps_under_a_child_and_a_clinics_own_words_need_a_mapping_and_come_in_with_it() -> None:
    table = TABLES / "gaps_and_own_words.csv"
    refused = faults(table)
    assert "found no column with the day of each visit" in refused[0]
    assert '(not read so far: "Seen", "Film")' in refused[0]
    assert len(refused) > 1, "what can be judged without the day is told in the same round"
    known = {"brook-1": sound_child()}
    made = sound(table, (TABLES / "gaps_and_own_words.toml").read_text("utf-8"), known)
    assert values(made["brook-1"]) == {
        ("2023-04-05", "femur_length_mm", "left"): (241, FILM),
        ("2023-04-05", "tibia_length_mm", "left"): (202, FILM),
        ("2023-04-05", "femur_length_mm", "right"): (279, FILM),
        ("2023-04-05", "tibia_length_mm", "right"): (230, FILM),
        ("2024-04-06", "femur_length_mm", "left"): (264, FILM),
        ("2024-04-06", "tibia_length_mm", "left"): (219, FILM),
        ("2024-04-06", "femur_length_mm", "right"): (303, FILM),
        ("2024-04-06", "tibia_length_mm", "right"): (248, FILM),
    }


def test_the_same_table_without_its_order_of_dates_is_refused_once_for_the_column() -> None:
    mapping = (TABLES / "gaps_and_own_words.toml").read_text("utf-8").replace("date_order", "# date_order")
    said = faults(TABLES / "gaps_and_own_words.csv", mapping, {"brook-1": sound_child()})
    assert said == [
        'visits.csv, rows 2, 3, 4 and 5, "Seen": found 05/04/2023, whose order of day and month is not known, expected'
        " a date that can be read in one way; say which: --date-order day-month-year or --date-order"
        " month-day-year, or `date_order` in the mapping.",
    ]


def test_a_workbook_with_two_rows_of_headings_merged_cells_formulas_and_dates() -> None:
    pytest.importorskip("openpyxl", reason="the extra xlsx is not installed here")
    grid = grid_of_workbook(two_heading_rows(), "visits.xlsx")
    made = sound(grid)
    (record,) = made.values()
    assert record.child.id == "glen-3"
    assert record.child.date_of_birth == datetime.date(2015, 7, 9)
    assert values(record) == {
        ("2022-03-04", "femur_length_mm", "left"): (312, FILM),
        ("2022-03-04", "femur_length_mm", "right"): (287.5, FILM),
        ("2022-03-04", "tibia_length_mm", "left"): (255, FILM),
        ("2022-03-04", "tibia_length_mm", "right"): (231, FILM),
        ("2023-03-10", "femur_length_mm", "left"): (338, FILM),
        ("2023-03-10", "femur_length_mm", "right"): (310, FILM),
        ("2023-03-10", "tibia_length_mm", "left"): (275, FILM),
        ("2023-03-10", "tibia_length_mm", "right"): (249, FILM),
    }
    assert grid.remarks == ('The sheet "Visits" is read.', "Not read: Notes (name one as `sheet` in the mapping).")


def sound_child():
    """An invented child that the registry knows without a visit."""
    from pathway.record import Child, Record

    born = datetime.date(2015, 5, 1)
    return Record(
        child=Child(id="brook-1", date_of_birth=born, sex="boy", affected_side="left", diagnosis="fibular_deficiency")
    )
