"""The ages at which references near adult size: at each, the source's own medians are at the fraction stated.

Medians of stature and leg length by age as shipped with PyPI rcpchgrowth 4.6.5 and R package childsds 0.9.11 (US CDC
2000; WHO 2006/2007; Fredriks 2000 and 2005; Roelants 2009; KiGGS 2003-2006; Ghouili 2021), and 91 children of
Tuddenham RD, Snyder MM. Univ Calif Publ Child Dev 1954;1:183-364.
"""

from __future__ import annotations

import csv
from pathlib import Path
from statistics import fmean

import numpy as np
import pytest

from pathway.protocol.load import load_protocol
from tests.outside.published.calibration import children

DATA = Path(__file__).parents[3] / ".." / "shared" / "reference" / "open_data"
FILES = {"stature": "stature_median_by_age.csv", "leg": "leg_length_median_by_age.csv"}
CM = {"stature": "median_stature_cm", "leg": "leg_length_cm"}
CODES = {
    ("stature", "US 2000"): "CDC2000",
    ("stature", "WHO 2006/2007"): "WHO2006_2007",
    ("stature", "Netherlands 1997"): "NL1997",
    ("stature", "Flanders 2004"): "Flanders2004",
    ("stature", "Germany 2003-2006"): "Germany_KiGGS",
    ("stature", "Tunisia 2021"): "Tunisia2021",
    ("leg", "Netherlands 1997"): "NL_Fredriks2005",
    ("leg", "Tunisia 2021"): "TN_Ghouili2021",
}
TABLE = load_protocol().table("maturing_of_references")
ROWS = [dict(zip(TABLE.columns, row, strict=True)) for row in TABLE.rows]
PARTS = {0.90: "age_90", 0.95: "age_95", 0.98: "age_98"}


def name(row: dict[str, object]) -> str:
    return f"{row['measure']}, {row['sex']}, {row['reference']}"


def file(called: str) -> Path:
    path = DATA / called
    if not path.exists():
        pytest.skip(f"open data not here: {path.resolve()}")
    return path


@pytest.mark.parametrize("row", [r for r in ROWS if "1928" not in str(r["reference"])], ids=name)
def test_the_medians_are_at_the_fraction_stated(row: dict[str, object]) -> None:
    measure = str(row["measure"])
    text = [line for line in file(FILES[measure]).read_text().splitlines() if not line.startswith("#")]
    wanted = CODES[measure, str(row["reference"])], str(row["sex"]).removesuffix("s")
    mine = [r for r in csv.DictReader(text) if (r["reference"], r["sex"]) == wanted]
    ages, cm = (np.array([float(r[column]) for r in mine]) for column in ("age_years", CM[measure]))
    assert str(row["adult_age_years"]) == f"{ages[-1]:g}"
    for part, column in PARTS.items():
        at = float(str(row[f"{column}_years"]))
        assert np.interp(at, ages, cm) / cm[-1] == pytest.approx(part, abs=6e-4)


@pytest.mark.parametrize("row", [r for r in ROWS if "1928" in str(r["reference"])], ids=name)
def test_the_children_are_on_average_at_the_fraction_stated(row: dict[str, object]) -> None:
    kids = [kid for kid in children(file("serial_height_leg_length.csv")) if kid.sex == str(row["sex"])[:-1]]
    sizes = [kid.height if row["measure"] == "stature" else kid.leg for kid in kids]
    for part, column in PARTS.items():
        at = float(str(row[f"{column}_years"]))
        # Measured every half year: the fraction at the ages on either side.
        sides = (np.floor(2 * at) / 2, np.ceil(2 * at) / 2)
        shares = []
        for age in sides:
            seen = [(mm[age], mm[max(mm)]) for mm in sizes if age in mm]
            shares.append(fmean(now for now, _ in seen) / fmean(end for _, end in seen))
        assert np.interp(at, sides, shares) == pytest.approx(part, abs=6e-4)
        assert 0.05 < float(str(row[f"{column}_se_years"])) < 0.3


def test_every_reference_is_named_with_its_source_for_both_sexes() -> None:
    assert len(ROWS) == 2 * (len(CODES) + 2)
    assert {(r["measure"], r["reference"]) for r in ROWS if "1928" not in str(r["reference"])} == set(CODES)
    assert all(str(row["source"]) and str(row["provenance"]) for row in ROWS)
