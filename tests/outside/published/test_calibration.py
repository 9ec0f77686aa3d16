"""The model is right as often as it says, on children that it was not taken from.

Serial height and sitting height of 91 children, Tuddenham RD, Snyder MM. Univ Calif Publ Child Dev
1954;1:183-364. The population tables come from the odd-numbered ones; the figures here are those of the even.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.outside.published import calibration as script

HERE = Path(__file__).parent
DATA = HERE.parents[2] / ".." / "shared" / "reference" / "open_data" / "serial_height_leg_length.csv"
KEPT = tomllib.loads((HERE / "calibration_even.toml").read_text())


def data() -> Path:
    if not DATA.exists():
        pytest.skip(f"open data not here: {DATA.resolve()}")
    return DATA


@pytest.fixture(scope="module")
def even() -> dict[str, Any]:
    return script.calibration(data(), "even")


def pooled(name: str) -> dict[str, Any]:
    return next(row for row in KEPT[name] if row["age"] == "pooled")


def error_ratio(name: str, from_age: int = 0) -> float:
    rows = [row for row in KEPT[name] if row["age"] != "pooled" and row["age"] >= from_age]
    ours, theirs = (sum(row["n"] * row[key] for row in rows) for key in ("mae_model", "mae_single_visit_multiplier"))
    return float(ours / theirs)


@pytest.mark.parametrize("name", ["height", "leg_length"])
def test_the_kept_figures_come_out_again(even: dict[str, Any], name: str) -> None:
    rows = {row["age"]: row for row in (*even[name]["by_age"], {"age": "pooled", **even[name]["pooled"]})}
    for kept in KEPT[name]:
        for key in script.KEYS:
            assert rows[kept["age"]][key] == pytest.approx(kept[key], abs=1e-3), (kept["age"], key)
        for key, error in rows[kept["age"]]["standard_errors"].items():
            assert error == pytest.approx(kept[f"{key}_se"], abs=1e-3)


def test_bands_of_stature_hold_what_they_say() -> None:
    assert 0.42 <= pooled("height")["coverage50"] <= 0.60
    assert 0.84 <= pooled("height")["coverage90"] <= 0.97


def test_bands_of_leg_length_hold_what_they_say() -> None:
    assert 0.40 <= pooled("leg_length")["coverage50"] <= 0.62
    assert 0.84 <= pooled("leg_length")["coverage90"] <= 0.97


def test_all_visits_predict_better_than_the_last_ones_multiplier() -> None:
    assert error_ratio("height") <= 0.88
    assert error_ratio("height", 10) <= 0.80
    assert error_ratio("leg_length") <= 0.85


@pytest.mark.parametrize("name", ["height", "leg_length"])
def test_the_prediction_is_not_biased(name: str) -> None:
    assert abs(pooled(name)["bias"]) < 1.0


def test_the_command_prints_json_of_the_agreed_shape() -> None:
    command = [sys.executable, str(HERE / "calibration.py"), str(data()), "--json", "--children", "even"]
    found = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    assert set(found) == {"height", "leg_length"}
    keys = set(script.KEYS)
    for part in found.values():
        assert set(part) == {"by_age", "pooled"}
        assert [row["age"] for row in part["by_age"]] == [2, 4, 6, 8, 10, 12, 14]
        assert keys | {"age"} <= set(part["by_age"][0])
        assert keys <= set(part["pooled"])
    early = found["leg_length"]["by_age"][0]
    assert all(early[key] is None for key in keys - {"n"})


def test_odd_and_even_children_are_kept_apart() -> None:
    odd, even = (set(script.children(data(), which)) for which in ("odd", "even"))
    assert (len(odd), len(even)) == (46, 45)
    assert all(int(number) % 2 for number in odd)
    assert not odd & even


def test_a_file_that_is_not_there_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        script.main(["/nowhere/children.csv"])
    assert "no file /nowhere/children.csv" in capsys.readouterr().err
