"""What the screens are told of where they run: the clock, and whether a browser shows them. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathway.children.left_behind import LeftBehind
    from pathway.children.storage import Storage


@dataclass(frozen=True, slots=True)
class Surroundings:
    """The clock of what is written (UTC), and whether papers are handed to a browser in place of a folder.

    `left` is where a session in a browser keeps what is not saved; None where nobody takes it up again. `begin` makes a
    place for a new child where none is open; None where the screens are not to make one.
    """

    now: Callable[[], datetime.datetime]
    in_browser: bool = False
    left: LeftBehind | None = None
    begin: Callable[[], Storage] | None = None


def still(on: datetime.date) -> Surroundings:
    """Return the surroundings of a terminal whose clock stands at the first moment of a day."""
    return Surroundings(lambda: datetime.datetime.combine(on, datetime.time(), datetime.UTC))
