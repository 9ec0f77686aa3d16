"""How long documents take, the plan not counted. Run with `pytest tests/outside/benchmarks --benchmark-enable`."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.views.documents.files import html, pdf
from tests.views.documents.made import family, team


@pytest.mark.parametrize("form", [html, pdf])
@pytest.mark.parametrize("made", [family, team])
def test_a_document_from_a_plan(made, form, benchmark: BenchmarkFixture) -> None:
    assert benchmark(form, made("rowan-02"))


@pytest.mark.parametrize("ending", ["pdf", "html"])
def test_the_handout_from_a_fresh_process(ending: str, tmp_path: Path, benchmark: BenchmarkFixture) -> None:
    out = tmp_path / f"made.{ending}"
    command = [sys.executable, "-m", "pathway", "handout", "rowan-02", "--on", "2026-11-25", "-o", str(out)]
    benchmark.pedantic(subprocess.run, args=(command,), kwargs={"check": True, "capture_output": True}, rounds=3)
    assert out.stat().st_size > 10_000
