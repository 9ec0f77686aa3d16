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


CARRIER_WORDS = {
    "none": "no lift",
    "shoe": "lift on the shoe",
    "orthosis": "orthosis with a built-up foot",
    "prosthesis": "extension prosthesis",
}


def lift_for(difference_mm: float, protocol: Protocol) -> Lift:
    """Return the lift for a difference without its sign: in steps of the protocol, rounded down."""
    size = abs(difference_mm)
    if size < protocol.number("lift_from_mm"):
        return Lift(0.0, size, "none")
    step = protocol.number("lift_step_mm")
    wanted = size - protocol.number("lift_less_than_difference_mm")
    height = max(math.floor(wanted / step + 1e-9) * step, 0.0)
    if size >= protocol.number("lift_extension_prosthesis_from_mm"):
        carrier = "prosthesis"
    else:
        carrier = "orthosis" if size >= protocol.number("lift_shoe_most_mm") else "shoe"
    return Lift(height, size - height, carrier)
