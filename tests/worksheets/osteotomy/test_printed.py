"""The osteotomy's sheet from the command line: text with the picture, SVG, and what to do where there is none."""

from __future__ import annotations

from click.testing import CliRunner

from pathway.cli.main import main
from pathway.views.words.worksheet import worksheet_text
from tests.worksheets.osteotomy.sheets import sheet

SIZES = ["--set", "neck_wire_length_mm=36", "--set", "femoral_shaft_width_mm=16"]


def run(*arguments):
    return CliRunner().invoke(main, ["worksheet", "osteotomy", "rowan-02", "--on", "2026-11-25", *arguments])


def test_the_drawing_is_printed_as_svg():
    result = run("--svg", *SIZES)
    assert result.exit_code == 0
    assert result.stdout.startswith("<svg ")


def test_without_the_sizes_of_the_bone_there_is_no_drawing_and_the_message_says_what_to_measure():
    result = run("--svg")
    assert result.exit_code == 2
    assert "--set femoral_shaft_width_mm=" in result.stderr


def test_the_text_holds_the_picture_unless_it_is_to_be_plain():
    made = sheet()
    assert "NOW, LEFT HIP, FRONT" in worksheet_text(made, 80)
    assert "NOW, LEFT HIP, FRONT" not in worksheet_text(made, 80, plain=True)
    assert max(map(len, worksheet_text(made, 80).split("\n"))) <= 80
