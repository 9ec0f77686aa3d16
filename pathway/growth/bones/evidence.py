"""One child's visits and operations put into the terms of the growth model, and what they say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from pathway.days import age_words
from pathway.growth.bones.measured import Reading, bone_correlation, mean_length
from pathway.growth.bones.mixture import Way, Ways, ways_of
from pathway.growth.bones.unknowns import BoneView, Frame, Knowledge, Layout, Prior, Seen, bone_view, condition
from pathway.growth.growth_pattern import Departure, chi_square, departure
from pathway.growth.population import Population, population, pull_sd
from pathway.growth.reference_curves import Floats, GrowthCurve, growth_curve, leanings
from pathway.growth.skeletal_age import Skeletal, explained, skeletal_age
from pathway.growth.surgery import BONES, Leg, PlateShares, Step, plate_shares
from pathway.protocol.model import Bone, Protocol
from pathway.protocol.question import Question, pattern_of

_NUMBERS = (
    "growth_draws",
    "unknown_inhibition_sd",
    "inhibition_drift_sd",
    "developmental_least_months",
    "developmental_share_sd",
    "departure_drift_sd",
    "growth_share_most",
    "surprise_most_widening",
    "arrest_delay_years",
    "arrest_delay_sd_years",
    "arrest_redone_chance",
    "arrest_redone_after_years",
    "lengthening_gain_error_sd_mm",
    "bone_pull_to_population",
    "bone_wander_sd",
    "surprise_band",
    "overgrowth_median_mm",
    "overgrowth_log_sd",
    "overgrowth_early_share",
    "overgrowth_early_years",
    "overgrowth_end_years",
)
UNEXPECTED = "Please check"
"""How the sentence on a value begins that the visits before did not lead to expect."""
_TIED_SD = 1e-6
_LEAST_GROWTH = 0.005
_LEAST_ERROR_MM = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class Basis:
    """Everything that the growth of one child is worked out from; no randomness.

    `free` names the bones whose shortening was measured, in any way; `shown` those with two visits far enough
    apart to show their share of growth; `first` the bone on which a bare difference is put.
    """

    protocol: Protocol
    diagnosis: str
    curve: GrowthCurve
    of: Population
    found: tuple[Reading, ...]
    steps: tuple[Step, ...]
    plates: PlateShares
    congenital: bool
    first: Bone
    free: frozenset[Bone]
    shown: frozenset[Bone]
    starts: Mapping[Bone, float]
    skeletal: Skeletal
    departed: Departure
    correlation: float
    number: Mapping[str, float]
    notes: tuple[str, ...]

    @property
    def lengthened(self) -> frozenset[Bone]:
        """Return the bones of the short leg that were lengthened by distraction before the last visit."""
        last = self.found[-1].age_years
        return frozenset(s.bone for s in self.steps if s.leg == "short" and s.lengthens and s.age_years < last)

    def later_drift_sd(self, bone: Bone) -> float:
        """Return how far the share of growth may change after the last visit."""
        if bone in self.departed.bones:
            return self.number["departure_drift_sd"]
        if bone in self.shown and not self.congenital:
            return self.number["inhibition_drift_sd"]
        return 0.0

    def drift_ways(self, bone: Bone) -> tuple[Way, ...]:
        """Return how far the share of growth may lie from the share of length before any visit shows it."""
        if bone not in self.free:
            return ((1.0, 0.0, _TIED_SD),)
        if self.congenital and bone not in self.departed.bones:
            return _ways(self.protocol, "drift_of_proportion")
        return ((1.0, 0.0, self.number["developmental_share_sd" if bone in self.shown else "unknown_inhibition_sd"]),)

    def loss_ways(self, bone: Bone) -> tuple[Way, ...]:
        """Return what part of the growth to come a lengthening of a bone may cost (below 0: it grows faster)."""
        own = _ways(self.protocol, "loss_after_lengthening", diagnosis=self.diagnosis, bone=bone)
        return own or _ways(self.protocol, "loss_after_lengthening", diagnosis="any", bone="any")

    def overgrowth(self, z: Floats) -> Floats:
        """Return what a broken bone gains in mm, from standard normal numbers."""
        result: Floats = self.number["overgrowth_median_mm"] * np.exp(self.number["overgrowth_log_sd"] * z)
        return result

    def jump(self, step: Step) -> tuple[float, float]:
        """Return mean and standard deviation, mm, of what a step added beyond its record."""
        if step.overgrows:
            typical = self.number["overgrowth_median_mm"]
            return typical, typical * self.number["overgrowth_log_sd"]
        return 0.0, self.number["lengthening_gain_error_sd_mm"]


def arrest_ways(protocol: Protocol) -> tuple[Way, ...]:
    """Return what part of its plates' growth an arrest may keep back once it works."""
    return _ways(protocol, "arrest_efficacy")


