"""The units of findings, values and tables, once: how each is asked for, shown and exchanged. To add one, add a row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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
