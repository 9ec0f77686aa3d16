"""What one child's visits say about the growth of each bone: many possible futures and a central one.

The centre is the multiplier method from the latest visit with that bone; the spread is that between children
of one age. Each possible future passes through the measured length: a child who ends longer than the
multiplier says is one whose growth still lies further ahead, so its curve is shifted in age.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pathway.days import age_years
from pathway.growth.curves import Floats, GrowthCurve, growth_curve, plural, table_at
from pathway.growth.paths import BoneDraws, added_before, lengths, progress
from pathway.growth.readings import BonePoints, Reading, bone_correlation, bone_points, readings
from pathway.growth.steps import BONES, Step, physis_shares
from pathway.protocol.model import Bone, Protocol
from pathway.record import Record


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """The child's growth from the last visit on, as draws.

    `bones` holds the draws of femur and tibia; `known_steps` the operations already done; `shares` each
    growth plate's share of its bone; `age_years` the age on the day of the projection; `mature_age_years`
    the central end of growth; `notes` plain sentences about what the projection rests on.
    """

    curve: GrowthCurve
    bones: Mapping[Bone, BoneDraws]
    known_steps: tuple[Step, ...]
    shares: Mapping[str, float]
    age_years: float
    mature_age_years: float
    notes: tuple[str, ...]
    middle: Posterior | None = None

    @property
    def draws(self) -> int:
        """Return the number of possible futures."""
        return len(self.bones["femur"].mature_mm)

    def central(self) -> Posterior:
        """Return the same with one draw at the central values: the deterministic projection."""
        return self if self.middle is None else self.middle


@dataclass(frozen=True, slots=True)
class _Basis:
    """Everything that the draws are made from; no randomness."""

    curve: GrowthCurve
    points: Mapping[Bone, BonePoints]
    pattern: str
    shift_years: float
    spread: tuple[tuple[float, ...], tuple[float, ...]]
    correlation: float
    steps: tuple[Step, ...]
    shares: Mapping[str, float]
    first: Bone
    late: tuple[float, float, float] | None
    number: Mapping[str, float]


_NUMBERS = (
    "proportion_drift_sd",
    "unknown_inhibition_sd",
    "inhibition_drift_sd",
    "developmental_least_months",
    "inhibition_least_growth_share",
    "growth_share_most",
    "growth_loss_after_lengthening_chance",
    "growth_loss_after_lengthening_most",
)


def fit_growth(
    record: Record,
    protocol: Protocol,
    on: datetime.date,
    *,
    seed: int = 0,
    known_steps: Sequence[Step] = (),
) -> Posterior | None:
    """Return the growth of the child as known on the day `on`, or None when nothing was ever measured.

    `known_steps` are the operations already done. The same seed gives the same draws. Raises ValueError for
    lengths that cannot be.
    """
    found = readings(record, protocol, on)
    if not found:
        return None
    curve = growth_curve(protocol, record.child.sex)
    diagnosis = protocol.diagnosis(record.child.diagnosis)
    pattern = record.child.growth_pattern or diagnosis.growth_pattern
    first: Bone = diagnosis.bones[0] if diagnosis.bones else "femur"
    born = record.child.date_of_birth
    shift, notes = skeletal_shift(record, protocol, on)
    points, assumed = bone_points(found, protocol, curve, shift, first)
    spread = protocol.table(f"spread_log_mature_over_at_age_{plural(curve.sex)}")
    basis = _Basis(
        curve=curve,
        points={one.bone: one for one in points},
        pattern=pattern,
        shift_years=shift,
        spread=(spread.column("age_years"), spread.column("sd_log")),
        correlation=bone_correlation(protocol, curve),
        steps=tuple(sorted((s for s in known_steps if s.age_years <= age_years(born, on)), key=_age)),
        shares=physis_shares(protocol),
        first=first,
        late=_later_difference(found),
        number={name: protocol.number(name) for name in _NUMBERS},
    )
    said = [
        f"Growth curve: {curve.name}.",
        f"Last measured on {found[-1].date} at {found[-1].age_years:.1f} years.",
        *notes,
        *assumed,
        *_pattern_notes(basis),
    ]
    width = 6 + 2 * sum(len(one.points) for one in points)
    half = max(int(protocol.number("growth_draws")) // 2, 1)
    rng = np.random.default_rng(seed)
    normals, uniforms = rng.standard_normal((half, width)), rng.random((half, 2))
    middle = Posterior(
        curve=curve,
        bones=_realise(basis, np.zeros((1, width)), np.zeros((1, 2))),
        known_steps=basis.steps,
        shares=basis.shares,
        age_years=age_years(born, on),
        mature_age_years=max(curve.mature_age_years - shift, 0.0),
        notes=tuple(said),
    )
    # Each draw has a mirror image, so that means and medians lie near the central child.
    mirrored = np.concatenate((normals, -normals)), np.concatenate((uniforms, 1 - uniforms))
    return replace(middle, bones=_realise(basis, *mirrored), middle=middle)


def _age(step: Step) -> float:
    return step.age_years


def skeletal_shift(record: Record, protocol: Protocol, on: datetime.date) -> tuple[float, tuple[str, ...]]:
    """Return by how many years the curve is read ahead of the calendar age, and a sentence about it."""
    read = [v for v in record.visits if v.date <= on and v.skeletal_age_years is not None]
    if not read:
        return 0.0, ("No skeletal age: growth is read at the calendar age.",)
    visit = max(read, key=lambda v: v.date)
    skeletal = float(visit.skeletal_age_years or 0.0)
    age = age_years(record.child.date_of_birth, visit.date)
    words = f"Skeletal age {skeletal:.1f} against {age:.1f} years"
    start = protocol.number("skeletal_offset_from_age_years")
    if age < start:
        return 0.0, (f"{words}: not used, because it says little before {start:g} years.",)
    share = protocol.number("skeletal_offset_share")
    part = "half" if share == 0.5 else f"{share:.0%} of"
    return share * (skeletal - age), (f"{words}: curve shifted by {part} the difference.",)


def _later_difference(found: Sequence[Reading]) -> tuple[float, float, float] | None:
    """Return (age, mm, error) of a discrepancy measured after the last bone lengths, or None."""
    last = found[-1]
    boned = any(reading.lengths for reading in found)
    if last.discrepancy is None or last.lengths or not boned:
        return None
    return last.age_years, *last.discrepancy


def _pattern_notes(basis: _Basis) -> list[str]:
    notes = []
    if basis.late is not None:
        notes.append(f"The latest visit has only the difference: it is put on the {basis.first}.")
    if basis.pattern == "congenital":
        notes.append("Congenital pattern: the short bone keeps its proportion of the long one.")
    else:
        if basis.pattern != "developmental":
            notes.append(f"Growth pattern {basis.pattern!r} has no model of its own: taken as developmental.")
        one = basis.points[basis.first]
        if _inhibition_pair(basis, one) is None:
            notes.append("Too few visits to measure inhibition: taken as proportional, with a wider spread.")
        else:
            notes.append("Developmental pattern: share of growth as between the first and last visit.")
    if any(step.adds_mm for step in basis.steps):
        notes.append("A lengthened bone is taken to grow on as before; the spread allows for less.")
    return notes


def _inhibition_pair(basis: _Basis, one: BonePoints) -> tuple[int, int] | None:
    """Return the indices of the first and last visit that show this bone's share of growth, or None.

    Visits after a growth plate of the bone was closed on either leg do not count.
    """
    stopped = min((s.age_years for s in basis.steps if s.bone == one.bone and s.stops), default=np.inf)
    usable = [i for i, p in enumerate(one.points) if p.both and p.age_years <= stopped]
    if len(usable) < 2 or one.equal:
        return None
    start, end = usable[0], usable[-1]
    apart = 12 * (one.points[end].age_years - one.points[start].age_years)
    grown = (one.points[end].long or (0.0, 0.0))[0] - (one.points[start].long or (0.0, 0.0))[0]
    # Half a week of grace: months are counted from decimal ages here.
    return (start, end) if apart >= basis.number["developmental_least_months"] - 0.1 and grown > 0 else None


def _realise(basis: _Basis, z: Floats, u: Floats) -> Mapping[Bone, BoneDraws]:
    """Return the draws of both bones from standard normal and uniform numbers; all zero gives the centre."""
    chance = basis.number["growth_loss_after_lengthening_chance"]
    most = basis.number["growth_loss_after_lengthening_most"]
    rho = basis.correlation
    eps = {"femur": z[:, 0], "tibia": rho * z[:, 0] + (1 - rho**2) ** 0.5 * z[:, 1]}
    bones: dict[Bone, BoneDraws] = {}
    used = 6
    for k, bone in enumerate(BONES):
        one = basis.points[bone]
        n = len(one.points)
        errors = z[:, used : used + 2 * n]
        used += 2 * n
        long, short = _lengths(one, z[:, 2], errors)
        loss = most * np.clip((u[:, k] - (1 - chance)) / chance, 0.0, 1.0) if chance > 0 else 0.0 * u[:, k]
        natural = _long_bone(basis, one, long, eps[bone], loss)
        bones[bone] = _short_bone(basis, one, long, short, natural, z[:, 3 + k])
    if basis.late is not None:
        bones[basis.first] = _meet_difference(basis, bones, z[:, 5])
    return bones


def _lengths(one: BonePoints, population: Floats, errors: Floats) -> tuple[Floats, Floats]:
    """Return the true lengths (m, visits) of the long and short bone; nan where not known."""
    m, n = len(population), len(one.points)
    long, short = np.full((m, n), np.nan), np.full((m, n), np.nan)
    for i, point in enumerate(one.points):
        if point.long is not None:
            mm, sd = point.long
            long[:, i] = mm * np.exp(one.population_cv * population) + sd * errors[:, 2 * i]
        if point.short is not None:
            mm, sd = point.short
            short[:, i] = mm + sd * errors[:, 2 * i + 1]
            if point.tied and point.long is not None:
                short[:, i] += long[:, i] - point.long[0]
    return long, np.maximum(short, 0.0)


def _long_bone(basis: _Basis, one: BonePoints, long: Floats, eps: Floats, loss: Floats) -> BoneDraws:
    """Return the draws with the long bone set and the short one still equal to it."""
    at = max(i for i, point in enumerate(one.points) if point.long is not None)
    age, curve = one.points[at].age_years, basis.curve
    read_at = age + basis.shift_years
    sd = table_at(*basis.spread, read_at)
    share = np.minimum(float(curve.fraction(read_at)) * np.exp(-sd * eps), 1.0)
    grown_up = max(curve.mature_age_years - age, basis.shift_years)
    shift = np.where(share >= 1.0, grown_up, curve.age_at_fraction(share) - age)
    here = long[:, at]
    draws = BoneDraws(one.bone, here, shift, age, here, age, here, np.ones_like(here), loss)
    # With a growth plate closed before this visit, less of the mature length is there than the curve says.
    natural = draws.natural(curve, np.array([age]))
    reached = progress(draws, "long", curve, basis.steps, basis.shares, natural)[:, 0]
    return replace(draws, mature_mm=here / reached)


def _short_bone(
    basis: _Basis, one: BonePoints, long: Floats, short: Floats, draws: BoneDraws, drift: Floats
) -> BoneDraws:
    """Return the draws with the short bone's anchor and its share of growth."""
    at = max(i for i, point in enumerate(one.points) if point.short is not None)
    age = one.points[at].age_years
    pair = None if basis.pattern == "congenital" else _inhibition_pair(basis, one)
    if one.equal:
        share, sd = np.ones_like(drift), 0.0
    elif pair is not None:
        share, sd = _share_between(basis, one, long, short, pair), basis.number["inhibition_drift_sd"]
    else:
        share, sd = _proportion(basis, one, long, short, draws, at), basis.number["unknown_inhibition_sd"]
        if basis.pattern == "congenital":
            sd = basis.number["proportion_drift_sd"]
    kept = np.clip(share + sd * drift, 0.0, basis.number["growth_share_most"])
    return replace(draws, short_age_years=age, short_mm=short[:, at], share_kept=kept)