def _ways(protocol: Protocol, table: str, **where: str) -> tuple[Way, ...]:
    """Return the ways of the rows of a table whose columns hold `where`."""
    found = protocol.table(table)
    at = {name: found.columns.index(name) for name in found.columns}
    rows = [row for row in found.rows if all(row[at[key]] == wanted for key, wanted in where.items())]
    return tuple((float(row[at["chance"]]), float(row[at["mean"]]), float(row[at["sd"]])) for row in rows)


def basis_of(question: Question, found: tuple[Reading, ...], steps: tuple[Step, ...]) -> Basis:
    """Return the basis of one child on a day; raises ValueError for a difference that cannot be."""
    curve = growth_curve(question.protocol, question.record.child.sex)
    diagnosis = question.protocol.diagnosis(question.record.child.diagnosis)
    pattern = pattern_of(question)
    first: Bone = diagnosis.bones[0] if diagnosis.bones else "femur"
    number = {name: question.protocol.number(name) for name in _NUMBERS}
    skeletal = skeletal_age(question)
    ordered = tuple(sorted(steps, key=lambda step: step.age_years))
    at = {bone: _shortening_at(found, bone, first) for bone in BONES}
    _check_differences(found, question.protocol, curve, first)
    congenital = pattern == "congenital"
    left = departure(found, ordered, question.protocol)
    months = number["developmental_least_months"]
    shown = frozenset(b for b in BONES if _shows(at[b], b, ordered, curve, skeletal.shift_years, months))
    basis = Basis(
        protocol=question.protocol,
        diagnosis=diagnosis.id,
        curve=curve,
        of=population(question.protocol, "leg", question.record.child.sex),
        found=found,
        steps=ordered,
        plates=plate_shares(question.protocol, curve),
        congenital=congenital,
        first=first,
        free=frozenset(b for b in BONES if at[b]),
        shown=shown,
        starts={b: (at[b] or [found[0].age_years])[0] for b in BONES},
        skeletal=skeletal,
        departed=left,
        correlation=bone_correlation(question.protocol, curve),
        number=number,
        notes=(),
    )
    return _with_notes(basis, pattern)


def _shortening_at(found: Sequence[Reading], bone: Bone, first: Bone) -> list[float]:
    """Return the ages of the visits that showed how short the bone is; empty where none did."""
    own = [r.age_years for r in found if ("short", bone) in r.lengths]
    other: Bone = "tibia" if bone == "femur" else "femur"
    if own:
        return own
    rest = [r for r in found if r.discrepancy is not None]
    if any(("short", other) in r.lengths for r in found):
        return [r.age_years for r in rest if ("long", other) in r.lengths and ("short", other) in r.lengths]
    return [r.age_years for r in rest] if bone == first else []


def _shows(
    ages: Sequence[float], bone: Bone, steps: Sequence[Step], curve: GrowthCurve, shift: float, months: float
) -> bool:
    """Return whether visits lie far enough apart, with growth between, to show the share of growth.

    Visits after a growth plate of the bone was closed on either leg do not count.
    """
    stopped = min((s.age_years for s in steps if s.bone == bone and s.stops), default=np.inf)
    usable = [age for age in ages if age <= stopped]
    # Half a week of grace: months are counted from decimal ages here.
    if len(usable) < 2 or 12 * (usable[-1] - usable[0]) < months - 0.1:
        return False
    grown = curve.fraction([usable[0] + shift, usable[-1] + shift])
    return bool(grown[1] - grown[0] > _LEAST_GROWTH)


