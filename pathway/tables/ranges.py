"""A number held to what its finding can be, said in the unit of its column and with the decimal sign of its cell."""

from __future__ import annotations

from decimal import Decimal

from pathway.protocol.model import FindingRule
from pathway.protocol.units import UNITS, factor_of
from pathway.tables.grid import Cell, text_of
from pathway.tables.values import CellFault, DecimalSign, Quantity

_LENGTHS = ("mm", "cm", "m")


def out_of_range(
    cell: Cell, quantity: Quantity, rule: FindingRule, column: str | None, decimal: DecimalSign | None
) -> CellFault | None:
    """Return why a number cannot be a value of a finding, None where it can.

    `column` is the unit of its column. The likely slip is named as it would stand in the cell.
    """
    if rule.plausible is None:
        return None
    written = quantity.unit or column or rule.unit
    factor = factor_of(rule.unit, written) or Decimal(1)
    value = quantity.number * factor
    low, high = (Decimal(str(one)) for one in rule.plausible)
    if low <= value <= high:
        return None
    asked, text = UNITS[rule.unit].asked, text_of(cell)
    sign = "," if decimal == "," or (decimal is None and "," in text and "." not in text) else "."
    found = f'"{text}"' if factor == 1 else f'"{text}", which is {_plain(value, sign)} {asked}'
    do = "check the measurement"
    if meant := _meant(quantity.number, factor, (low, high), rule.unit, written):
        number, why = meant
        do = f"did you mean {_plain(number, sign)}{why}"
    return CellFault(f"{_plain(low, sign)} to {_plain(high, sign)} {asked}".rstrip(), do, found)


def _meant(
    number: Decimal, factor: Decimal, between: tuple[Decimal, Decimal], unit: str, written: str
) -> tuple[Decimal, str] | None:
    """Return the number that was probably meant, in the unit in which it is written, and what the slip was."""

    def fits(meant: Decimal) -> bool:
        return number > 0 and between[0] <= meant * factor <= between[1]

    if unit == "mm":
        name = written.strip().lower()
        for other in _LENGTHS:
            meant = number * (factor_of(unit, other) or 1) / factor
            if name in _LENGTHS and other != name and fits(meant):
                return meant, f": {name}, not {other}"
        if fits(number * 10):
            return number * 10, f" {name}, ten times as much"
        if fits(number / 10):
            return number / 10, ", a tenth of it" if factor == 1 else f" {name}, a tenth of it"
    if unit == "years" and number == int(number) and fits(number / 12):
        return (number / 12).quantize(Decimal("0.01")), ": years, not months"
    return None


def _plain(number: Decimal, sign: str) -> str:
    return f"{float(number):.10g}".replace(".", sign)