def _proportion(basis: _Basis, one: BonePoints, long: Floats, short: Floats, draws: BoneDraws, last: int) -> Floats:
    """Return short over long, averaged over the visits before any operation on the bone of either leg.

    Without such a visit: the last short length less what was added, over the long bone left alone.
    """
    own = [s for s in basis.steps if s.bone == one.bone]
    first = min((s.age_years for s in own), default=np.inf)
    before = [i for i, p in enumerate(one.points) if p.both and p.age_years <= first]
    if before:
        ratios: Floats = (short[:, before] / np.maximum(long[:, before], 1.0)).mean(axis=1)
        return ratios
    age = one.points[last].age_years
    whole = draws.mature_mm * draws.natural(basis.curve, np.array([age]))[:, 0]
    result: Floats = np.maximum(short[:, last] - added_before(own, "short", one.bone, age), 0.0) / whole
    return result


def _share_between(basis: _Basis, one: BonePoints, long: Floats, short: Floats, pair: tuple[int, int]) -> Floats:
    """Return the short bone's growth over the long one's between two visits, added length taken off."""
    start, end = pair
    ages = [one.points[i].age_years for i in pair]
    gained = [added_before(basis.steps, "short", one.bone, age) for age in ages]
    grown = long[:, end] - long[:, start]
    # Errors of measurement must not make the long bone seem to stand still.
    least = basis.number["inhibition_least_growth_share"] * (
        (one.points[end].long or (0.0, 0.0))[0] - (one.points[start].long or (0.0, 0.0))[0]
    )
    result: Floats = (short[:, end] - short[:, start] - (gained[1] - gained[0])) / np.maximum(grown, least)
    return result


def _meet_difference(basis: _Basis, bones: Mapping[Bone, BoneDraws], error: Floats) -> BoneDraws:
    """Return the first bone with its short anchor moved so that the later discrepancy is met."""
    if basis.late is None:
        return bones[basis.first]
    age, mm, sd = basis.late
    gap: Floats = np.zeros_like(error)
    for draws in bones.values():
        long, short = lengths(draws, basis.curve, basis.steps, basis.shares, np.array([age]))
        gap = gap + long[:, 0] - short[:, 0]
    draws = bones[basis.first]
    return replace(draws, short_mm=np.maximum(draws.short_mm + gap - (mm + sd * error), 0.0))