def _check_differences(found: Sequence[Reading], protocol: Protocol, curve: GrowthCurve, first: Bone) -> None:
    for reading in found:
        if reading.discrepancy is not None and ("short", first) not in reading.lengths:
            whole = mean_length(protocol, curve, first, reading.age_years)[0]
            long = reading.lengths.get(("long", first), (whole, 0.0))[0]
            if reading.discrepancy[0] >= long:
                raise ValueError(f"leg_length_discrepancy_mm on {reading.date} is more than the whole {first}")


def _with_notes(basis: Basis, pattern: str) -> Basis:
    last = basis.found[-1]
    notes = [
        f"Growth curve: {basis.curve.name}.",
        f"Last measured on {last.date} at {age_words(last.age_years)}.",
        basis.skeletal.note,
    ]
    for bone in BONES:
        if not any(("long", bone) in r.lengths for r in basis.found):
            other = any(("long", b) in r.lengths for r in basis.found for b in BONES)
            like = ", in proportion to the other bone" if other else ""
            notes.append(
                f"The {bone} of the longer leg was never measured: estimated from the 1964 means for that age{like}."
            )
        if bone not in basis.free:
            notes.append(f"No shortening of the {bone} was measured: it is assumed equal on both sides.")
        elif not any(("short", bone) in r.lengths for r in basis.found):
            notes.append(f"The {bone} of the shorter leg was never measured: the difference is assigned to it.")
    if last.discrepancy is not None and not last.lengths and any(r.lengths for r in basis.found):
        notes.append("The latest visit has only the difference: it adjusts each bone according to its uncertainty.")
    if basis.congenital:
        notes.append("Congenital pattern: the short bone keeps its proportion of the long one.")
    else:
        if pattern != "developmental":
            notes.append(f"Growth pattern {pattern!r} has no model of its own: treated as developmental.")
        if basis.first in basis.shown:
            notes.append("Developmental pattern: share of growth as measured between the visits so far.")
        else:
            notes.append("Too few visits to measure inhibition: assumed proportional, with a wider spread.")
    notes += basis.departed.notes
    if any(step.adds_mm for step in basis.steps):
        notes.append("A lengthened bone may grow more slowly or faster afterwards: as the visits since have shown.")
    if any(step.stops for step in basis.steps):
        notes.append("How well and how soon the growth arrest works is taken from the visits since.")
    return replace(basis, notes=tuple(notes))


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """The model of one child: what is given, known before, and seen, with a label for each value seen."""

    frame: Frame
    prior: Prior
    ways: Ways
    views: Mapping[Bone, BoneView]
    seen: Seen
    labels: tuple[str, ...]


def terms(basis: Basis) -> Terms:
    """Return the model of one child, ready to be conditioned (or sampled)."""
    frame = frame_of(basis)
    views = {bone: bone_view(frame, bone, [reading.age_years for reading in basis.found]) for bone in BONES}
    seen, labels = _seen(basis, views)
    return Terms(frame, _prior(basis, views), _special_ways(basis, frame), views, seen, tuple(labels))


def known(basis: Basis) -> tuple[Knowledge, tuple[str, ...]]:
    """Return what all visits say of the unknowns, and a sentence for each surprising value."""
    model = terms(basis)
    seen, labels = model.seen, model.labels
    knowledge = condition(model.frame, model.prior, model.ways, model.views, seen, _start(basis, model.frame))
    knowledge, departed = _surprised(basis, knowledge)
    most = NormalDist().inv_cdf((1 + basis.number["surprise_band"]) / 2)
    said = []
    for k, (label, mm) in enumerate(zip(labels, seen.mm, strict=True)):
        if abs(knowledge.unexpected[k]) > most:
            expected, half = mm - knowledge.unexpected[k] * knowledge.band_mm[k], most * knowledge.band_mm[k]
            said.append(
                f"{UNEXPECTED} {label}: {mm:.0f} mm, where earlier visits predicted "
                f"{expected - half:.0f} to {expected + half:.0f} mm."
            )
    return knowledge, (*departed, *said)


def _surprised(basis: Basis, knowledge: Knowledge) -> tuple[Knowledge, tuple[str, ...]]:
    """Return the knowledge, wider and with a sentence where the visits as a whole surprise more than chance would."""
    # The first lengths of four bones surprise nobody.
    free = len(knowledge.unexpected) - 2 * len(BONES)
    whole = float((knowledge.unexpected**2).sum())
    if free < 1 or whole <= chi_square(basis.number["surprise_band"], free):
        return knowledge, ()
    times = min((whole / free) ** 0.5, basis.number["surprise_most_widening"])
    note = (
        "The visits together lie further from the growth expected than chance explains: the band is drawn "
        f"{times:.1f} times as wide."
    )
    return knowledge.wider(times), (note,)


