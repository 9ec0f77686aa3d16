"""What cannot be used is refused by cell: row, heading, what was found, what was expected, what to do."""

from __future__ import annotations

import pytest

from pathway.protocol.load import load_protocol
from pathway.tables.guess import guessed
from pathway.tables.mapping import mapping_text
from tests.tables.reading import CARD, MAPLE, faults, grid_of, read, sound, values, wide

FEMUR = "femur left (mm)"


def one(table: str, **said: object) -> str:
    (sentence,) = faults(table, **said)
    return sentence


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("25", 'found "25", expected 35 to 620 mm; did you mean 250: mm, not cm.'),
        ("2500", 'found "2500", expected 35 to 620 mm; did you mean 250, a tenth of it.'),
        ("about 250", 'found "about 250", expected a number; write the number as measured, or leave the cell empty.'),
        ("25 cm", 'found "25 cm", expected a number in mm, as the column says; write it in the unit of the column.'),
        ("1,234", "found 1,234, a part or thousands, expected a number that can be read in one way"),
        ("25\u202e0", "found a character that nobody sees (U+202E), expected plain text; remove it."),
    ],
)
def test_a_value_that_cannot_be_is_refused_at_its_cell(cell: str, said: str) -> None:
    assert one(wide(FEMUR, cell)).startswith(f'visits.csv, row 2, "{FEMUR}": {said}')


def test_a_value_in_another_unit_is_told_as_written_and_as_it_was_read() -> None:
    said = one(wide("femur left (cm)", "250,5"))
    assert said == (
        'visits.csv, row 2, "femur left (cm)": found "250,5", which is 2505 mm, expected 35 to 620 mm;'
        " did you mean 25,05: cm, not mm."
    )


@pytest.mark.parametrize(
    ("heading", "sound_cell", "cell", "said"),
    [
        (
            "femur left (cm)",
            "25,5",
            "2,79",
            'found "2,79", which is 27,9 mm, expected 35 to 620 mm; did you mean 27,9 cm, ten times as much.',
        ),
        (
            "femur left (cm)",
            "25.5",
            "2.79",
            'found "2.79", which is 27.9 mm, expected 35 to 620 mm; did you mean 27.9 cm, ten times as much.',
        ),
        (
            "femur left (cm)",
            "25,5",
            "231",
            'found "231", which is 2310 mm, expected 35 to 620 mm; did you mean 23,1: cm, not mm.',
        ),
        ("femur left", "25.5 cm", "25.5 mm", "expected 35 to 620 mm; did you mean 255: mm, not cm."),
        ("femur left (mm)", "250", "9999", "expected 35 to 620 mm; check the measurement."),
        ("bone age", "8,5", "100", 'found "100", expected 0 to 19 years; did you mean 8,33: years, not months.'),
    ],
)
def test_what_was_probably_meant_is_said_in_the_unit_and_with_the_decimal_sign_of_the_column(
    heading: str, sound_cell: str, cell: str, said: str
) -> None:
    assert one(wide(heading, sound_cell, cell)).endswith(said)


def test_a_length_without_a_unit_is_refused_once_for_its_column() -> None:
    assert one(wide("femur left", "38", "39", "40", "41", "42", "43")) == (
        'visits.csv, rows 2, 3, 4, 5 and 2 more, "femur left": found a length without a unit, expected mm or cm; write'
        ' it into the heading, as in "femur left (mm)", into a column, or as `unit` into the mapping.'
    )


def test_a_finding_of_a_limb_without_its_side_is_refused() -> None:
    said = one(wide("femur (mm)", "250"))
    assert "found length of the femur without its side, expected left, right, affected or other; name it" in said
    line = '"femur (mm)" = { finding = "femur_length_mm", side = "affected", unit = "mm" }'
    assert f"in the mapping: `{line}` for the treated leg, `other` for the other one" in said


def test_the_line_of_the_mapping_that_names_a_side_reads_the_column() -> None:
    said = one(wide("femur (mm)", "250"))
    line = said.split("`")[1]
    protocol = load_protocol()
    kept = mapping_text(guessed(grid_of(wide("femur (mm)", "250")), protocol).mapping, "visits.csv").splitlines()
    text = "\n".join(line if row.startswith('"femur (mm)"') else row for row in kept)
    assert values(sound(wide("femur (mm)", "250"), text)["maple-9"]) == {
        ("2024-05-06", "femur_length_mm", "left"): (250, "standing_full_length_film"),
    }


