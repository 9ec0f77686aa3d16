"""How long a worksheet takes, planning and the child's growth not counted. Nothing is asserted on time."""

from __future__ import annotations

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.views.words.worksheet import worksheet_text
from pathway.worksheets.kinds import KINDS
from pathway.worksheets.sheet import Kind
from tests.worksheets.cases import KNOWN_WIDTH, case, sheet


@pytest.mark.parametrize("kind", KINDS)
def test_one_worksheet(kind: Kind, benchmark: BenchmarkFixture) -> None:
    opened, known = case(kind), KNOWN_WIDTH if kind == "guided-growth" else {}
    made = benchmark(KINDS[kind].make, opened, known)
    assert made.kind == kind


def test_printing_the_longest(benchmark: BenchmarkFixture) -> None:
    made = sheet("lengthening")
    assert "Calendar of turns" in benchmark(worksheet_text, made, 80)