def frame_of(basis: Basis) -> Frame:
    """Return the given part of the model: curve, population, operations and the places of the unknowns."""
    last = basis.found[-1].age_years
    jumps = tuple(s for s in basis.steps if s.leg == "short" and (s.adds_mm or s.overgrows) and s.age_years < last)
    lean = leanings(basis.protocol, basis.curve.sex)
    arrests = tuple(step for step in basis.steps if step.stops)
    layout = Layout(basis.of.factors, jumps, len(lean.sd), arrests)
    shift = basis.skeletal.shift_years
    return Frame(basis.curve, lean, basis.of, shift, basis.steps, basis.plates, basis.starts, layout)


def _special_ways(basis: Basis, frame: Frame) -> Ways:
    """Return how each of the unknowns at `frame.layout.special` may turn out, in their order there."""
    unknowns: list[tuple[Way, ...]] = [basis.drift_ways(bone) for bone in BONES]
    for bone in BONES:
        loss = basis.loss_ways(bone)
        if bone not in basis.lengthened:
            # Nothing seen depends on it: its ways are drawn apart.
            one = ways_of([loss])
            loss = ((1.0, float(one.centre[0]), float(one.variance[0]) ** 0.5),)
        unknowns.append(loss)
    unknowns += [((1.0, 0.0, float(sd)),) for sd in frame.leanings.sd]
    delay = ((1.0, basis.number["arrest_delay_years"], basis.number["arrest_delay_sd_years"]),)
    for _ in frame.layout.arrests:
        unknowns += [arrest_ways(basis.protocol), delay]
    return ways_of(unknowns)


def _seen(basis: Basis, views: Mapping[Bone, BoneView]) -> tuple[Seen, list[str]]:
    rows: list[tuple[float, float, dict[tuple[Leg, Bone], float]]] = []
    labels, ages = [], []
    shared: dict[tuple[float, Bone], list[int]] = {}
    sides: tuple[tuple[Leg, str], ...] = (("long", "longer"), ("short", "shorter"))
    for reading in basis.found:
        for leg, word in sides:
            for bone in BONES:
                if (leg, bone) in reading.lengths:
                    shared.setdefault((reading.age_years, bone), []).append(len(rows))
                    rows.append((*reading.lengths[leg, bone], {(leg, bone): 1.0}))
                    labels.append(f"the {bone} of the {word} leg on {reading.date}")
                    ages.append(reading.age_years)
        if reading.discrepancy is not None and len(reading.lengths) < 4:
            whole = {(leg, bone): 1.0 if leg == "long" else -1.0 for leg, _ in sides for bone in BONES}
            rows.append((*reading.discrepancy, whole))
            labels.append(f"the difference on {reading.date}")
            ages.append(reading.age_years)
    weights: dict[tuple[Leg, Bone], Floats] = {}
    for bone, view in views.items():
        places = view.places(ages)
        for leg, _ in sides:
            matrix = np.zeros((len(rows), len(view.ages)))
            for k, (_, _, parts) in enumerate(rows):
                matrix[k, places[k]] = parts.get((leg, bone), 0.0)
            weights[leg, bone] = matrix
    mm, sd = (np.array([row[k] for row in rows], float) for k in (0, 1))
    long, short = ({bone: weights[leg, bone] for bone in BONES} for leg in ("long", "short"))
    noise = np.diag(np.maximum(sd, _LEAST_ERROR_MM) ** 2)
    # Both legs stray from their smooth course together, by what they are long.
    for together in shared.values():
        common = basis.number["bone_wander_sd"] * mm[together]
        noise[np.ix_(together, together)] += np.outer(common, common)
    return Seen(mm, noise, long, short), labels


