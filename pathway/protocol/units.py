"""The units of findings, values and tables, once: how each is asked for, shown and exchanged. To add one, add a row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

FindingUnit = Literal["mm", "deg", "years", "percent", "ratio", "count", ""]


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
    "ratio": Unit("", "", "1"),
    "count": Unit("", "", "1"),
    "": Unit("", "", "1"),
}

WITHOUT_UNIT = tuple(name for name, unit in UNITS.items() if name and not unit.shown)
"""Units that are not said after a number."""
