"""The population tables in the rules are those that the fitting script makes from the odd-numbered children."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[3]
DATA = ROOT / ".." / "shared" / "reference" / "open_data"
SERIAL, MEDIANS = DATA / "serial_height_leg_length.csv", DATA / "stature_median_by_age.csv"


@pytest.fixture(scope="module")
def fit() -> ModuleType:
    for path in (SERIAL, MEDIANS):
        if not path.exists():
            pytest.skip(f"open data not here: {path.resolve()}")
    spec = importlib.util.spec_from_file_location("growth_fit", ROOT / ".ci" / "growth" / "fit.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_the_tables_come_out_again(fit: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fit, "RULES", tmp_path)
    fit.main([str(SERIAL), str(MEDIANS)])
    written = sorted(tmp_path.glob("*.toml"))
    assert len(written) == 8
    for path in written:
        kept = (ROOT / "rules" / "growth" / path.name).read_text()
        assert numbers(path.read_text()) == pytest.approx(numbers(kept), abs=2e-5), path.name


def numbers(text: str) -> list[float]:
    """Return the numbers of the rows of a table, or of its values; loadings without sign."""
    rows = [line for line in text.splitlines() if line.startswith(("  [", "value"))]
    words = " ".join(rows).replace("[", " ").replace("]", " ").replace(",", " ").split()
    return [abs(float(word)) for word in words if word.lstrip("-").replace(".", "").isdigit()]


def test_even_numbered_children_are_dropped_on_reading(fit: ModuleType) -> None:
    kids = fit.children(str(SERIAL), fit.Reference(fit.medians(str(MEDIANS))))
    assert len(kids) == 46
    assert all(kid.number % 2 for kid in kids)
