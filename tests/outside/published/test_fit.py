"""The population tables in the rules are those that the fitting script makes from all children of the study."""

from __future__ import annotations

import tomllib
from pathlib import Path
from types import ModuleType

import pytest

from pathway.protocol.load import load_protocol
from tests.outside.published import calibration

ROOT = Path(__file__).parents[3]
DATA = ROOT / ".." / "shared" / "reference" / "open_data"
SERIAL, MEDIANS = DATA / "serial_height_leg_length.csv", DATA / "stature_median_by_age.csv"


@pytest.fixture(scope="module")
def fit() -> ModuleType:
    for path in (SERIAL, MEDIANS):
        if not path.exists():
            pytest.skip(f"open data not here: {path.resolve()}")
    return calibration.fit()


def test_the_tables_come_out_again(fit: ModuleType, tmp_path: Path) -> None:
    fit.main([str(SERIAL), str(MEDIANS), "--out", str(tmp_path)])
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


def test_every_child_stands_in_one_fold_of_thirteen(fit: ModuleType) -> None:
    numbers = fit.numbers_in(str(SERIAL))
    folds = [fit.fold(numbers, k, 7) for k in range(7)]
    assert len(numbers) == 91
    assert [len(part) for part in folds] == [13] * 7
    assert frozenset().union(*folds) == numbers


def test_children_of_a_fold_are_dropped_on_reading(fit: ModuleType) -> None:
    reference = fit.Reference(fit.medians(str(MEDIANS)))
    left = fit.fold(fit.numbers_in(str(SERIAL)), 3, 7)
    kids = fit.children(str(SERIAL), reference, left)
    assert len(kids) == 78
    assert not left & {kid.number for kid in kids}


def test_tables_without_a_fold_are_others_and_say_of_how_many(fit: ModuleType, tmp_path: Path) -> None:
    fit.main([str(SERIAL), str(MEDIANS), "--leave-out", "3", "--of", "7", "--out", str(tmp_path)])
    sizes = tomllib.loads((tmp_path / "population_size.toml").read_text())
    assert "78 children" in sizes["source"]
    assert sizes["rows"] != [list(row) for row in load_protocol().table("population_size").rows]


def test_tables_without_a_fold_never_go_into_the_rules(fit: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        fit.main([str(SERIAL), str(MEDIANS), "--leave-out", "3"])
    assert "--out" in capsys.readouterr().err
    with pytest.raises(SystemExit):
        fit.main([str(SERIAL), str(MEDIANS), "--leave-out", "7", "--out", "/tmp"])
    assert "expected 0 to 6" in capsys.readouterr().err
