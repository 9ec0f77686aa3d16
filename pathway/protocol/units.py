"""The units of findings, values and tables, once: how each is asked for, shown and exchanged. To add one, add a row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

FindingUnit = Literal["mm", "deg", "years", "percent", "ratio", "count", "kg", ""]


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: `asked` where a value is refused, `shown` in exchanged records, `code` by UCUM."""

    asked: str
    shown: str
    code: str


UNITS: Mapping[str, Unit] = {
    "mm": Unit("mm", "mm", "mm"),
    "deg": Unit("degrees", "deg", "deg"),
    "years": Unit("years", "years", "a"),
    "months": Unit("months", "months", "mo"),
    "percent": Unit("percent", "%", "%"),
    "kg": Unit("kg", "kg", "kg"),
    "ratio": Unit("", "", "1"),
    "count": Unit("", "", "1"),
    "": Unit("", "", "1"),
}

STEPS: Mapping[str, float] = {
    "mm": 1.0, "deg": 1.0, "years": 0.1, "percent": 1.0, "ratio": 0.01, "count": 1.0, "": 1.0,
}  # fmt: skip
"""The last digit to which a finding of each unit is written."""

WITHOUT_UNIT = tuple(name for name, unit in UNITS.items() if name and not unit.shown)
"""Units that are not said after a number."""

WRITTEN: Mapping[str, Mapping[str, str]] = {
    "mm": {"mm": "1", "millimeter": "1", "millimetre": "1", "cm": "10", "centimeter": "10", "centimetre": "10",
           "zentimeter": "10", "m": "1000"},
    "deg": {"deg": "1", "°": "1", "degree": "1", "degrees": "1", "grad": "1"},
    "years": {"years": "1", "year": "1", "yrs": "1", "yr": "1", "y": "1", "a": "1", "jahre": "1", "jahr": "1"},
    "percent": {"percent": "1", "%": "1", "prozent": "1"},
    "kg": {"kg": "1", "g": "0.001"},
    "ratio": {"ratio": "1"},
    "count": {"count": "1"},
    "": {},
}  # fmt: skip
"""How people write the units of findings in their tables, and by how much each is more than ours."""
NEEDS_UNIT = ("mm",)
"""Units that a table has to name: as cm and as mm a length is often plausible."""


def factor_of(unit: str, written: str) -> Decimal | None:
    """Return how many of a unit are one of the written unit, None where that measures something else."""
    if written == unit:
        return Decimal(1)
    factor = WRITTEN.get(unit, {}).get(written.strip().strip(".").lower())
    return None if factor is None else Decimal(factor)
