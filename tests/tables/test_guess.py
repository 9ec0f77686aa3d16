"""What a heading and its cells are taken for, and what is left open."""

from __future__ import annotations

import pytest

from pathway.protocol.load import load_protocol
from pathway.tables.guess import guessed
from pathway.tables.mapping import Column, TableMapping
from tests.tables.reading import CARD, MAPLE, grid_of, wide


def guess(text: str) -> TableMapping:
    return guessed(grid_of(text), load_protocol()).mapping


def column(heading: str, cell: str = "250") -> Column | None:
    return guess(wide(heading, cell)).columns.get(heading)


@pytest.mark.parametrize(
    ("heading", "finding", "side", "unit"),
    [
        ("femur L (cm)", "femur_length_mm", "left", "cm"),
        ("Femur re. [mm]", "femur_length_mm", "right", "mm"),
        ("left_femur_length_mm", "femur_length_mm", "left", "mm"),
        ("Tibia links in cm", "tibia_length_mm", "left", "cm"),
        ("length of the tibia right", "tibia_length_mm", "right", None),
        ("Beinlängendifferenz (cm)", "leg_length_discrepancy_mm", "affected", "cm"),
        ("Körpergröße (m)", "standing_height_mm", None, "m"),
        ("CCD-Winkel links", "neck_shaft_angle_deg", "left", "deg"),
        ("mLDFA right °", "lateral_distal_femoral_angle_deg", "right", "deg"),
        ("Gewicht", "weight_kg", None, "kg"),
        ("Bone age", "skeletal_age_years", None, "years"),
    ],
)
def test_a_heading_names_finding_side_and_unit(heading, finding, side, unit) -> None:
    assert column(heading) == Column(role="measured", finding=finding, side=side, unit=unit)


def test_cells_tell_a_length_from_a_finding_of_the_same_name() -> None:
    length, whole = column("tibia left (mm)", "250"), column("tibia left", "whole")
    assert length is not None and length.finding == "tibia_length_mm"
    assert whole is not None and whole.finding == "tibia"


@pytest.mark.parametrize("heading", ["femur left right (mm)", "femur left (deg)", "remark", "femur girth left (mm)"])
def test_what_is_not_known_is_not_read(heading: str) -> None:
    assert column(heading) == Column(role="skip")


def test_a_column_that_may_name_a_person_is_not_read_and_that_is_said() -> None:
    made = guessed(grid_of(f"Surname,{CARD}\nNobody,{MAPLE}\n"), load_protocol())
    assert made.mapping.columns["Surname"].role == "skip"
    assert made.remarks == ('"Surname" may name a person: it is not read, and a registry has no place for it.',)


def test_headings_are_looked_for_below_a_title() -> None:
    assert guess(f"Our clinic\n\n{wide('femur left (mm)', '250')}").heading_rows == (3,)


def test_dates_that_settle_nothing_leave_the_order_open() -> None:
    text = wide("femur left (mm)", "250").replace("2024-05-06", "05/06/2024")
    made = guessed(grid_of(text), load_protocol())
    assert made.mapping.date_order is None
    assert made.remarks == ('"date" has no date that settles the order of day and month.',)


def test_one_column_of_dates_does_not_settle_another() -> None:
    text = wide("femur left (mm)", "250").replace("2024-05-06", "05/06/2024").replace("2016-02-10", "25/02/2016")
    assert guess(text).date_order is None


def test_columns_with_different_orders_leave_it_open() -> None:
    text = wide("femur left (mm)", "250").replace("2024-05-06", "05/16/2024").replace("2016-02-10", "25/02/2016")
    made = guessed(grid_of(text), load_protocol())
    assert made.mapping.date_order is None
    assert made.remarks == ('"date of birth" and "date" have day and month in different orders.',)


def test_a_lone_side_is_the_affected_one_where_every_column_names_its_own() -> None:
    text = "id,date,side,femur left (mm),femur right (mm)\na-1,2024-01-02,left,250,270\n"
    assert guess(text).columns["side"].role == "affected_side"
    rows = "id,date,side,femur (mm)\na-1,2024-01-02,left,250\n"
    assert guess(rows).columns["side"].role == "side"
