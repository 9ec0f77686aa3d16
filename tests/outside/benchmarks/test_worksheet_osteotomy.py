"""The osteotomy's worksheet is to be there in under 20 ms."""

from __future__ import annotations

from pathway.views.drawings.schematic import characters, svg
from tests.worksheets.osteotomy.sheets import sheet


def test_worksheet(benchmark):
    made = benchmark(sheet, femoral_version_deg=-20, proximal_femur_flexion_deg=20, single_cut="yes")
    assert made.line("target neck-shaft angle").value


def test_drawing_shown(benchmark):
    drawing, *_ = sheet().drawings
    assert benchmark(lambda: (svg(drawing), characters(drawing, 80)))
