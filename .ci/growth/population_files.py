"""The population tables of rules/growth as values and as files, and the settings that were chosen for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from pathway.protocol.model import Table

HEAD = ("name", "unit", "sex", "source", "provenance", "age", "note")
DIGITS = {"age_years": "g", "n": "g", "mean_mm": ".1f"}

# What --try chose: see the value rules written by `write_values`.
POOLED, FACTORS, WANDER, WIDENED = 0.5, 12, 0.010, 1.1


@dataclass(frozen=True)
class Setting:
    """What `--try` chooses between; the standing choice where nothing is said."""

    pooled: float = POOLED
    factors: int = FACTORS
    wander: float = WANDER
    widened: float = WIDENED

    @property
    def wander_sd(self) -> float:
        """Return what one measurement strays, widened like the rest."""
        return round(self.wander * self.widened**0.5, 4)


def write_stature(stature: Mapping[str, tuple[np.ndarray, np.ndarray]], folder: Path) -> None:
    """Write the reference curve of stature."""
    for sex, (ages, fraction) in stature.items():
        keep = [(a, f) for a, f in zip(ages, fraction, strict=True) if a >= 2 or a in (0, 0.5, 1, 1.5)]
        rows = "".join(f"  [{a:g}, {f:.5f}],\n" for a, f in keep)
        (folder / f"stature_fraction_{sex}s.toml").write_text(
            'name = "Stature by age as a fraction of the adult median"\nunit = "fraction"\n'
            f'sex = "{sex}s"\n'
            'source = "US CDC 2000 growth reference (medians, length below 2 years), public domain; '
            'divided by the median at 20 years"\n'
            'provenance = "computed from the medians as shipped with PyPI rcpchgrowth 4.6.5; written by '
            '.ci/growth/fit.py"\n'
            'age = "chronological, years"\ncolumns = ["age_years", "fraction"]\n'
            f"rows = [\n{rows}]\n"
        )


def write_table(table: Table, folder: Path) -> None:
    """Write a population table as a rule file."""
    head = (f"{key} = {_quoted(value)}\n" for key in HEAD if (value := getattr(table, key)))
    rows = "".join(
        "  [" + ", ".join(_cell(*cell) for cell in zip(table.columns, row, strict=True)) + "],\n" for row in table.rows
    )
    columns = ", ".join(_quoted(name) for name in table.columns)
    text = "".join(head) + f"columns = [{columns}]\nrows = [\n{rows}]\n"
    (folder / f"{table.id}.toml").write_text(text, encoding="utf-8")


def _quoted(text: str) -> str:
    return f'"{text}"'


def _cell(name: str, value: str | float) -> str:
    return _quoted(value) if isinstance(value, str) else format(value, DIGITS.get(name, ".5f"))


def write_values(folder: Path) -> None:
    """Write the chosen settings as value rules."""
    how = (
        "Tried on 91 children, one measure at a time, each from tables without its fold of 13 (.ci/growth/fit.py --try)"
    )
    chosen = (
        (
            "population_pooled_weight",
            POOLED,
            "ratio",
            f"{how}: against each sex alone the error fell from 0.866 to 0.859 of the single-visit multiplier's "
            "(stature) and from 0.742 to 0.726 (leg length).",
        ),
        (
            "population_factors",
            float(FACTORS),
            "count",
            f"{how}: 6 gave the same errors as 12, and greater ones where single measurements are trusted more.",
        ),
        (
            "population_wander_sd",
            Setting().wander_sd,
            "log",
            "What one measurement of the body strays from its smooth course, error of measuring included: 0.010, "
            f"widened like the rest. {how}: with 0.007, 0.010 and 0.014 the error was 0.852, 0.859 and 0.868 of the "
            "single-visit multiplier's (stature) and 0.726 to 0.728 (leg length); the middle one is kept.",
        ),
        (
            "population_widening",
            WIDENED,
            "ratio",
            f"Factor on all variances of the population tables, already in them. {how}: the standardised errors then "
            "had standard deviations of 0.95 (stature) and 0.96 (leg length), and the 90 % bands held 91 and 89 %; "
            "without it they held 89 and 88 %.",
        ),
    )
    rules = "".join(
        f'[[value]]\nid = "{name}"\nvalue = {value}\nunit = "{unit}"\nbecause = "{because}"\n'
        'sources = ["tuddenham_1954_serial_growth", "own_judgement"]\nprovenance = "computed"\nstrength = "series"\n\n'
        for name, value, unit, because in chosen
    )
    (folder / "population_values.toml").write_text(
        "# Settings of the population tables, written by .ci/growth/fit.py.\n\n" + rules.rstrip("\n") + "\n"
    )


def _who(who: str) -> dict[str, str]:
    return {
        "source": f"computed from {who} of Tuddenham RD, Snyder MM. Physical growth of California boys and girls from "
        "birth to eighteen years. Univ Calif Publ Child Dev 1954;1:183-364",
        "provenance": "computed by .ci/growth/fit.py; tried by leaving children out, in seven folds",
    }


def sizes_table(boys: int, girls: int, rows: Sequence[tuple[str | float, ...]]) -> Table:
    """Return the table of adult sizes."""
    return Table(
        id="population_size",
        name="Adult size of the children from whom the population tables were taken",
        unit="mm; log",
        sex="per row",
        **_who(f"{boys + girls} children ({boys} boys and {girls} girls)"),
        note="Geometric mean; standard deviation of the log between children, pooled and widened as in the tables "
        "of deviations; its loadings on the two standard normals that those tables name size_1 (adult stature) "
        "and size_2 (what is left of adult leg length). Leg: stature minus sitting height. No child's adult size is "
        "drawn towards these means.",
        columns=("measure", "sex", "n", "mean_mm", "sd_log", "size_1", "size_2"),
        rows=tuple(rows),
    )


def departures_table(measure: str, sex: str, n: int, setting: Setting, rows: np.ndarray) -> Table:
    """Return the table of mean deviations and loadings of one measure and sex."""
    curve = "fraction of stature" if measure == "stature" else "fraction by the lower-limb multiplier"
    young = (
        ""
        if measure == "stature"
        else " Leg length is stature minus sitting height, taken from 8 years; before that a child's leg is "
        "taken to follow its stature at the distance kept at 8 to 9.5 years (our judgement), and birth is the "
        "straight continuation of 0.5 and 1 year. Surface measures carry more error than bones on film."
    )
    return Table(
        id=f"population_{measure}_{sex}s",
        name=f"How children depart from the reference curve: {measure}",
        unit="log",
        sex=f"{sex}s",
        **_who(f"{n} {sex}s, joined by the other sex,"),
        age="chronological, years",
        note=f"Deviation = log(adult size x {curve} / size at age). mean: average deviation, by which the "
        "curve is recentred. size_1, size_2, factor_1 ...: loadings on independent standard normals, the same for "
        "stature and leg: adult stature, what is left of adult leg length, principal components of the rest; sd: "
        "root of their squares together. Joint covariance by moments, not by likelihood; smoothed with weights "
        f"1-2-1 over neighbouring ages; for {setting.pooled:.0%} that of the other sex at ages of equal fraction of "
        f"adult size; variances times {setting.widened} for the small sample. Settings tried by leaving children out: "
        f"see population_values.toml. At 20 years nothing is left to grow.{young}",
        columns=("age_years", "mean", "sd", "size_1", "size_2", *(f"factor_{k + 1}" for k in range(setting.factors))),
        rows=tuple(tuple(float(value) for value in row) for row in rows),
    )
