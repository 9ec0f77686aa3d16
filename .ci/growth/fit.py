"""Regenerate the population tables of rules/growth from the 91 children of the open data.

python .ci/growth/fit.py SERIAL_HEIGHT_LEG_LENGTH.csv STATURE_MEDIAN_BY_AGE.csv [--out FOLDER]
    writes stature_fraction_*.toml and population_*.toml (into rules/growth)

    --leave-out K --of N --out FOLDER    the same without the children of fold K of N: their numbers sorted,
                                         every N-th from the K-th on (K from 0); never into rules/growth
    --try                                prints, for several settings, error and coverage of every child, each
                                         time from tables made without the fold that the child is in

Children of a fold are dropped as the file is read: nothing here can see them.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import sys
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from population_files import (  # noqa: E402
    Setting,
    departures_table,
    sizes_table,
    write_stature,
    write_table,
    write_values,
)

from pathway.growth.population import Visits, adult_size, population, recentring  # noqa: E402
from pathway.growth.reference_curves import growth_curve, pchip, stature_curve  # noqa: E402
from pathway.protocol.load import load_protocol  # noqa: E402
from pathway.protocol.model import Protocol, Table  # noqa: E402

RULES = ROOT / "rules" / "growth"
SEXES = ("boy", "girl")
HALF_YEARS = np.arange(8, 18.01, 0.5)
AGES = {"stature": np.r_[2:8, HALF_YEARS], "leg": np.r_[0.5, 1:8, HALF_YEARS]}
FIRST = {"stature": 2.0, "leg": 8.0}
TRIED_AT = (2, 4, 6, 8, 10, 12, 14)
FOLDS = 7


@dataclass
class Kid:
    """One child: lengths in mm by age, adult sizes, and deviations log(adult x reference / length)."""

    number: int
    sex: str
    height: dict[float, float]
    leg: dict[float, float]
    adult: dict[str, float]
    deviation: dict[str, np.ndarray]


def rows_of(path: str) -> list[dict[str, str]]:
    """Return the rows of a csv file whose comments begin with #."""
    lines = [line for line in Path(path).read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def medians(path: str) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Return ages and the fraction of the adult median of stature, by sex, from the CDC 2000 rows."""
    found = {}
    for sex in SEXES:
        chosen = [r for r in rows_of(path) if r["reference"] == "CDC2000" and r["sex"] == sex]
        cm = np.array([float(r["median_stature_cm"]) for r in chosen])
        found[sex] = np.array([float(r["age_years"]) for r in chosen]), cm / cm[-1]
    return found


class Reference:
    """Fraction of adult size by measure, sex and age."""

    def __init__(self, stature: dict[str, tuple[np.ndarray, np.ndarray]]) -> None:
        self.stature = stature
        self.protocol = load_protocol()

    def fraction(self, measure: str, sex: Any, age: Any) -> np.ndarray:
        """Return the fraction of adult size at an age."""
        if measure == "stature":
            return pchip(*self.stature[sex], age)
        return growth_curve(self.protocol, sex, "table").fraction(age)


def fold(numbers: Collection[int], k: int, of: int) -> frozenset[int]:
    """Return the numbers of fold `k` (from 0) of `of`: sorted, every `of`-th from the k-th on."""
    return frozenset(sorted(set(numbers))[k::of])


def numbers_in(path: str) -> frozenset[int]:
    """Return the numbers of all children in the file."""
    return frozenset(int(row["child"]) for row in rows_of(path))


def children(path: str, reference: Reference, without: Collection[int] = ()) -> list[Kid]:
    """Return the children but those of `without`, with their deviations, gaps filled from the nearest age."""
    kids: dict[int, Kid] = {}
    for row in rows_of(path):
        number = int(row["child"])
        if number in without:
            continue
        kid = kids.setdefault(number, Kid(number, row["sex"], {}, {}, {}, {}))
        age = float(row["age_years"])
        if row["height_cm"]:
            kid.height[age] = 10 * float(row["height_cm"])
            if row["stem_length_cm"]:
                kid.leg[age] = 10 * (float(row["height_cm"]) - float(row["stem_length_cm"]))
    for kid in kids.values():
        kid.adult = {"stature": kid.height[max(kid.height)], "leg": kid.leg[max(kid.leg)]}
        kid.deviation = {m: _deviation(kid, m, reference) for m in AGES}
    for measure in AGES:
        for sex in SEXES:
            _fill([kid for kid in kids.values() if kid.sex == sex], measure)
    return list(kids.values())


def _deviation(kid: Kid, measure: str, reference: Reference) -> np.ndarray:
    def of(name: str, lengths: dict[float, float], ages: np.ndarray) -> np.ndarray:
        mm = np.array([lengths.get(float(age), np.nan) for age in ages])
        return np.log(kid.adult[name] * reference.fraction(name, kid.sex, ages) / mm)

    if measure == "stature":
        return of("stature", kid.height, AGES["stature"])
    own = of("leg", kid.leg, AGES["leg"])
    body = of("stature", kid.height, AGES["leg"])
    # Sitting height was not taken before 8 years: there the leg is taken to follow stature, at the distance
    # that this child's leg keeps from its stature at 8 to 9.5 years.
    near = (AGES["leg"] >= 8) & (AGES["leg"] <= 9.5)
    young = AGES["leg"] < 8
    own[young] = body[young] + np.nanmean((own - body)[near])
    return own


def _fill(kids: list[Kid], measure: str) -> None:
    table = np.array([kid.deviation[measure] for kid in kids])
    mean = np.nanmean(table, axis=0)
    for kid, row in zip(kids, table, strict=True):
        known = np.flatnonzero(~np.isnan(row))
        gap = np.flatnonzero(np.isnan(row))
        nearest = known[np.abs(known[None, :] - gap[:, None]).argmin(axis=1)] if len(gap) else gap
        row[gap] = mean[gap] + (row - mean)[nearest]
        kid.deviation[measure] = row


@dataclass
class Moments:
    """Mean and covariance of (log adult stature, log adult leg, deviations of stature, deviations of leg)."""

    n: int
    mean: np.ndarray
    cov: np.ndarray

    @staticmethod
    def place(measure: str) -> slice:
        """Return where the deviations of a measure stand."""
        first = 2 if measure == "stature" else 2 + len(AGES["stature"])
        return slice(first, first + len(AGES[measure]))


def moments(kids: list[Kid], sex: str, pooled: float, reference: Reference) -> Moments:
    """Return the moments of one sex, smoothed over age and pooled with the other sex.

    The other sex enters at the ages at which it has the same fraction of its adult size.
    """

    def of(which: str, ages: dict[str, np.ndarray]) -> np.ndarray:
        rows = []
        for kid in kids:
            if kid.sex == which:
                size = [float(np.log(kid.adult[m])) for m in AGES]
                dev = [np.interp(ages[m], AGES[m], kid.deviation[m]) for m in AGES]
                rows.append(np.r_[size, *dev])
        return np.array(rows)

    other = "girl" if sex == "boy" else "boy"
    grid = np.arange(0, 20, 0.02)
    same = {
        m: np.interp(reference.fraction(m, sex, AGES[m]), reference.fraction(m, other, grid) + 1e-9 * grid, grid)
        for m in AGES
    }
    own = of(sex, AGES)
    both = (1 - pooled) * np.cov(own.T) + pooled * np.cov(of(other, same).T)
    smooth = np.eye(len(both))
    for measure in AGES:
        n, at = len(AGES[measure]), Moments.place(measure)
        weights = 2 * np.eye(n) + np.eye(n, k=1) + np.eye(n, k=-1)
        smooth[at, at] = weights / weights.sum(axis=1, keepdims=True)
    return Moments(len(own), own.mean(axis=0), smooth @ both @ smooth.T)


def factors(found: Moments, number: int, widened: float) -> tuple[np.ndarray, np.ndarray]:
    """Return loadings of the two log adult sizes (2, 2) and of all deviations (n, 2 + number), widened.

    The first two normals are adult stature and what is left of adult leg length given it; the others are the
    principal components of what the deviations still vary.
    """
    cov = found.cov * widened
    sizes = np.linalg.cholesky(cov[:2, :2])
    with_size = cov[2:, :2] @ np.linalg.inv(sizes).T
    values, vectors = np.linalg.eigh(cov[2:, 2:] - with_size @ with_size.T)
    top = np.argsort(values)[::-1][:number]
    rest = vectors[:, top] * np.sqrt(np.maximum(values[top], 0))
    signs = np.where(rest[np.abs(rest).argmax(axis=0), range(number)] < 0, -1, 1)
    return sizes, np.c_[with_size, rest * signs]


def with_tables(protocol: Protocol, tables: Sequence[Table], wander_sd: float | None = None) -> Protocol:
    """Return the protocol with these tables in place of its own, and another `population_wander_sd` where given."""
    new = {table.id: table for table in tables}
    kept = tuple(new.get(table.id, table) for table in protocol.tables)
    values = protocol.values
    if wander_sd is not None:
        name = "population_wander_sd"
        values = tuple(v.model_copy(update={"value": wander_sd}) if v.id == name else v for v in values)
    parts = {field: getattr(protocol, field) for field in Protocol.model_fields}
    return Protocol.model_construct(**{**parts, "tables": kept, "values": values})


def tried(path: str, reference: Reference) -> None:
    """Print error and coverage of every child when its fold is left out of the fit.

    Both measures by `adult_size`, with the curve moved as that of stature: leg length here is one more size of the
    body, not the bones of a record.
    """
    print(
        "measure  pooled factors wander widened |   n  error/multiplier  at >=10 y"
        "  50 % band  90 % band  sd of z  bias %"
    )
    everyone, numbers = children(path, reference), numbers_in(path)
    folds = [fold(numbers, k, FOLDS) for k in range(FOLDS)]
    parts = [(children(path, reference, left), [kid for kid in everyone if kid.number in left]) for left in folds]
    for chosen in itertools.product((0.0, 0.3, 0.5, 0.7), (6, 12), (0.007, 0.010, 0.014), (1.0, 1.1, 1.25)):
        setting = Setting(*chosen)
        found: dict[str, list[tuple[float, ...]]] = {measure: [] for measure in AGES}
        for kids, left in parts:
            protocol = with_tables(
                reference.protocol, population_tables(kids, reference, setting), wander_sd=setting.wander_sd
            )
            for kid, measure in itertools.product(left, AGES):
                found[measure] += _foretold(kid, measure, protocol)
        for measure in AGES:
            rows = np.array(found[measure])
            late = rows[rows[:, 0] >= 10]
            ratio, late_ratio = (r[:, 1].mean() / r[:, 2].mean() for r in (rows, late))
            z = rows[:, 4]
            print(
                f"{measure:8s} {setting.pooled:5.1f} {setting.factors:7d} {setting.wander:6.3f} {setting.widened:7.2f}"
                f" | {len(rows):3d} {ratio:10.3f} {late_ratio:14.3f} {(np.abs(z) < 0.6745).mean():10.3f}"
                f" {(np.abs(z) < 1.6449).mean():10.3f} {z.std():8.3f} {100 * rows[:, 3].mean():8.2f}"
            )


def _foretold(kid: Kid, measure: Any, protocol: Protocol) -> list[tuple[float, ...]]:
    """Return age, error in mm, that of the single-visit multiplier, relative error and z of each prediction."""
    sex: Any = kid.sex
    lengths = kid.height if measure == "stature" else kid.leg
    curve = stature_curve(protocol, sex) if measure == "stature" else growth_curve(protocol, sex, "table")
    results, adult = [], kid.adult[measure]
    for t in TRIED_AT:
        seen = [age for age in AGES[measure] if FIRST[measure] <= age <= t and age in lengths]
        if not seen or seen[-1] < t:
            continue
        mm = np.array([lengths[age] for age in seen])
        said = adult_size(Visits(population(protocol, measure, sex), curve, np.array(seen), mm), recentring(protocol))
        single = mm[-1] * float(curve.multiplier(seen[-1]))
        off = said.centre_mm - adult
        z = (np.log(adult) - said.mean_log) / said.sd_log
        results.append((t, abs(off), abs(single - adult), off / adult, z))
    return results


def population_tables(kids: list[Kid], reference: Reference, setting: Setting | None = None) -> list[Table]:
    """Return the population tables made from these children: sizes, mean deviations and loadings."""
    chosen = setting or Setting()
    tables, sizes = [], []
    for sex in SEXES:
        found = moments(kids, sex, chosen.pooled, reference)
        of_size, loadings = factors(found, chosen.factors, chosen.widened)
        for k, measure in enumerate(AGES):
            mm, sd = np.exp(found.mean[k]), np.hypot(*of_size[k])
            spread = (round(float(v), 5) for v in (sd, *of_size[k]))
            sizes.append((measure, f"{sex}s", found.n, round(float(mm), 1), *spread))
            place = Moments.place(measure)
            table = np.c_[found.mean[place], loadings[place.start - 2 : place.stop - 2]]
            ages = AGES[measure]
            if measure == "leg":
                birth = table[0] + (table[0] - table[1]) * ages[0] / (ages[1] - ages[0])
                ages, table = np.r_[0, ages], np.vstack((birth, table))
            ages, table = np.r_[ages, 20], np.vstack((table, np.zeros(table.shape[1])))
            sds = np.sqrt((table[:, 1:] ** 2).sum(axis=1))
            # Adding 0 takes the sign from a rounded -0.
            rows = np.round(np.c_[ages, table[:, 0], sds, table[:, 1:]], 5) + 0.0
            tables.append(departures_table(measure, sex, found.n, chosen, rows))
    boys, girls = (sum(kid.sex == sex for kid in kids) for sex in SEXES)
    return [*tables, sizes_table(boys, girls, sizes)]


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one of the commands of the module's text."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("serial", help="ages, statures and sitting heights of children, CSV")
    parser.add_argument("medians", help="medians of stature by age, CSV")
    parser.add_argument("--out", type=Path, default=RULES, metavar="FOLDER")
    parser.add_argument("--leave-out", type=int, metavar="K", help="fold to leave out, from 0")
    parser.add_argument("--of", type=int, default=FOLDS, metavar="N", help="number of folds")
    parser.add_argument("--try", action="store_true", dest="trying")
    given = parser.parse_args(arguments)
    stature = medians(given.medians)
    reference = Reference(stature)
    if given.trying:
        tried(given.serial, reference)
        return
    without: frozenset[int] = frozenset()
    if given.leave_out is not None:
        if not 0 <= given.leave_out < given.of:
            parser.error(f"--leave-out {given.leave_out}: expected 0 to {given.of - 1}")
        if given.out.resolve() == (ROOT / "rules" / "growth").resolve():
            parser.error("tables without a fold do not belong into rules/growth: name another folder with --out")
        without = fold(numbers_in(given.serial), given.leave_out, given.of)
    write_stature(stature, given.out)
    for table in population_tables(children(given.serial, reference, without), reference):
        write_table(table, given.out)
    write_values(given.out)


if __name__ == "__main__":
    main()
