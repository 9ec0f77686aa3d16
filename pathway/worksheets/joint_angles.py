"""What is normal for an angle of the knee at an age, and how exactly it is read: for every sheet that judges one.

`norm_for` returns an `AngleNorm` (degrees: the normal angle, the band from low to high, where each comes from, the
sources), or None below `known_from_years`; `norms_ahead` returns those that the child grows into too. `reading_error`
returns the `[[value]]` with the 95 % error of one reading (deg, or mm for the mechanical axis deviation). `place` says
where a measured angle lies: inside the band, outside by less than the reading error, or outside. Angles go by the ids
of their findings; the mechanical tibiofemoral angle is `tibiofemoral_valgus_deg`, valgus positive. All numbers are
those of `rules/worksheets/joint_angles_by_age.toml` and `worksheets_angles.toml`.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from pathway.days import age_words
from pathway.protocol.model import Protocol, Value
from pathway.record import Sex

Angle = Literal["lateral_distal_femoral_angle_deg", "medial_proximal_tibial_angle_deg", "tibiofemoral_valgus_deg"]
Read = Literal[
    "lateral_distal_femoral_angle_deg",
    "medial_proximal_tibial_angle_deg",
    "tibiofemoral_valgus_deg",
    "mechanical_axis_deviation_mm",
]
Basis = Literal["printed", "memory", "judgement"]
Place = Literal["inside", "within_error", "outside"]
TABLE = "joint_angles_by_age"
_EXACT = 1e-9
_SURENESS: tuple[Basis, ...] = ("printed", "memory", "judgement")


@dataclass(frozen=True, slots=True)
class AngleNorm:
    """The normal angle (deg) at an age and the band about it.

    `normal_from` and `band_from` say where each comes from: `printed` in a publication, recalled from `memory`, or our
    own `judgement`; between two printed ages the straight line is judgement. `sources` are those of the rows used.
    """

    angle: Angle
    age_years: float
    normal_deg: float
    low_deg: float
    high_deg: float
    normal_from: Basis
    band_from: Basis
    sources: tuple[str, ...]

    @property
    def words(self) -> str:
        """Return the norm in words: `normal 87.5 deg at 6.0 years, band 84.0 to 91.0 deg`."""
        band = f"band {self.low_deg:.1f} to {self.high_deg:.1f} deg"
        return f"normal {self.normal_deg:.1f} deg at {age_words(self.age_years)}, {band}"

    @property
    def basis_words(self) -> str:
        """Return where the norm comes from, in a sentence."""
        said = {"printed": "as printed", "memory": "from memory", "judgement": "own judgement"}
        return f"Normal angle {said[self.normal_from]}, band {said[self.band_from]}."

    def off_deg(self, measured_deg: float) -> float:
        """Return by how much an angle lies outside the band (deg): positive above, negative below, 0 inside."""
        return max(measured_deg - self.high_deg, 0.0) + min(measured_deg - self.low_deg, 0.0)


@dataclass(frozen=True, slots=True)
class _Row:
    age: float
    normal: float
    low: float
    high: float
    normal_from: Basis
    band_from: Basis
    source: str


def _rows(protocol: Protocol, angle: Angle, sex: Sex) -> tuple[_Row, ...]:
    rows = (row for row in protocol.table(TABLE).rows if row[0] == angle and row[1] in ("both", sex))
    return tuple(
        _Row(float(age), float(normal), float(low), float(high), normal_from, band_from, str(source))  # type: ignore[arg-type]
        for _, _, age, normal, low, high, normal_from, band_from, source in rows
    )


def known_from_years(protocol: Protocol, angle: Angle, sex: Sex) -> float:
    """Return the age (years) from which a normal angle is known; below it `norm_for` returns None."""
    return _rows(protocol, angle, sex)[0].age


def norm_for(protocol: Protocol, angle: Angle, age_years: float, sex: Sex) -> AngleNorm | None:
    """Return the normal angle and band at an age (years), None below the first age of the table.

    A straight line between the ages of the table; after its last age that of the last.
    """
    rows = _rows(protocol, angle, sex)
    if age_years < rows[0].age:
        return None
    if age_years >= rows[-1].age:
        return _norm(angle, age_years, rows[-1], rows[-1])
    before, after = next((a, b) for a, b in pairwise(rows) if a.age <= age_years < b.age)
    return _norm(angle, age_years, before, after)


def norms_ahead(protocol: Protocol, angle: Angle, age_years: float, sex: Sex) -> tuple[AngleNorm, ...]:
    """Return the norm of an age (years) and those of the later ages of the table; empty below its first age.

    What is normal falls in the first years, so that an angle may be outside the band of today and inside the one that
    the child grows into.
    """
    later = (row.age for row in _rows(protocol, angle, sex) if row.age > age_years)
    first = norm_for(protocol, angle, age_years, sex)
    if first is None:
        return ()
    following = (norm_for(protocol, angle, age, sex) for age in later)
    return (first, *(norm for norm in following if norm is not None))


def _norm(angle: Angle, age: float, before: _Row, after: _Row) -> AngleNorm:
    part = (age - before.age) / (after.age - before.age) if after.age > before.age else 0.0

    def between(low: float, high: float) -> float:
        return low + part * (high - low)

    if part == 0:
        after = before
    # A line that is not level between its two ages is ours, whatever its ends are.
    normal_level = before.normal == after.normal
    band_level = (before.low, before.high) == (after.low, after.high)
    return AngleNorm(
        angle,
        age,
        between(before.normal, after.normal),
        between(before.low, after.low),
        between(before.high, after.high),
        _least_sure(before.normal_from, after.normal_from) if normal_level else "judgement",
        _least_sure(before.band_from, after.band_from) if band_level else "judgement",
        tuple(dict.fromkeys((before.source, after.source))),
    )


def _least_sure(*of: Basis) -> Basis:
    return max(of, key=_SURENESS.index)


def reading_error(protocol: Protocol, what: Read) -> Value:
    """Return the 95 % error of one reading on a full-length standing film: ± its value, in its unit (deg or mm)."""
    return protocol.value(f"reading_error_{what}")


def place(protocol: Protocol, norm: AngleNorm, measured_deg: float) -> Place:
    """Return where a measured angle lies: `inside` the band, outside by no more than its reading error, `outside`."""
    off = abs(norm.off_deg(measured_deg))
    if off == 0:
        return "inside"
    return "within_error" if off <= reading_error(protocol, norm.angle).value + _EXACT else "outside"