def _prior(basis: Basis, views: Mapping[Bone, BoneView]) -> Prior:
    layout = views["femur"].frame.layout
    precision, information = np.zeros((layout.width, layout.width)), np.zeros(layout.width)
    between = np.array([[1.0, basis.correlation], [basis.correlation, 1.0]])
    q = layout.factors
    direction = explained(basis.skeletal, basis.curve, basis.of, basis.correlation)
    if direction is None:
        inverse = np.kron(np.linalg.inv(between), np.eye(q))
    else:
        both = np.concatenate((direction, direction))
        inverse = np.linalg.inv(np.kron(between, np.eye(q)) - np.outer(both, both))
    precision[2 : 2 + 2 * q, 2 : 2 + 2 * q] = inverse
    for bone in BONES:
        if bone not in basis.free:
            precision[layout.share(bone), layout.share(bone)] = information[layout.share(bone)] = _TIED_SD**-2
    for k, step in enumerate(layout.jumps):
        mean, sd = basis.jump(step)
        precision[layout.jump(k), layout.jump(k)], information[layout.jump(k)] = sd**-2, mean * sd**-2
    prior = Prior(precision, information)
    for row, value, sd in (*_stand_ins(basis, views), *_pull(basis, layout)):
        prior = prior.with_row(row, value, sd)
    return prior


def _stand_ins(basis: Basis, views: Mapping[Bone, BoneView]) -> list[tuple[Floats, float, float]]:
    """Return what is taken from other children where a bone of the long leg was never measured."""
    measured = {b: [r.age_years for r in basis.found if ("long", b) in r.lengths] for b in BONES}
    missing = [bone for bone in BONES if not measured[bone]]
    if not missing:
        return []
    known_bone = next((bone for bone in BONES if measured[bone]), None)
    age = measured[known_bone][-1] if known_bone else basis.found[-1].age_years
    mean, cv, row, base = {}, {}, {}, {}
    for bone, view in views.items():
        mean[bone], cv[bone] = mean_length(basis.protocol, basis.curve, bone, age)
        at = view.places([age])[0]
        row[bone], base[bone] = view.design[at], float(view.base[at])
    rest = np.sqrt(1 - basis.correlation**2)
    if known_bone:
        bone = missing[0]
        ratio = np.log(mean[bone] / mean[known_bone]) - base[bone] + base[known_bone]
        return [(row[bone] - row[known_bone], float(ratio), float(cv[bone] * rest))]
    off = {bone: float(np.log(mean[bone]) - base[bone]) for bone in BONES}
    slope = basis.correlation * cv["tibia"] / cv["femur"]
    return [
        (row["femur"], off["femur"], cv["femur"]),
        (row["tibia"] - slope * row["femur"], off["tibia"] - slope * off["femur"], float(cv["tibia"] * rest)),
    ]


def _pull(basis: Basis, layout: Layout) -> list[tuple[Floats, float, float]]:
    pull = basis.number["bone_pull_to_population"]
    if pull <= 0:
        return []
    rows: list[tuple[Floats, float, float]] = []
    like = basis.of.size_loadings / np.linalg.norm(basis.of.size_loadings)
    for bone in BONES:
        mean, cv = mean_length(basis.protocol, basis.curve, bone, basis.curve.mature_age_years + 1)
        row = np.zeros(layout.width)
        row[layout.size(bone)] = 1.0
        row[layout.departure(bone)] = -cv * like
        rows.append((row, float(np.log(mean)), cv * pull_sd(pull)))
    return rows


def _start(basis: Basis, frame: Frame) -> Floats:
    """Return values to begin with: each bone by its last measured length, the proportion by its first."""
    x = np.zeros(frame.layout.width)
    for bone in BONES:
        age, mm = basis.found[-1].age_years, 0.0
        for reading in basis.found:
            if ("long", bone) in reading.lengths:
                age, mm = reading.age_years, reading.lengths["long", bone][0]
        mm = mm or mean_length(basis.protocol, basis.curve, bone, age)[0]
        x[frame.layout.size(bone)] = np.log(mm / float(basis.curve.fraction(age + frame.shift_years)))
        x[frame.layout.share(bone)] = 1.0
        for reading in basis.found:
            if ("short", bone) in reading.lengths:
                part = float(basis.curve.fraction(reading.age_years + frame.shift_years))
                x[frame.layout.share(bone)] = reading.lengths["short", bone][0] / (
                    part * np.exp(x[frame.layout.size(bone)])
                )
                break
    return x
