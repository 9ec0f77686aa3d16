"""How often the model is right: adult size predicted from the visits up to an age, against what came.

python tests/outside/published/calibration.py DATA.csv [--json | --toml] [--children odd|even|all]

DATA.csv has the columns child, sex, age_years, height_cm and stem_length_cm (sitting height; may be empty);
lines that begin with # are comments. Adult size is the last value measured at 18 years or later. The population
tables come from the odd-numbered children of one study, so only other children try them out.
"""

from __future__ import annotations

import argparse
import csv
import json
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[3]
sys.path.insert(0, str(ROOT))

from pathway.growth import growth_curve  # noqa: E402
from pathway.growth.population import Measure, Population, Visits, adult_size, population  # noqa: E402
from pathway.growth.reference_curves import GrowthCurve, stature_curve  # noqa: E402
from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.record import Sex  # noqa: E402

AGES = (2, 4, 6, 8, 10, 12, 14)
FIRST_VISIT: Mapping[Measure, float] = {"stature": 2.0, "leg": 8.0}
LATEST_VISIT_WITHIN_YEARS = 0.3
ADULT_FROM_YEARS = 18.0
KEYS = ("n", "coverage50", "coverage90", "mae_model", "mae_single_visit_multiplier", "bias")
Sizes = dict[float, float]
"""Size in mm by age in years."""


@dataclass(frozen=True, slots=True)
class Trial:
    """One prediction: errors in mm (predicted less true), the adult size, and whether the bands held it."""

    child: str
    age: int
    adult_mm: float
    model_mm: float
    single_mm: float
    in50: bool
    in90: bool


