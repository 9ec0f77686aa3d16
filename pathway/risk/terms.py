"""What the pooled table distinguishes: its coefficients, and what a lengthening or a series has of each.

For outcome k of one lengthening, log m = rate_k + slope (P - centre) / unit + terms + spread of the series, where m
are the expected events, P the percent of the bone and centre and unit are values of the rules.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pathway.protocol.harm import OUTCOMES, Harm
from pathway.protocol.model import Protocol

Floats = NDArray[np.float64]

SLOPE = "slope"
EVERYWHERE = ("congenital", "nail", "fast_distraction", "tibia")
"""Terms that change all outcomes alike."""
SINGLE = (
    ("fracture", "rod"),
    ("fracture", "tibia"),
    ("deep_infection", "fast_distraction"),
    ("deep_infection", "frame_over_nail"),
    ("deep_infection", "nail"),
    ("hip", "poor_cover"),
)
"""Terms that change one outcome, beyond those that change all."""
COEFFICIENTS = (
    *(f"rate:{name}" for name in OUTCOMES),
    SLOPE,
    *EVERYWHERE,
    *(f"{outcome}:{term}" for outcome, term in SINGLE),
)
SPREADS = ("log_spread_series", "log_spread_outcome")
"""Logarithms of the SD between series: in all outcomes alike, and in each by itself."""
FRAMES = ("ring", "monolateral", "frame")
INSIDE = ("nail", "frame_over_nail")
"""Devices with a nail inside the bone."""


@dataclass(frozen=True, slots=True)
class Mix:
    """How much of a lengthening, or of a series, is of each kind: parts of 1."""

    congenital: float = 0.0
    tibia: float = 0.0
    nail: float = 0.0
    frame_over_nail: float = 0.0
    fast_distraction: float = 0.0
    rod: float = 0.0
    poor_cover: float = 0.0


def mix_of(item: Harm, protocol: Protocol) -> Mix:
    """Return what the series of a published count consists of; what it does not print counts as half."""
    half = protocol.number("risk_share_when_mixed")
    bones = {"femur": 0.0, "tibia": 1.0}
    tibia = item.tibia_share if item.tibia_share is not None else bones.get(item.bone, half)
    rod = item.rod_share if item.rod_share is not None else float(item.device in INSIDE)
    return Mix(
        congenital=half if item.congenital_share is None else item.congenital_share,
        tibia=tibia,
        nail=float(item.device == "nail"),
        frame_over_nail=float(item.device == "frame_over_nail"),
        fast_distraction=float(item.device == "fast_distraction"),
        rod=rod,
        poor_cover=float(item.hip_cover == "poor"),
    )


def covariates(outcome: str, mix: Mix, protocol: Protocol) -> Floats:
    """Return the row of one outcome over COEFFICIENTS, the slope left at 0 (its factor depends on the percent).

    The congenital part is counted from the middle between none and all.
    """
    row = np.zeros(len(COEFFICIENTS))
    row[COEFFICIENTS.index(f"rate:{outcome}")] = 1.0
    for term in EVERYWHERE:
        value: float = getattr(mix, term)
        middle = protocol.number("risk_share_when_mixed") if term == "congenital" else 0.0
        row[COEFFICIENTS.index(term)] = value - middle
    for of, term in SINGLE:
        if of == outcome:
            row[COEFFICIENTS.index(f"{of}:{term}")] = getattr(mix, term)
    return row


def slope_factor(percent: Floats | float, protocol: Protocol) -> Floats:
    """Return by what the slope is multiplied at a percent of the bone."""
    centre, unit = protocol.number("risk_percent_centre"), protocol.number("risk_percent_unit")
    return (np.asarray(percent, dtype=float) - centre) / unit


def behind(protocol: Protocol, outcome: str | None = None) -> tuple[Harm, ...]:
    """Return the counts behind the pooled table, or those that speak of one outcome alone."""
    found = (item for item in protocol.harms if item.fit)
    return tuple(item for item in found if outcome is None or item.outcomes == (outcome,))