def test_a_value_needs_its_day_its_child_and_how_it_was_measured() -> None:
    assert 'row 2, "date": found nothing, expected the day' in one(wide(FEMUR, "250").replace("2024-05-06", ""))
    assert 'row 2, "id": found nothing, expected the child\'s id (pseudonym)' in one(
        wide(FEMUR, "250").replace("maple-9", "")
    )
    said = one(wide(FEMUR, "250").replace("standing_full_length_film", ""))
    assert f'row 2, "{FEMUR}": found a value without how it was measured, expected a method' in said
    assert faults(wide(FEMUR, "250").replace("standing_full_length_film", ""), method="tape") == []


def test_a_name_is_no_pseudonym_and_two_spellings_are_not_one_child() -> None:
    assert 'found "Bäumchen, A.", expected a pseudonym' in one(wide(FEMUR, "250").replace("maple-9", '"Bäumchen, A."'))
    table = wide(FEMUR, "250", "255").replace("maple-9", "Maple 9", 1)
    assert 'found "maple-9", expected one way of writing it: "Maple 9" stands in row 2' in one(table)


@pytest.mark.parametrize(
    ("gone", "heading", "what"),
    [
        ("2016-02-10", "date of birth", "the date of birth"),
        ("girl", "sex", "the sex"),
        ("left,", "affected side", "the affected side"),
        ("fibular_deficiency", "diagnosis", "the diagnosis"),
    ],
)
def test_a_new_child_needs_birth_date_sex_side_and_diagnosis(gone: str, heading: str, what: str) -> None:
    table = wide(FEMUR, "250").replace(gone, "," if gone.endswith(",") else "", 1)
    table = table.replace("affected side", "affected side", 1)
    said = one(table)
    found = "nothing of maple-9, who is not in the registry"
    assert said == f'visits.csv, row 2, "{heading}": found {found}, expected {what}; fill it in.'


def test_without_a_column_for_it_the_row_is_refused_with_what_a_new_child_needs() -> None:
    table = "id,date,method,femur left (mm)\na-1,2024-05-06,tape,250\n"
    said = faults(table)
    assert len(said) == 4
    assert said[0] == (
        "visits.csv, row 2: found nothing of a-1, who is not in the registry, expected the date of birth; add a column"
        " of it: a new child needs birth date, sex, affected side and diagnosis."
    )


def test_what_a_table_says_of_a_child_twice_must_agree() -> None:
    rows = wide(FEMUR, "250", "255").replace("girl", "boy", 1)
    assert 'row 3, "sex": found "girl", expected "boy", which stands in row 2; correct one' in one(rows)


def test_unknown_words_are_refused_with_how_to_say_what_they_stand_for() -> None:
    said = one(wide(FEMUR, "250", "252").replace("standing_full_length_film", "XR"))
    assert said.startswith('visits.csv, rows 2 and 3, "method": found "XR", expected one of standing_full_length_film,')
    assert said.endswith('say what it stands for in the mapping: `"XR" = "…"` under [words.methods].')


@pytest.mark.parametrize(
    ("heading", "cell", "expected"),
    [
        ("hip_joint left", "loose", "reduced, subluxed or dislocated"),
        ("knee_dislocated left", "somewhat", "yes or no"),
    ],
)
def test_words_of_choices_and_flags_are_held_to_the_rules(heading: str, cell: str, expected: str) -> None:
    assert f'found "{cell}", expected {expected}; say what it stands for in the mapping' in one(wide(heading, cell))


def test_a_word_that_the_mapping_turns_into_no_choice_is_told_with_the_choices() -> None:
    said = one(wide("hip_joint left", "zentriert"), words={"values": {"zentriert": "reduziert"}})
    assert 'found "zentriert", which by the mapping is "reduziert", expected reduced, subluxed or dislocated' in said
    assert said.endswith("correct what `zentriert` stands for under [words.values] of the mapping.")
    said = one(wide(FEMUR, "250").replace("standing_full_length_film", "XR"), words={"methods": {"XR": "xray"}})
    assert 'found "XR", which by the mapping is "xray", expected one of standing_full_length_film,' in said


