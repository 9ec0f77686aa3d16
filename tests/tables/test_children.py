"""Beside what is known: nothing doubled, nothing overwritten, and what was known otherwise is a fault."""

from __future__ import annotations

import pytest

from pathway.record import Missing
from tests.examples import example
from tests.tables.reading import MAPLE, faults, grid_of, read, sound, values, wide

FEMUR = "femur left (mm)"


def test_the_same_table_a_second_time_brings_nothing() -> None:
    first = sound(wide(FEMUR, "250", "262"))
    again = read(wide(FEMUR, "250", "262"), known=first)
    (one,) = again.children
    assert (one.new, one.same, one.visits, one.record) == (0, 2, (), first["maple-9"])


def test_a_longer_table_brings_what_is_new_alone() -> None:
    first = sound(wide(FEMUR, "250"))
    (one,) = read(wide(FEMUR, "250", "262"), known=first).children
    assert (one.new, one.same) == (1, 1)
    assert [str(visit.date) for visit in one.visits] == ["2024-06-06"]
    assert [str(visit.date) for visit in one.record.visits] == ["2024-05-06", "2024-06-06"]


def test_another_finding_of_a_known_day_is_added_to_its_visit() -> None:
    first = sound(wide(FEMUR, "250"))
    (one,) = read(wide("tibia left (mm)", "200"), known=first).children
    assert len(one.record.visits) == 1
    assert {finding for _, finding, _ in values(one.record)} == {"femur_length_mm", "tibia_length_mm"}


def test_a_value_that_is_known_otherwise_is_a_fault_and_not_a_correction() -> None:
    first = sound(wide(FEMUR, "250"))
    (said,) = faults(wide(FEMUR, "251"), known=first)
    assert said.startswith(f'visits.csv, row 2, "{FEMUR}": found 251 (standing full length film), expected 250')
    assert "which is known; find out which is right" in said
    (said,) = faults(wide(FEMUR, "250").replace("standing_full_length_film", "tape"), known=first)
    assert "found 250 (tape), expected 250 (standing full length film), which is known" in said


def test_a_known_child_needs_no_card_and_a_card_that_differs_is_a_fault() -> None:
    first = sound(wide(FEMUR, "250"))
    bare = "id,date,method,femur left (mm)\nmaple-9,2024-07-06,tape,262\n"
    assert len(sound(bare, known=first)["maple-9"].visits) == 2
    (said,) = faults(wide(FEMUR, "250").replace("2016-02-10", "2016-02-11"), known=first)
    assert 'row 2, "date of birth": found "2016-02-11" for the date of birth, expected 2016-02-10' in said
    assert "which is known of maple-9" in said


def test_a_value_takes_the_place_of_not_measured_and_never_the_other_way_round() -> None:
    first = sound(wide(FEMUR, "not measurable"))
    assert first["maple-9"].visits[0].missing == (
        Missing(finding="femur_length_mm", side="left", why="not_measurable"),
    )
    after = sound(wide(FEMUR, "250"), known=first)
    assert after["maple-9"].visits[0].missing == ()
    (back,) = read(wide(FEMUR, "not measurable"), known=after).children
    assert (back.new, back.same) == (0, 1)


def test_a_skeletal_age_is_known_like_any_other_finding() -> None:
    first = sound(wide("bone age", "8,5"))
    assert first["maple-9"].visits[0].skeletal_age_years == 8.5
    (again,) = read(wide("bone age", "8,5"), known=first).children
    assert (again.new, again.same) == (0, 1)
    assert "found 9, expected 8.5, which is known" in faults(wide("bone age", "9"), known=first)[0]


def test_both_sides_affected_have_no_affected_side() -> None:
    table = wide("femur short (mm)", "250").replace(",left,", ",both,")
    assert "found the affected side, expected left or right: both sides of maple-9 are affected" in faults(table)[0]


def test_faults_that_were_known_before_are_not_told_again() -> None:
    record = example("rowan-02")
    table = "id,date,method,femur left (mm)\nrowan-02,2026-11-20,standing_full_length_film,120\n"
    assert sound(table, known={"rowan-02": record})["rowan-02"].visits[-1].measurements[0].value == 120


def test_a_length_that_is_possible_and_odd_is_asked_back() -> None:
    (one,) = read(wide("femur right (mm)", "150")).children
    assert one.questions[0].startswith("row 2: Is the femur of the longer leg on 2024-05-06 really 150 mm?")


def test_what_is_asked_back_names_the_rows_of_both_visits() -> None:
    (one,) = read(wide(FEMUR, "250", "262", "200")).children
    (asked,) = [said for said in one.questions if "it was 262 mm already" in said]
    assert asked.startswith("rows 3 and 4: Is the femur of the left leg on 2024-07-06 really 200 mm?")


@pytest.mark.parametrize("word", ["n/a", "-", "k.A.", "?"])
def test_a_cell_that_says_nothing_is_left_out_and_counted(word: str) -> None:
    made = read(wide(FEMUR, "250", word))
    assert (made.faults, made.nothing) == ((), 1)
    assert len(made.children[0].record.visits) == 1


def test_a_clinics_own_mark_for_yes_is_taken_from_the_mapping() -> None:
    text = wide("knee_dislocated left", "x", "-")
    from pathway.protocol.load import load_protocol
    from pathway.tables.guess import guessed

    mapping = guessed(grid_of(text), load_protocol()).mapping
    own = mapping.model_copy(update={"words": {"values": {"x": True, "-": False}}})
    assert [value for value, _ in values(sound(text, own)["maple-9"]).values()] == [True, False]


def test_the_card_may_stand_in_the_first_row_of_a_child_alone() -> None:
    table = wide(FEMUR, "250", "262")
    lines = table.splitlines()
    lines[2] = lines[2].replace(MAPLE.split(",2024")[0], "maple-9,,,,")
    assert len(sound("\n".join(lines))["maple-9"].visits) == 2
