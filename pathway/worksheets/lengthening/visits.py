"""Visits during a distraction: what was turned, what the film shows, the rate from then on. Text read; no judgement.

Written `DAY:TURNED:FILM:RATE`, several with commas between them. TURNED is what was turned since the visit before, in
mm or in turns (`28t`); FILM is the gap on the film in mm; RATE is what holds from then on: mm a day (`0.75`), with the
number of turns a day (`0.75x3`), `pause` (until the next visit) or `stop`. What is not known is left empty or `-`.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from pathway.problems import Problem, Refused
from pathway.protocol.model import Value
from pathway.worksheets.lengthening.distraction import exact
from pathway.worksheets.sheet import Kind

NAME = "visits"
NONE = "none"
SHAPE = (
    "DAY:TURNED:FILM:RATE, such as 2029-10-10:14:13.5:0.75 (mm or turns as 28t; mm; mm a day, pause or stop; - not "
    "known), commas between"
)
DECIMAL = re.compile(r"[0-9]{1,9}(\.[0-9]{1,9})?")
TURNS = re.compile(r"([0-9]{1,6})t")
RATE_AND_TURNS = re.compile(r"([0-9]{1,9}(?:\.[0-9]{1,9})?)(?:x([0-9]{1,3}))?")
DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
MOST = 1e6
"""Where a rule bounds nothing, mm."""
UNKNOWN = ("", "-")
Then = Literal["", "rate", "pause", "stop"]


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit as written: `turned_mm` or `turns` since the visit before, `film_mm` any number, and what follows.

    `then`: "" goes on as before, `rate` at `rate_mm_per_day` (in turns of `turn_mm`; None: of the size as before).
    """

    on: datetime.date
    turned_mm: Fraction | None = None
    turns: int | None = None
    film_mm: float | None = None
    then: Then = ""
    rate_mm_per_day: Fraction | None = None
    turn_mm: Fraction | None = None

    @property
    def counted(self) -> bool:
        """Return whether somebody counted what was turned."""
        return self.turned_mm is not None or self.turns is not None


class _Unreadable(ValueError):
    """What was found instead, and what was expected."""

    def __init__(self, found: str, expected: str) -> None:
        self.found, self.expected = found, expected
        super().__init__(found)


def read_visits(text: str, kind: Kind, rate: Value, turn: Value) -> tuple[Visit, ...]:
    """Return the visits of a text, in its order; `rate` and `turn` are the rules that bound what may be ordered.

    Films are read whatever they say: whether one can be is judged beside the turns. Raises Refused with every fault.
    """
    if text.strip().lower() == NONE:
        return ()
    found: list[Visit] = []
    faults: list[Problem] = []
    for entry in re.split(r"[,;\n]", text):
        try:
            found.append(_visit(entry.strip(), rate, turn))
        except _Unreadable as error:
            where = f"{error.found} in {entry.strip()!r}" if error.found != repr(entry.strip()) else error.found
            faults.append(Problem(f"worksheet {kind}", NAME, None, where, error.expected, "correct it"))
    if faults:
        raise Refused(*faults)
    return tuple(found)


def written(on: datetime.date, film_mm: float) -> str:
    """Return a visit of the record as it is written: its film alone."""
    return f"{on}:-:{film_mm:g}"


def _visit(text: str, rate: Value, turn: Value) -> Visit:
    parts = [part.strip() for part in text.split(":")]
    if not 2 <= len(parts) <= 4:
        raise _Unreadable(repr(text), SHAPE)
    day, turned, film, then = (*parts, "", "")[:4]
    visit = Visit(_day(day), **_turned(turned), film_mm=_film(film), **_then(then, rate, turn))  # type: ignore[arg-type]
    if not visit.counted and visit.film_mm is None and not visit.then:
        raise _Unreadable(repr(text), "what was turned, what the film shows or the rate from then on")
    return visit


def _day(text: str) -> datetime.date:
    try:
        if DAY.fullmatch(text) is None:
            raise ValueError(text)
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise _Unreadable(f"the day {text!r}", "a date (YYYY-MM-DD)") from None


def _turned(text: str) -> dict[str, Fraction | int]:
    if text in UNKNOWN:
        return {}
    if turns := TURNS.fullmatch(text):
        return {"turns": int(turns[1])}
    if DECIMAL.fullmatch(text) is None:
        raise _Unreadable(
            f"{text!r} turned", "mm turned since the visit before (14) or turns (56t), - where not counted"
        )
    return {"turned_mm": Fraction(text)}


def _film(text: str) -> float | None:
    if text in UNKNOWN:
        return None
    try:
        return float(text)
    except ValueError:
        raise _Unreadable(f"the film {text!r}", "mm of gap on the film (13.5), - where there is none") from None


def _then(text: str, rate: Value, turn: Value) -> dict[str, Then | Fraction]:
    if text in UNKNOWN:
        return {}
    if text in ("pause", "stop"):
        return {"then": text}  # type: ignore[dict-item]
    read = RATE_AND_TURNS.fullmatch(text)
    if read is None:
        raise _Unreadable(f"the rate {text!r}", "mm a day (0.75), with turns a day (0.75x3), pause or stop")
    chosen = Fraction(read[1])
    if not _within(chosen, rate):
        raise _Unreadable(f"the rate {text!r}", f"mm a day {_bounds(rate)}, pause or stop")
    found: dict[str, Then | Fraction] = {"then": "rate", "rate_mm_per_day": chosen}
    if read[2] is not None:
        a_day = int(read[2])
        if not a_day or not _within(chosen / a_day, turn):
            raise _Unreadable(f"{a_day} turns a day of {read[1]} mm", f"turns of {_bounds(turn)} mm each")
        found["turn_mm"] = chosen / a_day
    return found


def _within(number: Fraction, rule: Value) -> bool:
    low, high = rule.plausible or (0.0, MOST)
    return exact(low) <= number <= exact(high)


def _bounds(rule: Value) -> str:
    low, high = rule.plausible or (0.0, MOST)
    return f"from {low:g} to {high:g}"