def test_the_example_line_for_a_word_has_its_quotes_and_reads_back() -> None:
    assert '`"loose" = "reduced"` under [words.values]' in one(wide("hip_joint left", "loose"))
    assert '`"somewhat" = true` under [words.values]' in one(wide("knee_dislocated left", "somewhat"))


def test_a_day_is_quoted_as_it_stands_in_the_file() -> None:
    said = one(wide(FEMUR, "250").replace("2024-05-06", "14.03.2062"), date_order="day-month-year")
    assert 'row 2, "date": found "14.03.2062", which is 2062-03-14, expected a date up to 2026-12-01' in said


def test_days_before_birth_and_after_today_are_refused_at_the_date() -> None:
    early = one(wide(FEMUR, "250").replace("2024-05-06", "2015-05-06"))
    assert 'row 2, "date": found "2015-05-06", expected a date on or after the date of birth (2016-02-10)' in early
    late = one(wide(FEMUR, "250").replace("2024-05-06", "2034-05-06"))
    assert 'row 2, "date": found "2034-05-06", expected a date up to 2026-12-01' in late
    born = one(wide(FEMUR, "250").replace("2016-02-10", "2036-02-10"))
    assert 'row 2, "date of birth": found "2036-02-10", expected a date up to 2026-12-01' in born


def test_a_length_that_cannot_be_at_that_age_is_refused_as_in_a_case_file() -> None:
    said = one(wide("femur right (mm)", "60"))
    assert 'row 2, "femur right (mm)": found 60 mm at 8 y 2 m on the longer side, expected more than' in said


def test_the_same_finding_twice_on_a_day_must_agree() -> None:
    row = MAPLE
    table = f"{CARD},femur left (mm),femur L (cm)\n{row},250,25.0\n"
    assert faults(table) == []
    said = one(f"{CARD},femur left (mm),femur L (cm)\n{row},250,25.1\n")
    assert said.startswith('visits.csv, row 2, "femur L (cm)": found 251 (standing full length film), expected 250')
    twice = f"{CARD},femur left (mm)\n{row},250\n{row},251\n"
    assert 'row 3, "femur left (mm)": found 251 (standing full length film), expected 250' in one(twice)
    assert "which stands in row 2; correct one of the two, or its day or side" in one(twice)


def test_two_columns_with_one_heading_are_refused() -> None:
    said = one(f"{CARD},femur left (mm),femur left (mm)\n{MAPLE},250,251\n")
    assert 'row 1, "femur left (mm)": found several columns with this heading, expected each heading once' in said


def test_of_two_children_the_one_without_a_fault_is_read() -> None:
    table = wide(FEMUR, "250", "25").replace("maple-9", "maple-8", 1)
    made = read(table)
    assert [one.child for one in made.children] == ["maple-8"]
    assert [(fault.child, fault.row) for fault in made.faults] == [("maple-9", 3)]


LONG = "id,date,finding,side,value,unit,method\n"


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("a-1,2024-05-06,femur,left,250,mm,", 'row 2, "value": found a value without how it was measured'),
        ("a-1,2024-05-06,femur,,250,mm,tape", 'row 2, "value": found length of the femur without its side'),
        ("a-1,2024-05-06,,left,250,mm,tape", 'row 2, "finding": found nothing, expected what was measured'),
        ("a-1,2024-05-06,ankle width,left,25,mm,tape", 'row 2, "finding": found "ankle width", expected a finding'),
        ("a-1,2024-05-06,femur,left,250,,tape", 'row 2, "value": found a length without a unit'),
        ("a-1,2024-05-06,femur,left,250,deg,tape", 'row 2, "value": found "250", expected a number in mm'),
        ("a-1,2024-05-06,weight,left,20,kg,examination", 'row 2, "value": found the left side, expected no side'),
        ("a-1,2024-05-06,femur,up,250,mm,tape", 'row 2, "side": found "up", expected one of left, right'),
    ],
)
def test_each_row_of_a_long_table_is_refused_by_its_cell(row: str, said: str) -> None:
    assert any(said in sentence for sentence in faults(f"{LONG}{row}\n"))
