"""How high a lift is for a difference, and what carries it. Shared by the worksheets on lifts and lengthening."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pathway.protocol.model import Protocol


@dataclass(frozen=True, slots=True)
class Lift:
    """What a difference of the legs (mm) asks for: height in mm, and what is left uncorrected on purpose.

    `carrier`: `none`, `shoe`, `orthosis` or `prosthesis`. Where nothing is worn all of it is left.
    """

    height_mm: float
    left_mm: float
    carrier: str


SHORT_WORDS = {"none": "nothing", "shoe": "shoe", "orthosis": "orthosis", "prosthesis": "prosthesis"}
CARRIER_KEY = "Worn as: a lift on the shoe, an orthosis with a built-up foot, or an extension prosthesis."
CARRIER_WORDS = {
    "none": "no lift",
    "shoe": "lift on the shoe",
    "orthosis": "orthosis with a built-up foot",
    "prosthesis": "extension prosthesis",
}


@dataclass(frozen=True, slots=True)
class LiftLimits:
    """Where lifts begin and what carries them: differences of the legs, and steps, in mm."""

    from_mm: float
    less_mm: float
    step_mm: float
    shoe_most_mm: float
    prosthesis_from_mm: float


def lift_limits(protocol: Protocol) -> LiftLimits:
    """Return the protocol's limits."""
    return LiftLimits(
        from_mm=protocol.number("lift_from_mm"),
        less_mm=protocol.number("lift_less_than_difference_mm"),
        step_mm=protocol.number("lift_step_mm"),
        shoe_most_mm=protocol.number("lift_shoe_most_mm"),
        prosthesis_from_mm=protocol.number("lift_extension_prosthesis_from_mm"),
    )


def lift_for(difference_mm: float, limits: LiftLimits) -> Lift:
    """Return the lift for a difference without its sign: in whole steps, rounded down."""
    size = abs(difference_mm)
    if size < limits.from_mm:
        return Lift(0.0, size, "none")
    height = max(math.floor((size - limits.less_mm) / limits.step_mm + 1e-9) * limits.step_mm, 0.0)
    if size >= limits.prosthesis_from_mm:
        carrier = "prosthesis"
    else:
        carrier = "orthosis" if size >= limits.shoe_most_mm else "shoe"
    return Lift(height, size - height, carrier)
