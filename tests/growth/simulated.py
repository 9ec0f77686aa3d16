"""Children made up from the published spreads, with both legs, operations and missing visits.

Written apart from the model: only the tables and numbers of the rules are shared with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from pathway.growth import Step, growth_curve
from pathway.growth.reference_curves import leanings
from pathway.protocol.model import Protocol
from pathway.record import Measurement, Record, Sex, Visit
from tests.growth.children import FILM, bones, child, difference, of_side, visit

BONES = ("femur", "tibia")


@dataclass(frozen=True)
class Made:
    """A child as seen at its visits, what was done, the age at the last visit, and how it truly ends."""

    record: Record
    steps: tuple[Step, ...]
    age: float
    discrepancy_mm: float


class _Bone:
    """The true lengths of one bone on both legs."""

    def __init__(self, mature: float, grown: tuple[np.ndarray, np.ndarray], proportion: float, kept: float) -> None:
        self.mature, self.grown, self.proportion, self.kept = mature, grown, proportion, kept
        self.start = 0.0
        self.later_kept: tuple[float, float] | None = None
        self.gain: tuple[float, float, float] | None = None
        self.arrest: tuple[float, float] | None = None
        self.plate: tuple[float, float, float, float] = (0.0, 1.0, 1.0, 1.0)

    def alone(self, age: float) -> float:
        return self.mature * float(np.interp(age, *self.grown))

    def long(self, age: float) -> float:
        if self.arrest is None or age <= self.arrest[0]:
            return self.alone(age)
        fine = np.linspace(self.arrest[0], age, 60)
        grown, share = np.array([self.alone(a) for a in fine]), np.interp(fine, self.plate[:2], self.plate[2:])
        held = float((np.diff(grown) * (share[1:] + share[:-1]) / 2).sum())
        return self.alone(age) - self.arrest[1] * held

    def short(self, age: float) -> float:
        mm, before, kept = self.proportion * self.alone(self.start), self.start, self.kept
        turns = [(self.start, self.kept)]
        if self.later_kept:
            turns.append(self.later_kept)
        if self.gain:
            turns.append((self.gain[0], math.nan))
        loss = 1.0
        for turn, share in [*sorted(turns), (age, math.nan)]:
            until = min(turn, age)
            if until > before or age < self.start:
                mm += kept * loss * (self.alone(until) - self.alone(before))
                before = until
            if turn <= age and not math.isnan(share):
                kept = share
            if self.gain and turn == self.gain[0] < age:
                mm += self.gain[1]
                loss = 1 - self.gain[2]
                if turn == age:
                    break
        return mm


def _fractions(
    protocol: Protocol, sex: Sex, loadings: np.ndarray, z: np.ndarray, lean: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    fine = np.arange(0, 21.01, 0.05)
    population = np.array(protocol.table(f"population_leg_{sex}s").column("age_years"))
    departs = np.interp(fine, population, loadings @ z)
    leans = leanings(protocol, sex)
    leaning = leans.at(fine) @ (leans.sd * lean)
    path = growth_curve(protocol, sex).fraction(fine) * np.exp(leaning - departs)
    return fine, np.minimum(np.maximum.accumulate(path), 1.0)


def _one_of(protocol: Protocol, table: str, rng: np.random.Generator, **where: str) -> float:
    found = protocol.table(table)
    at = {name: found.columns.index(name) for name in found.columns}
    rows = [row for row in found.rows if all(row[at[key]] == wanted for key, wanted in where.items())]
    chance = np.array([float(row[at["chance"]]) for row in rows])
    row = rows[rng.choice(len(rows), p=chance / chance.sum())]
    return float(row[at["mean"]]) + float(row[at["sd"]]) * float(rng.standard_normal())


def _loadings(protocol: Protocol, sex: Sex) -> np.ndarray:
    table = protocol.table(f"population_leg_{sex}s")
    return np.array([table.column(c) for c in table.columns if c.startswith(("size_", "factor_"))]).T


def make(protocol: Protocol, rng: np.random.Generator) -> Made:
    """Return one child; the same generator state gives the same child."""
    sex: Sex = "boy" if rng.random() < 0.5 else "girl"
    number = protocol.number
    loadings = _loadings(protocol, sex)
    rows = [r for r in protocol.table("femur_tibia_correlation").rows if r[0] == f"{sex}s"]
    rho = float(max(rows, key=lambda row: float(row[2]) - float(row[1]))[6])
    both = rng.standard_normal((2, loadings.shape[1]))
    z = {"femur": both[0], "tibia": rho * both[0] + math.sqrt(1 - rho**2) * both[1]}
    lean = rng.standard_normal(len(leanings(protocol, sex).sd))
    size = rng.standard_normal(2)
    of_size = {"femur": size[0], "tibia": rho * size[0] + math.sqrt(1 - rho**2) * size[1]}
    congenital = rng.random() < 0.6
    ages = np.sort(rng.uniform(1.5, 12.5, rng.integers(1, 7)))
    ages = ages[np.insert(np.diff(ages) > 0.6, 0, True)]
    last = float(ages[-1])
    legs: dict[str, _Bone] = {}
    for bone in BONES:
        table = protocol.table(f"amg_1964_{bone}_{sex}s")
        mean, sd = 10 * table.column("mean")[-1], 10 * table.column("sd")[-1]
        proportion = float(rng.uniform(0.55, 0.97))
        drift = (
            number("unknown_inhibition_sd") * rng.standard_normal()
            if not congenital
            else _one_of(protocol, "drift_of_proportion", rng)
        )
        kept = max(proportion + drift, 0.0)
        one = _Bone(
            mean * math.exp(sd / mean * of_size[bone]),
            _fractions(protocol, sex, loadings, z[bone], lean),
            proportion,
            kept,
        )
        one.start = float(ages[0])
        if bone == "femur":
            by_age = [row for row in protocol.table("physis_share_by_age").rows if row[0] == f"{sex}s"]
            one.plate = tuple(float(row[k]) for k in (1, 2) for row in by_age)  # type: ignore[assignment]
        if not congenital and len(ages) > 1:
            one.later_kept = (last, max(kept + number("inhibition_drift_sd") * rng.standard_normal(), 0.0))
        legs[bone] = one
    steps = _operations(protocol, rng, legs, ages)
    visits = tuple(_visit(protocol, rng, legs, float(age), first=k == 0) for k, age in enumerate(ages))
    record = child(
        *visits, sex=sex, diagnosis="congenital_femoral_deficiency" if congenital else "acquired_physis_damage"
    )
    true = sum(one.long(21.0) - one.short(21.0) for one in legs.values())
    return Made(record, steps, last, true)


def _operations(
    protocol: Protocol, rng: np.random.Generator, legs: dict[str, _Bone], ages: np.ndarray
) -> tuple[Step, ...]:
    number, steps = protocol.number, []
    last = float(ages[-1])
    earliest = max(4.0, float(ages[0]) + 0.1)
    if rng.random() < 0.3 and last > earliest + 0.1:
        age = float(rng.uniform(earliest, last - 0.05))
        gained = float(rng.uniform(30, 60))
        loss = min(_one_of(protocol, "loss_after_lengthening", rng, diagnosis="any", bone="any"), 1.0)
        error = number("lengthening_gain_error_sd_mm") * rng.standard_normal()
        legs["femur"].gain = (age, gained + error, loss)
        steps.append(Step("short", "femur", age, adds_mm=gained))
    if rng.random() < 0.15 and last > max(9.0, float(ages[0])) + 0.1:
        age = float(rng.uniform(max(9.0, float(ages[0])), last - 0.05))
        keeps = min(max(_one_of(protocol, "arrest_efficacy", rng), 0.0), 1.0)
        late = number("arrest_delay_years") + number("arrest_delay_sd_years") * rng.standard_normal()
        legs["femur"].arrest = (age + max(late, 0.0), keeps)
        steps.append(Step("long", "femur", age, stops=("distal_femur",)))
    return tuple(steps)


def _visit(protocol: Protocol, rng: np.random.Generator, legs: dict[str, _Bone], age: float, *, first: bool) -> Visit:
    sd = protocol.method(FILM).length_sd_mm or 0.0
    wander = {bone: math.exp(protocol.number("bone_wander_sd") * rng.standard_normal()) for bone in BONES}
    true = {(leg, bone): getattr(legs[bone], leg)(age) * wander[bone] for leg in ("short", "long") for bone in BONES}
    seen = {key: max(mm + sd * rng.standard_normal(), 1.0) for key, mm in true.items()}
    if first or rng.random() < 0.7:
        order = (("short", "femur"), ("long", "femur"), ("short", "tibia"), ("long", "tibia"))
        return bones(age, tuple(seen[key] for key in order))  # type: ignore[arg-type]
    if rng.random() < 0.5:
        gap = sum(true["long", bone] - true["short", bone] for bone in BONES)
        return difference(age, gap + sd * rng.standard_normal())
    sides = (("short", "left"), ("long", "right"))
    only: list[Measurement] = [of_side("femur_length_mm", side, seen[leg, "femur"]) for leg, side in sides]  # type: ignore[arg-type]
    return visit(age, only)
