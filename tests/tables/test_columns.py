"""One round tells all: a column that is missing or not known hides no fault of the others, and of no row."""

from __future__ import annotations

import pytest

from pathway.protocol.load import load_protocol
from pathway.tables.guess import guessed
from tests.tables.reading import faults, grid_of, read, sound, values, wide

FEMUR = "femur left (mm)"


def remarks(table: str) -> tuple[str, ...]:
    return guessed(grid_of(table), load_protocol()).remarks


def test_a_missing_column_of_ids_hides_no_fault_of_a_cell() -> None:
    said = faults(wide(FEMUR, "25").replace("id,", "who is it,", 1))
    assert len(said) == 2
    assert "found no column with the child's id (pseudonym), expected one" in said[0]
    assert '`"its heading" = "child"` (not read so far: "who is it")' in said[0]
    assert 'row 2, "femur left (mm)": found "25", expected 35 to 620 mm' in said[1]


def test_no_child_comes_of_a_table_whose_columns_are_not_all_read() -> None:
    table = wide(FEMUR, "250").replace("date,method", "Tag,method")
    assert read(table).children == ()


def test_a_missing_column_is_told_once_and_not_again_in_every_row() -> None:
    mapping = guessed(grid_of(wide(FEMUR, "250")), load_protocol()).mapping
    (said,) = faults(wide(FEMUR, "250", "255").replace("method", "how", 1), mapping)
    assert 'row 1, "method": found no column with this heading' in said


@pytest.mark.parametrize(
    ("known", "heading", "role"),
    [
        ("method", "Messmethode", "method"),
        ("method", "made with", "method"),
        ("date,method", "Tag,method", "date"),
        ("sex", "m or w", "sex"),
        ("affected side", "which one", "affected_side"),
        ("diagnosis", "Diagnosetext", "diagnosis"),
    ],
)
def test_a_column_that_looks_like_something_needed_is_told_with_its_line_of_the_mapping(
    known: str, heading: str, role: str
) -> None:
    (said,) = remarks(wide(FEMUR, "250").replace(known, heading, 1))
    name = heading.split(",")[0]
    assert said.startswith(f'"{name}" is not read. If it is ')
    assert said.endswith(f'write `"{name}" = "{role}"` under [columns] of a mapping.')


def test_a_heading_that_nearly_says_a_finding_is_told() -> None:
    (said,) = remarks(wide("femurr lenght", "250"))
    assert said.startswith('"femurr lenght" is not read. If it is femur length')


def test_a_column_of_remarks_is_told_of_nothing() -> None:
    assert remarks(wide("Bemerkung", "came late", "came by train")) == ()


def test_a_row_that_sums_up_is_no_child_and_is_told() -> None:
    made = read(wide(FEMUR, "250") + "Summe,,,,,,,250\n")
    assert made.faults == ()
    assert made.rows == 1
    assert made.remarks == ('Row 3 ("Summe") sums up the rows above it: it is not read.',)


def test_a_row_with_more_cells_than_headings_is_refused_by_its_row_and_not_read_askew() -> None:
    table = wide(FEMUR, "250") + "maple-8,2016-02-10,girl,left,fibular_deficiency,2024-05-06,tape,250,5\n"
    (said,) = faults(table)
    assert said.startswith("visits.csv, row 3: found 9 cells, expected 8, one under each heading; look for a comma")
    assert [one.child for one in read(table).children] == ["maple-9"]


def test_a_row_with_fewer_cells_is_read_and_told() -> None:
    made = read(wide(FEMUR, "250") + "maple-9,2016-02-10\n")
    assert made.faults == ()
    assert made.remarks == ("Row 3 has 2 cells, the headings 8: what is missing is taken as empty.",)


def test_cells_beyond_the_headings_are_left_out_where_the_mapping_says_so() -> None:
    table = wide(FEMUR, "250").replace('"250"', '"250",note')
    mapping = guessed(grid_of(table), load_protocol()).mapping
    named = mapping.model_copy(
        update={"columns": {**mapping.columns, "(column I)": mapping.columns["id"].model_copy(update={"role": "skip"})}}
    )
    assert list(values(sound(table, named)["maple-9"]).values()) == [(250, "standing_full_length_film")]
