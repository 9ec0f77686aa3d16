"""The classical methods of prediction and of timing a growth arrest, each as published.

Plain functions of numbers: lengths in mm, ages in decimal years. `multiplier` is mature over present length.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pathway.growth.reference_curves import GrowthCurve


def congenital_by_multiplier(discrepancy_mm: float, multiplier: float) -> float:
    """Return the discrepancy at maturity in mm when the short bone keeps its proportion: D x M.

    Paley et al., J Bone Joint Surg Am 2000;82-A:1432-1446.
    """
    return discrepancy_mm * multiplier


def inhibition(short_before: float, short_now: float, long_before: float, long_now: float) -> float:
    """Return I = 1 - (S - S')/(L - L') from two visits, lengths in mm; negative where the short leg gains.

    Raises ValueError when the long leg did not grow between the visits. Paley et al. 2000.
    """
    if long_now <= long_before:
        raise ValueError("the long leg must have grown between the two visits")
    return 1 - (short_now - short_before) / (long_now - long_before)


def developmental_by_multiplier(
    discrepancy_mm: float, inhibited: float, long_now_mm: float, multiplier: float
) -> float:
    """Return the discrepancy at maturity in mm: D + I x L x (M - 1). Paley et al. 2000."""
    return discrepancy_mm + inhibited * long_now_mm * (multiplier - 1)


def short_leg_by_straight_line(long_mm: Sequence[float], short_mm: Sequence[float], mature_long_mm: float) -> float:
    """Return the short leg at maturity in mm on the least-squares line of short against long leg.

    Raises ValueError for fewer than two visits or a long leg that never changed. Moseley, J Bone Joint Surg
    Am 1977;59-A:174-179; with two visits the same as the multiplier method (Abdi 2023).
    """
    x, y = np.asarray(long_mm, float), np.asarray(short_mm, float)
    if len(x) < 2 or np.ptp(x) == 0:
        raise ValueError("a straight line needs two visits with different lengths of the long leg")
    slope = ((x - x.mean()) * (y - y.mean())).sum() / ((x - x.mean()) ** 2).sum()
    return float(y.mean() + slope * (mature_long_mm - x.mean()))


def long_leg_after_arrest_by_straight_line(at_arrest_mm: float, mature_long_mm: float, slope: float) -> float:
    """Return the long leg at maturity in mm after closing growth plates; `slope` 1 would be untouched growth.

    Moseley 1977.
    """
    return at_arrest_mm + slope * (mature_long_mm - at_arrest_mm)


def by_growth_remaining(discrepancy_mm: float, inhibited: float, remaining_mm: float) -> float:
    """Return the discrepancy at maturity in mm: D + I x growth remaining in the long leg.

    After Anderson, Green, Messner, J Bone Joint Surg Am 1963;45-A:1-14.
    """
    return discrepancy_mm + inhibited * remaining_mm


def by_annual_rule(discrepancy_mm: float, yearly_mm: float, age_years: float, end_age_years: float) -> float:
    """Return the discrepancy in mm at the end of growth when it changes by `yearly_mm` a year.

    After a growth arrest `yearly_mm` is the rule's yearly increase less the yearly growth of the closed
    plates. White and Stubbins 1944; Menelaus 1966; Westh and Menelaus 1981.
    """
    return discrepancy_mm + yearly_mm * max(end_age_years - age_years, 0.0)


@dataclass(frozen=True, slots=True)
class ArrestTiming:
    """When to close growth plates for a wanted correction.

    `age_years` None: growth never had so much left. `growth_mm` is the growth the bone must still have ahead,
    `multiplier` the multiplier at the operation; None where the method has none.
    """

    age_years: float | None
    growth_mm: float | None = None
    multiplier: float | None = None


def arrest_by_multiplier(correction_mm: float, mature_mm: float, share: float, curve: GrowthCurve) -> ArrestTiming:
    """Return the timing for one growth plate: G = e/share, M = Lm/(Lm - G), age from the table backwards.

    Paley et al. 2000.
    """
    growth = correction_mm / share
    return _timing(1 - growth / mature_mm, growth, curve)


def arrest_both_by_multiplier(
    correction_mm: float,
    mature_femur_mm: float,
    mature_tibia_mm: float,
    shares: tuple[float, float],
    curve: GrowthCurve,
) -> ArrestTiming:
    """Return the timing for distal femur and proximal tibia on one day: 1/M = 1 - e/(sF x Fm + sT x Tm).

    `shares` are those of the distal femur and the proximal tibia. Paley et al. 2000.
    """
    left = correction_mm / (shares[0] * mature_femur_mm + shares[1] * mature_tibia_mm)
    return _timing(1 - left, left * (mature_femur_mm + mature_tibia_mm), curve)


def _timing(fraction: float, growth_mm: float, curve: GrowthCurve) -> ArrestTiming:
    if fraction <= 0:
        return ArrestTiming(None, growth_mm)
    possible = fraction >= float(curve.fraction(0.0))
    age = float(curve.age_at_fraction(fraction)) if possible else None
    return ArrestTiming(age, growth_mm, 1 / fraction)


def arrest_by_growth_remaining(
    correction_mm: float, ages_years: Sequence[float], remaining_mm: Sequence[float]
) -> ArrestTiming:
    """Return the timing from a table of growth remaining in the closed plates (falling with age), mean child.

    After Anderson, Green, Messner 1963, with the growth derived from the 1964 lengths.
    """
    if correction_mm > remaining_mm[0]:
        return ArrestTiming(None, correction_mm)
    age = float(np.interp(-correction_mm, [-mm for mm in remaining_mm], ages_years))
    return ArrestTiming(age, correction_mm)


def arrest_by_annual_rule(correction_mm: float, yearly_mm: float, end_age_years: float) -> ArrestTiming:
    """Return the timing when the closed plates would have grown `yearly_mm` a year until `end_age_years`.

    White and Stubbins 1944; Menelaus 1966.
    """
    age = end_age_years - correction_mm / yearly_mm
    return ArrestTiming(age if age >= 0 else None, correction_mm)


def taken_by_multiplier(age_years: float, mature_mm: float, share: float, curve: GrowthCurve) -> float:
    """Return what closing one growth plate at an age takes, mm: share x (Lm - Lm/M). Paley et al. 2000."""
    return share * mature_mm * (1 - float(curve.fraction(age_years)))


def taken_by_straight_line(age_years: float, mature_mm: float, slope: float, curve: GrowthCurve) -> float:
    """Return what closing growth plates takes of the whole leg, mm: (1 - slope) x growth left. Moseley 1977."""
    now_mm = mature_mm * float(curve.fraction(age_years))
    return mature_mm - long_leg_after_arrest_by_straight_line(now_mm, mature_mm, slope)


def taken_by_growth_remaining(
    age_years: float, ages_years: Sequence[float], remaining_mm: Sequence[float]
) -> float | None:
    """Return the growth remaining in the closed plates at an age, mm; None before the first age of the table.

    After Anderson, Green, Messner 1963, with the growth derived from the 1964 lengths.
    """
    return None if age_years < ages_years[0] else float(np.interp(age_years, ages_years, remaining_mm))


def taken_by_annual_rule(age_years: float, yearly_mm: float, end_age_years: float) -> float:
    """Return what the closed plates would have grown from an age to the end of growth, mm.

    White and Stubbins 1944; Menelaus 1966.
    """
    return yearly_mm * max(end_age_years - age_years, 0.0)
