"""What the screens are told of where they run: the clock, and whether a browser shows them. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Surroundings:
    """The clock of what is written (UTC), and whether papers are handed to a browser in place of a folder."""

    now: Callable[[], datetime.datetime]
    in_browser: bool = False


def still(on: datetime.date) -> Surroundings:
    """Return the surroundings of a terminal whose clock stands at the first moment of a day."""
    return Surroundings(lambda: datetime.datetime.combine(on, datetime.time(), datetime.UTC))
