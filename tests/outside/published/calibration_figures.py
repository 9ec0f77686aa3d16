"""Figures of predictions held against what came: coverage, errors, their standard errors, as text and TOML."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from pathway.record import Sex

AGES = (2, 4, 6, 8, 10, 12, 14)
SEXES: tuple[Sex, ...] = ("boy", "girl")
KEYS = ("n", "coverage50", "coverage90", "mae_model", "mae_single_visit_multiplier", "error_ratio", "bias")
What = Literal["height", "leg_length", "discrepancy"]
NAMES: Mapping[What, str] = {
    "height": "adult height",
    "leg_length": "long leg at maturity",
    "discrepancy": "leg length discrepancy at maturity (made from the same legs: no proof of its own)",
}
Figures = dict[str, float | int | None]


@dataclass(frozen=True, slots=True)
class Trial:
    """One prediction: errors in mm (predicted less true), the true end, and whether the bands held it."""

    what: What
    child: str
    sex: Sex
    age: int
    true_mm: float
    model_mm: float
    single_mm: float
    in50: bool
    in90: bool


def figures(found: Sequence[Trial]) -> Figures:
    """Return number, coverage (0 to 1), mean absolute errors in cm, their ratio, bias in % of the true end.

    None for each without any prediction.
    """
    if not found:
        return {key: 0 if key == "n" else None for key in KEYS}
    ours, theirs = (float(np.mean([abs(getattr(t, name)) for t in found])) / 10 for name in ("model_mm", "single_mm"))
    return {
        "n": len(found),
        "coverage50": float(np.mean([t.in50 for t in found])),
        "coverage90": float(np.mean([t.in90 for t in found])),
        "mae_model": ours,
        "mae_single_visit_multiplier": theirs,
        "error_ratio": ours / theirs if theirs else None,
        "bias": float(np.mean([100 * t.model_mm / t.true_mm for t in found])),
    }


def errors(found: Sequence[Trial]) -> dict[str, float | None]:
    """Return the standard error of each figure; predictions of one child count as one (between children)."""
    by_child: dict[str, list[Trial]] = {}
    for trial in found:
        by_child.setdefault(trial.child, []).append(trial)
    keys = [key for key in KEYS if key != "n"]
    if len(by_child) < 2:
        return dict.fromkeys(keys)
    total = figures(found)
    parts = [(len(mine), figures(mine)) for mine in by_child.values()]
    result: dict[str, float | None] = {}
    for key in keys:
        if key == "error_ratio":
            # The ratio of two sums, linear near what was found.
            ours, theirs = "mae_model", "mae_single_visit_multiplier"
            off = [n * (_number(f[ours]) - _number(total[key]) * _number(f[theirs])) for n, f in parts]
            scale = len(found) * _number(total[theirs])
        else:
            off = [n * (_number(f[key]) - _number(total[key])) for n, f in parts]
            scale = len(found)
        result[key] = float(np.sqrt(np.sum(np.square(off)) * len(parts) / (len(parts) - 1)) / scale)
    return result


def _number(value: float | None) -> float:
    return 0.0 if value is None else float(value)


def by_age(found: Sequence[Trial]) -> dict[str, Any]:
    """Return `{"by_age": [...], "pooled": {...}}`, each with its standard errors."""
    rows = []
    for age in AGES:
        here = [trial for trial in found if trial.age == age]
        rows.append({"age": age, **figures(here), "standard_errors": errors(here)})
    return {"by_age": rows, "pooled": {**figures(found), "standard_errors": errors(found)}}


def summed_up(found: Sequence[Trial]) -> dict[str, Any]:
    """Return, for height, leg length and discrepancy, the figures by age, pooled, and the same `by_sex`."""
    result: dict[str, Any] = {}
    for what in NAMES:
        mine = [trial for trial in found if trial.what == what]
        sexes = {sex: by_age([trial for trial in mine if trial.sex == sex]) for sex in SEXES}
        result[what] = {**by_age(mine), "by_sex": sexes}
    return result


def _rows(part: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for row in (*part["by_age"], {"age": "pooled", **part["pooled"]}):
        if row["n"]:
            yield row


def _parts(part: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    yield "all", part
    yield from part["by_sex"].items()


def lines(found: Mapping[str, Any]) -> Iterable[str]:
    """Yield the figures as tables with standard errors."""
    for what, whole in found.items():
        for who, part in _parts(whole):
            children = "all children" if who == "all" else f"{who}s"
            yield f"{NAMES[what]}, {children}: predicted from the visits up to an age (± one standard error)"  # type: ignore[index]
            yield "  age       n  in 50 % band  in 90 % band  error, cm    multiplier, cm  ratio        bias, %"
            for row in _rows(part):
                se = {key: _number(value) for key, value in row["standard_errors"].items()}
                cells = [
                    f"{100 * row['coverage50']:.0f} ± {100 * se['coverage50']:.0f} %".ljust(14),
                    f"{100 * row['coverage90']:.0f} ± {100 * se['coverage90']:.0f} %".ljust(14),
                    f"{row['mae_model']:.2f} ± {se['mae_model']:.2f}".ljust(13),
                    f"{row['mae_single_visit_multiplier']:.2f} ± {se['mae_single_visit_multiplier']:.2f}".ljust(16),
                    f"{row['error_ratio']:.2f} ± {se['error_ratio']:.2f}".ljust(13),
                    f"{row['bias']:+.2f} ± {se['bias']:.2f}",
                ]
                yield f"  {row['age']!s:6}  {row['n']:>3}  " + "".join(cells)
            yield ""


COLUMNS = ("what", "children", "age", "n", *(f"{key}{end}" for key in KEYS[1:] for end in ("", "_se")))
FOLD_COLUMNS = ("what", "fold", *KEYS)


def toml(found: Mapping[str, Any], folds: Sequence[Mapping[str, Any]]) -> Iterable[str]:
    """Yield the figures, and those of each fold pooled, as the file that is kept, rounded; nan where there is none."""
    yield "# Coverage 0 to 1, errors in cm, bias in % of the true end; _se: one standard error, between children."
    yield f"columns = {json.dumps(COLUMNS)}\nrows = ["
    for what, whole in found.items():
        for who, part in _parts(whole):
            for row in _rows(part):
                pairs = ((row[key], row["standard_errors"][key]) for key in KEYS[1:])
                yield _row(what, who, row["age"], row["n"], *(value for pair in pairs for value in pair))
    yield f"]\nfold_columns = {json.dumps(FOLD_COLUMNS)}\nfolds = ["
    for k, fold in enumerate(folds):
        yield from (_row(what, k, *(whole["pooled"][key] for key in KEYS)) for what, whole in fold.items())
    yield "]"


def _row(*cells: str | float | None) -> str:
    words = ("nan" if c is None else f"{c:.4f}" if isinstance(c, float) else json.dumps(c) for c in cells)
    return f"  [{', '.join(words)}],"
