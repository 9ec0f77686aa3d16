"""A mapping is a TOML file that a clinic corrects: it reads back to itself, and its slips are told with their line."""

from __future__ import annotations

import pytest

from pathway.protocol.load import load_protocol
from pathway.tables.guess import guessed
from pathway.tables.mapping import TableMapping, mapping_of_text, mapping_text
from tests.tables.reading import TABLES, faults, grid_of, sound, values, wide

SHORT = """
method = "tape"
[columns]
id = "child"
date = "date"
"femur left (mm)" = { finding = "femur_length_mm", side = "left", unit = "mm" }
"""


def told(text: str) -> str:
    made = mapping_of_text(text, "mapping.toml", load_protocol())
    assert isinstance(made, tuple)
    return "\n".join(fault.sentence for fault in made)


@pytest.mark.parametrize(
    "heading", ["femur left (cm)", 'femur "left" [mm]', "femur left = mm", "Fémur left\nmm", "a.b"]
)
def test_a_guessed_mapping_reads_back_to_itself(heading: str) -> None:
    protocol = load_protocol()
    made = guessed(grid_of(wide(heading.replace('"', '""'), "25")), protocol)
    again = mapping_of_text(mapping_text(made.mapping, "visits.csv", made.remarks), "m", protocol)
    assert again == made.mapping


def test_words_rows_and_settings_read_back_too() -> None:
    protocol = load_protocol()
    text = (TABLES / "gaps_and_own_words.toml").read_text("utf-8")
    made = mapping_of_text(text + '[words.values]\nx = true\n"o" = "no"\n', "m", protocol)
    assert isinstance(made, TableMapping)
    assert made.words["values"] == {"x": True, "o": "no"}
    assert mapping_of_text(mapping_text(made, "visits.csv"), "m", protocol) == made


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (SHORT.replace('"date"\n', '"day"\n'), 'line 5, columns.date: found "day", expected a kind of column'),
        (SHORT.replace("femur_length_mm", "femur_lenght_mm"), 'did you mean "femur_length_mm"'),
        (SHORT.replace("femur_length_mm", "femur_length_ratio"), 'found "femur_length_ratio", expected a finding'),
        (SHORT.replace('unit = "mm"', 'unit = "deg"'), 'found "deg", expected a unit that goes with mm'),
        (SHORT.replace('"tape"', '"tapes"'), 'did you mean "tape"'),
        (
            SHORT.replace('side = "left"', 'side = "both"'),
            'found "both", expected "left", "right", "affected" or "other"',
        ),
        (SHORT.replace("method", "metod"), "found `metod`, which is not known here"),
        (f"heading_rows = [1, 3]\n{SHORT}", "expected the numbers of neighbouring rows"),
        (f'decimal = ";"\n{SHORT}', 'found ";", expected "," or "."'),
        (SHORT + "[words.sexes]\nf = true\n", "expected what the word stands for, as text"),
        (SHORT + "[words.people]\nf = 'x'\n", "found `people`, which is not known here"),
        ("[columns", "expected"),
        ('method = "tape"\n', "expected a table [columns]"),
    ],
)
def test_a_slip_is_told_with_what_was_probably_meant(wrong: str, said: str) -> None:
    assert said in told(wrong)


def test_the_sheet_unit_and_method_of_a_column_are_taken() -> None:
    text = wide("femur left (mm)", "25,0")
    mapping = SHORT.replace('unit = "mm"', 'unit = "cm", method = "ct_scout"') + '"date of birth" = "birth_date"\n'
    mapping += 'sex = "sex"\n"affected side" = "affected_side"\ndiagnosis = "diagnosis"\n'
    assert values(sound(text, mapping)["maple-9"]) == {
        ("2024-05-06", "femur_length_mm", "left"): (250, "ct_scout"),
    }


def test_a_column_that_the_table_does_not_have_is_a_fault() -> None:
    (said,) = faults(wide("femur (mm)", "250"), SHORT)
    assert said == (
        'visits.csv, row 1, "femur left (mm)": found no column with this heading, expected it; correct the mapping:'
        " headings as they stand in the table."
    )


def test_a_kind_of_column_that_is_none_is_told_with_the_kinds() -> None:
    said = told(SHORT.replace('"date"\n', '"day of visit"\n'))
    assert "expected a kind of column: child, date, birth_date," in said
    assert 'or a finding in braces; write "skip" where the column is not to be read.' in said
    assert 'a finding stands in braces: `{ finding = "weight_kg" }`' in told(SHORT + 'kg = "weight_kg"\n')
    assert 'did you mean "method"' in told(SHORT + 'how = "methode"\n')


def test_a_finding_that_is_none_is_told_with_where_they_are_named() -> None:
    assert "`limb-pathway manual findings` names them" in told(SHORT.replace("femur_length_mm", "girth"))


def test_headings_in_other_rows_than_the_mapping_says_are_told_once_with_where_they_stand() -> None:
    text = f"Invented children\n\n{wide('femur left (mm)', '250')}"
    (said,) = faults(text, SHORT)
    assert said == (
        "visits.csv, row 1: found 0 of 3 headings of the mapping in row 1, expected the rows in which the headings"
        " stand; they seem to stand in row 3: write `heading_rows = [3]` into the mapping."
    )
