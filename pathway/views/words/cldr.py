"""How a language writes numbers, days and lists, and in which direction: the data of CLDR, read by Babel.

Imported only when a text is made, as loading the data takes a tenth of a second.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from functools import cache
from typing import Literal

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton
from babel.lists import format_list
from babel.numbers import format_decimal
from babel.units import format_unit

Direction = Literal["ltr", "rtl"]
Joint = Literal["standard", "or"]
ZEROS = {"arab": 0x660, "arabext": 0x6F0, "beng": 0x9E6, "deva": 0x966, "mymr": 0x1040}
"""The zero of a numbering system of CLDR, in Unicode; its other digits follow it."""


def is_known(locale: str) -> bool:
    """Return whether CLDR has data for a locale."""
    try:
        _locale(locale)
    except (UnknownLocaleError, ValueError):
        return False
    return True


def direction(locale: str) -> Direction:
    """Return the direction in which a language is written."""
    return "rtl" if _locale(locale).text_direction == "rtl" else "ltr"


@cache
def plurals(locale: str) -> frozenset[str]:
    """Return the plural categories of a language, `other` among them."""
    return frozenset((*_locale(locale).plural_form.tags, "other"))


def plural(count: int, locale: str) -> str:
    """Return the plural category of a count."""
    return _locale(locale).plural_form(count)


def number(value: float, places: int, locale: str) -> str:
    """Return a number with so many decimals."""
    known, form, system = _locale(locale), _form(places), _system(locale)
    told = format_decimal(_rounded(value, places), format=form, locale=known, numbering_system=system)
    return _in_digits(told, locale)


def centimetres(value: float, places: int, locale: str) -> str:
    """Return a length in cm with its unit."""
    known, form, system = _locale(locale), _form(places), _system(locale)
    unit, length = "length-centimeter", _rounded(value, places)
    told = format_unit(length, unit, "short", format=form, locale=known, numbering_system=system)
    return _in_digits(told, locale).replace("\u00a0", " ")


def span(count: int, unit: Literal["year", "month"], locale: str) -> str:
    """Return so many years or months in words: `3 months`."""
    system = _system(locale)
    told = format_unit(count, f"duration-{unit}", "long", locale=_locale(locale), numbering_system=system)
    return _in_digits(told, locale)


def month(day: datetime.date, locale: str) -> str:
    """Return month and year: `March 2030`."""
    return _in_digits(format_skeleton("yMMMM", _plain(day), locale=_locale(locale)), locale)


def day(day: datetime.date, locale: str) -> str:
    """Return a day: `25 November 2026`."""
    return _in_digits(format_date(_plain(day), "long", locale=_locale(locale)), locale)


def clock(time: datetime.time, locale: str) -> str:
    """Return an hour of the day: `08:00`."""
    moment = datetime.datetime.combine(datetime.date(2000, 1, 1), time)
    return _in_digits(format_skeleton("Hm", moment, locale=_locale(locale)), locale)


def listed(parts: Sequence[str], joint: Joint, locale: str) -> str:
    """Return parts as a list: `a, b and c`."""
    return format_list(parts, style=joint, locale=_locale(locale))


def _plain(day: datetime.date) -> datetime.date:
    return datetime.date(day.year, day.month, day.day)


@cache
def _locale(name: str) -> Locale:
    return Locale.parse(name.replace("-", "_"))


def _rounded(value: float, places: int) -> float:
    """Return a number rounded, never a negative nothing."""
    return round(value, places) + 0.0


def _form(places: int) -> str:
    return "#,##0." + "0" * places if places else "#,##0"


def _system(locale: str) -> str:
    """Return the numbering system of a language, Latin where its digits are not known here."""
    system = _locale(locale).default_numbering_system
    return system if system in ZEROS else "latn"


@cache
def _digits(locale: str) -> dict[int, int]:
    zero = ZEROS.get(_system(locale), ord("0"))
    return {ord("0") + digit: zero + digit for digit in range(10)}


def _in_digits(text: str, locale: str) -> str:
    """Return what Babel wrote in the digits of the language: its numbers and dates have Latin ones."""
    return text.translate(_digits(locale))
