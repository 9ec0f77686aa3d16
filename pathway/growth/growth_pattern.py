"""Whether the visits depart from the growth expected of the child's pattern, and what their course looks like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist

import numpy as np

from pathway.growth.bones.measured import Reading
from pathway.growth.reference_curves import Floats
from pathway.growth.surgery import BONES, Step
from pathway.protocol.model import Bone, Protocol

_LEAST_VISITS = 3
_SURE = 1.645


@dataclass(frozen=True, slots=True)
class Departure:
    """The bones whose visits depart from what was expected, and sentences about it."""

    bones: frozenset[Bone]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Course:
    ages: Floats
    long: Floats
    short: Floats
    long_sd: Floats
    short_sd: Floats


def departure(found: Sequence[Reading], steps: Sequence[Step], protocol: Protocol) -> Departure:
    """Return what visits before any operation on a bone say against a steady share of growth.

    That is a straight line of the short on the long bone (Moseley 1977); a share of growth that is not the share of
    length is no departure but learned. Tested at the band of the rules (`surprise_band`), with three visits or more.
    """
    band = protocol.number("surprise_band")
    departed = []
    for bone in BONES:
        course = _course(found, steps, bone)
        if course is not None and _misfit(course) > chi_square(band, len(course.ages) - 2):
            departed.append(bone)
    if not departed:
        return Departure(frozenset(), ())
    bones = " and ".join(departed)
    notes = [f"The {bones} departed from a steady share of growth by more than the measurement error: wider band."]
    shape = _shape(found, steps)
    if shape is not None:
        table = protocol.table("discrepancy_patterns")
        words = next(str(row[table.columns.index("shape")]) for row in table.rows if row[0] == shape)
        notes.append(f"So far the difference {words} (pattern {shape} of the five published).")
    return Departure(frozenset(departed), tuple(notes))


def _course(found: Sequence[Reading], steps: Sequence[Step], bone: Bone) -> _Course | None:
    first = min((s.age_years for s in steps if s.bone == bone), default=np.inf)
    rows = [
        (r.age_years, *r.lengths["long", bone], *r.lengths["short", bone])
        for r in found
        if r.age_years <= first and ("long", bone) in r.lengths and ("short", bone) in r.lengths
    ]
    if len(rows) < _LEAST_VISITS:
        return None
    ages, long, long_sd, short, short_sd = np.array(rows).T
    return _Course(ages, long, short, long_sd, short_sd)


def _misfit(course: _Course) -> float:
    """Return the sum of squared standardised distances from the best straight line."""
    slope, _ = np.polyfit(course.long, course.short, 1)
    weight = 1 / np.hypot(course.short_sd, slope * course.long_sd)
    line = np.polyfit(course.long, course.short, 1, w=weight)
    return float((((course.short - np.polyval(line, course.long)) * weight) ** 2).sum())


def chi_square(q: float, freedom: int) -> float:
    """Return the value below which a chi-square with so many degrees of freedom lies with chance `q`."""
    # Wilson and Hilferty, Proc Natl Acad Sci USA 1931;17:684-688.
    part = 2 / (9 * freedom)
    return float(freedom * (1 - part + NormalDist().inv_cdf(q) * part**0.5) ** 3)


def _shape(found: Sequence[Reading], steps: Sequence[Step]) -> str | None:
    """Return the type whose course the difference of the whole legs has had so far, or None when unclear."""
    first = min((s.age_years for s in steps), default=np.inf)
    rows = []
    for reading in found:
        legs = reading.whole_legs_mm
        if legs is not None and reading.age_years <= first:
            variance = sum(sd**2 for _, sd in reading.lengths.values())
            rows.append((legs[0], legs[0] - legs[1], variance**0.5))
    if len(rows) < _LEAST_VISITS:
        return None
    long, difference, sd = np.array(rows).T
    parts = 3 if len(rows) >= 2 * _LEAST_VISITS else 2
    cuts = np.linspace(0, len(rows) - 1, parts + 1).round().astype(int)
    slopes = []
    for start, end in pairwise(cuts):
        rise, grown = difference[end] - difference[start], long[end] - long[start]
        error = float(np.hypot(sd[start], sd[end]))
        slopes.append((rise / max(grown, 1.0), error / max(grown, 1.0)))
    signs = [0 if abs(slope) < _SURE * error else (1 if slope > 0 else -1) for slope, error in slopes]
    if parts == 3 and signs == [1, 0, 1] and _steeper(slopes[2], slopes[1]):
        return "IV"
    if signs[0] == 1 and signs[-1] == 1:
        return "II" if _steeper(slopes[0], slopes[-1]) else "I"
    named = {(1, -1): "V", (1, 0): "III", (-1, 0): "IIIA"}
    if all(sign == 0 for sign in signs):
        return "IIIB"
    return named.get((signs[0], signs[-1]))


def _steeper(one: tuple[float, float], other: tuple[float, float]) -> bool:
    """Return whether a slope (with its error) is surely above another."""
    return one[0] - other[0] > _SURE * float(np.hypot(one[1], other[1]))