def children(path: Path, which: str) -> dict[str, tuple[Sex, dict[Measure, Sizes]]]:
    """Return sex and sizes of the odd- or even-numbered children, or of all."""
    found: dict[str, tuple[Sex, dict[Measure, Sizes]]] = {}
    lines = [line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    for row in csv.DictReader(lines):
        number = int("".join(filter(str.isdigit, row["child"])))
        if which != "all" and number % 2 != (which == "odd"):
            continue
        sex: Sex = "girl" if row["sex"].strip().lower() in ("girl", "female", "f", "girls") else "boy"
        sizes = found.setdefault(row["child"], (sex, {"stature": {}, "leg": {}}))[1]
        age = float(row["age_years"])
        if row["height_cm"].strip():
            sizes["stature"][age] = 10 * float(row["height_cm"])
            if row["stem_length_cm"].strip():
                sizes["leg"][age] = 10 * (float(row["height_cm"]) - float(row["stem_length_cm"]))
    return found


def single_visit(measure: Measure, sex: Sex) -> GrowthCurve:
    """Return the curve of the single-visit multiplier: adult over at-age of the CDC medians, or the lower limb's."""
    return against(measure, sex)[1]


@lru_cache
def against(measure: Measure, sex: Sex) -> tuple[Population, GrowthCurve]:
    """Return the children and the reference curve of one measure."""
    protocol = load_protocol()
    curve = stature_curve(protocol, sex) if measure == "stature" else growth_curve(protocol, sex, "table")
    return population(protocol, measure, sex), curve


def visits(measure: Measure, sex: Sex, sizes: Sizes, until: float) -> Visits:
    """Return the visits of one measure up to an age."""
    ages = [age for age in sorted(sizes) if FIRST_VISIT[measure] <= age <= until]
    return Visits(*against(measure, sex), np.array(ages), np.array([sizes[age] for age in ages]))


def trials(measure: Measure, kids: Mapping[str, tuple[Sex, dict[Measure, Sizes]]]) -> list[Trial]:
    """Return every prediction of one measure that the data allow."""
    found = []
    for child, (sex, sizes) in kids.items():
        mine = sizes[measure]
        grown = [age for age in mine if age >= ADULT_FROM_YEARS]
        if not grown:
            continue
        adult = mine[max(grown)]
        for t in AGES:
            seen = [age for age in sorted(mine) if FIRST_VISIT[measure] <= age <= t]
            if not seen or seen[-1] < t - LATEST_VISIT_WITHIN_YEARS:
                continue
            # The visits up to an age hold both measures: stature says something of the legs.
            beside = visits("stature", sex, sizes["stature"], t) if measure == "leg" else None
            said = adult_size(visits(measure, sex, mine, t), beside=beside)
            inside = [said.quantile_mm(low) <= adult <= said.quantile_mm(1 - low) for low in (0.25, 0.05)]
            alone = mine[seen[-1]] * float(single_visit(measure, sex).multiplier(seen[-1]))
            found.append(Trial(child, t, adult, said.centre_mm - adult, alone - adult, *inside))
    return found


def figures(found: Sequence[Trial]) -> dict[str, float | int | None]:
    """Return number, coverage (0 to 1), mean absolute errors in cm and bias in % of adult size; None without any."""
    if not found:
        return {key: 0 if key == "n" else None for key in KEYS}
    return {
        "n": len(found),
        "coverage50": float(np.mean([t.in50 for t in found])),
        "coverage90": float(np.mean([t.in90 for t in found])),
        "mae_model": float(np.mean([abs(t.model_mm) for t in found])) / 10,
        "mae_single_visit_multiplier": float(np.mean([abs(t.single_mm) for t in found])) / 10,
        "bias": float(np.mean([100 * t.model_mm / t.adult_mm for t in found])),
    }


def errors(found: Sequence[Trial]) -> dict[str, float | None]:
    """Return the standard error of each figure; predictions of one child count as one (between-children)."""
    kids = sorted({t.child for t in found})
    keys = [key for key in KEYS if key != "n"]
    if len(kids) < 2:
        return dict.fromkeys(keys)
    by_child = [[t for t in found if t.child == kid] for kid in kids]
    total = figures(found)
    result: dict[str, float | None] = {}
    for key in keys:
        parts = [(len(mine), figures(mine)[key]) for mine in by_child]
        off = sum((n * ((value or 0.0) - (total[key] or 0.0))) ** 2 for n, value in parts)
        result[key] = float(np.sqrt(off * len(kids) / (len(kids) - 1)) / len(found))
    return result


def calibration(path: Path, which: str = "even") -> dict[str, Any]:
    """Return all figures as `{"height": {"by_age": [...], "pooled": {...}}, "leg_length": {...}}`."""
    kids = children(path, which)
    result: dict[str, Any] = {}
    names: tuple[tuple[str, Measure], ...] = (("height", "stature"), ("leg_length", "leg"))
    for name, measure in names:
        found = trials(measure, kids)
        rows = []
        for t in AGES:
            here = [trial for trial in found if trial.age == t]
            rows.append({"age": t, **figures(here), "standard_errors": errors(here)})
        result[name] = {"by_age": rows, "pooled": {**figures(found), "standard_errors": errors(found)}}
    return result


def ratio(part: Mapping[str, Any], from_age: int = 0) -> float:
    """Return the model's mean absolute error over that of the single-visit multiplier, from an age on."""
    rows = [row for row in part["by_age"] if row["age"] >= from_age and row["n"]]
    ours, theirs = (sum(row["n"] * row[key] for row in rows) for key in ("mae_model", "mae_single_visit_multiplier"))
    return float(ours / theirs)


def lines(found: Mapping[str, Any]) -> Iterable[str]:
    """Yield the figures as a table with standard errors."""
    for name, part in found.items():
        yield f"{name.replace('_', ' ')}: adult value predicted from the visits up to an age (± one standard error)"
        yield "  age    n  in 50 % band  in 90 % band  error, cm    multiplier, cm  bias, %"
        for row in (*part["by_age"], {"age": "all", **part["pooled"]}):
            if not row["n"]:
                yield f"  {row['age']!s:>3}  not measured so early"
                continue
            se = row["standard_errors"]
            cells = [
                f"{100 * row['coverage50']:.0f} ± {100 * se['coverage50']:.0f} %".ljust(14),
                f"{100 * row['coverage90']:.0f} ± {100 * se['coverage90']:.0f} %".ljust(14),
                f"{row['mae_model']:.2f} ± {se['mae_model']:.2f}".ljust(13),
                f"{row['mae_single_visit_multiplier']:.2f} ± {se['mae_single_visit_multiplier']:.2f}".ljust(16),
                f"{row['bias']:+.2f} ± {se['bias']:.2f}",
            ]
            yield f"  {row['age']!s:>3}  {row['n']:>3}  " + "".join(cells)
        if part["pooled"]["n"]:
            yield (
                f"  error over that of the single-visit multiplier: {ratio(part):.2f}, "
                f"from 10 years on {ratio(part, 10):.2f}"
            )
        yield ""


def toml(found: Mapping[str, Any], which: str) -> Iterable[str]:
    """Yield the figures as the file that is kept beside this one, rounded."""
    yield f"# Written by tests/outside/published/calibration.py DATA.csv --toml --children {which}."
    yield f"# {which.capitalize()}-numbered children of Tuddenham and Snyder, Univ Calif Publ Child Dev 1954;1:183-364."
    yield "# Coverage 0 to 1, errors in cm, bias in % of adult size; *_se: one standard error."
    for name, part in found.items():
        for row in (*part["by_age"], {"age": "pooled", **part["pooled"]}):
            if not row["n"]:
                continue
            yield f"\n[[{name}]]"
            yield f'age = "{row["age"]}"' if row["age"] == "pooled" else f"age = {row['age']}"
            yield f"n = {row['n']}"
            for key, error in row["standard_errors"].items():
                yield f"{key} = {row[key]:.4f}"
                yield f"{key}_se = {error:.4f}"


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the arguments and print the figures."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("data", type=Path)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--toml", action="store_true")
    parser.add_argument("--children", choices=("odd", "even", "all"), default="all")
    given = parser.parse_args(arguments)
    if not given.data.is_file():
        parser.error(f"no file {given.data}")
    found = calibration(given.data, given.children)
    if given.json:
        print(json.dumps(found, indent=2))
    else:
        print("\n".join(toml(found, given.children) if given.toml else lines(found)))


if __name__ == "__main__":
    main()
