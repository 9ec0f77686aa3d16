"""Lengthenings on one invented child, operated on 2030-01-07: first turn on 2030-01-15, 50 mm at 1 mm a day."""

from __future__ import annotations

import datetime

from pathway.worksheets.lengthening import worksheet as lengthening
from pathway.worksheets.lengthening.worked import Made
from pathway.worksheets.sheet import Sheet
from tests.worksheets.cases import by_hand

OPERATION = datetime.date(2030, 1, 7)
FIRST = datetime.date(2030, 1, 15)
TODAY = datetime.date(2030, 4, 30)
BASE = {"amount_mm": "50", "operation_on": str(OPERATION)}


def day(number: int) -> datetime.date:
    """Return a day by its number of turning: the first is 1."""
    return FIRST + datetime.timedelta(days=number - 1)


def seen(*visits: str) -> str:
    """Return visits whose day is written as its number of turning (`14:14:13.5`)."""
    return ",".join(f"{day(int(number))}:{rest}" for number, _, rest in (visit.partition(":") for visit in visits))


def worked(visits: str = "", on: datetime.date = TODAY, **settings: str) -> Made:
    chosen = {**BASE, **settings, **({"visits": visits} if visits else {})}
    return lengthening.worked(by_hand(on=on), chosen)


def hand(visits: str = "", on: datetime.date = TODAY, **settings: str) -> Sheet:
    chosen = {**BASE, **settings, **({"visits": visits} if visits else {})}
    return lengthening.worksheet(by_hand(on=on), chosen)


def asked(made: Sheet) -> list[str]:
    """Return what a sheet asks back."""
    return [item.text for item in made.warnings if item.text.startswith("Asked back")]


def turned(made: Sheet) -> tuple[tuple[object, ...], ...]:
    tables = made.section("Calendar of turns").tables
    return tables[0].rows if tables else ()
