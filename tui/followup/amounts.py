"""Lengths and ages as people type them: with their unit or without, in years and months. No screen in here."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tui.followup.options import Unclear

PLACES = 2
"""Decimals of a year that are kept: a hundredth is less than four days."""
_NUMBER = r"\d+(?:\.\d+)?"
_LENGTH = re.compile(rf"([+-]?{_NUMBER})\s*(mm|cm)?", re.IGNORECASE)
_YEAR, _MONTH = r"(?:years?|yrs?|y)", r"(?:months?|mo|m)"
_AGES = tuple(
    re.compile(pattern, re.IGNORECASE)
    for pattern in (
        rf"(?P<years>{_NUMBER})\s*{_YEAR}?",
        rf"(?P<years>\d+)\s*{_YEAR}\s*(?P<months>\d+)\s*{_MONTH}?",
        rf"(?P<years>\d+)\s+(?P<months>\d+)\s*{_MONTH}",
        r"(?P<years>\d+)\s+(?P<months>\d+)\s*/\s*12",
        rf"(?P<only>\d+)\s*{_MONTH}",
    )
)
AGE_WANTED = "years and months such as 9y6m, or years such as 9.5"


class AskedBack(Unclear):
    """A number that was probably meant in another unit; `offered` are the ways to write it that settle the question."""

    def __init__(self, sentence: str, offered: tuple[str, ...]) -> None:
        super().__init__(sentence)
        self.offered = offered


@dataclass(frozen=True, slots=True)
class Amount:
    """A number in the unit of its field; `means` is what was understood, "" where it is what was typed."""

    value: float
    means: str = ""


@dataclass(frozen=True, slots=True)
class Expected:
    """What is known of a length before it is typed: what can be at all, and what it was last time or is planned as."""

    plausible: tuple[float, float] | None = None
    about_mm: float | None = None
    least_mm: float | None = None

    def __contains__(self, value: float) -> bool:
        """Return whether a length can be."""
        low, high = self.plausible or (0.0, float("inf"))
        return low <= value <= high


def length_mm(text: str, expected: Expected) -> Amount | None:
    """Return a length in mm, None for a text that is no length; a bare number is mm.

    Raises AskedBack for a bare number that cannot be mm, or lies further from what is expected than as cm.
    """
    found = _LENGTH.fullmatch(text.strip())
    if found is None:
        return None
    number, unit = float(found[1]), (found[2] or "").lower()
    as_cm = round(10 * number, 6)
    if unit == "cm":
        return Amount(as_cm, f"{as_cm:g}")
    if unit or as_cm not in expected or number <= 0:
        return Amount(number, f"{number:g}" if unit else "")
    if number in expected and not _rather_cm(number, expected):
        return Amount(number)
    offered = (f"{number:g} cm", *((f"{number:g} mm",) if number in expected else ()))
    raise AskedBack(f"found {number:g}, expected {_wanted(expected)}; did you mean {_offer(number, offered)}", offered)


def _rather_cm(number: float, expected: Expected) -> bool:
    """Return whether a number lies nearer to what is expected when it is read as cm, by their ratio."""
    if expected.about_mm:
        return number * number * 10 < expected.about_mm**2
    return expected.least_mm is not None and number < expected.least_mm <= 10 * number


def _wanted(expected: Expected) -> str:
    if expected.about_mm:
        return f"about {expected.about_mm:g} mm"
    if expected.plausible:
        return "{:g} to {:g} mm".format(*expected.plausible)
    return f"{expected.least_mm:g} mm or more"


def _offer(number: float, offered: tuple[str, ...]) -> str:
    also = f"; for {offered[1]} type the unit" if len(offered) > 1 else ""
    return f"{offered[0]} ({10 * number:g} mm)? Choose it below{also}"


def years(text: str) -> Amount:
    """Return an age in years from years and months, or from years with decimals; says what was understood.

    Raises Unclear with what was found and what was expected.
    """
    found = next((match for pattern in _AGES if (match := pattern.fullmatch(text.strip()))), None)
    if found is None:
        do = "write the decimal point as a point" if "," in text else "type it like that"
        raise Unclear(f'found "{text}", expected {AGE_WANTED}; {do}')
    parts = found.groupdict()
    if parts.get("months") and int(parts["months"]) > 11:
        raise Unclear(f'found "{text}", expected 0 to 11 months after the years; carry twelve months over to the years')
    months = int(parts.get("months") or parts.get("only") or 0)
    value = round(float(parts.get("years") or 0) + months / 12, PLACES)
    return Amount(value, f"{_in_months(value)} = {value:g}")


def _in_months(value: float) -> str:
    whole, months = divmod(round(12 * value), 12)
    return f"{whole} y {months} m"
