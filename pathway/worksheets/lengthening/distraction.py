"""Drawing a bone apart day by day in whole turns: exact to the last one. Fractions, no floating point."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

SATURDAY = 5


@dataclass(frozen=True, slots=True)
class Turning:
    """One day of turning: how many turns, how far they draw the bone apart, and the gain reached by the evening."""

    date: datetime.date
    turns: int
    mm: Fraction
    reached_mm: Fraction


@dataclass(frozen=True, slots=True)
class Order:
    """What is turned from a day on: mm a day in whole turns of `turn_mm`; no rate: nothing is turned."""

    first: datetime.date
    rate_mm_per_day: Fraction | None
    turn_mm: Fraction


def weekday(day: datetime.date) -> datetime.date:
    """Return the day, or the Monday after it where it falls on a weekend."""
    return day + datetime.timedelta(days=(7 - day.weekday()) if day.weekday() >= SATURDAY else 0)


def exact(number: float) -> Fraction:
    """Return a number as it is written in decimals: 0.1 is one tenth."""
    return Fraction(repr(number))


def _days(rest: Fraction, rate: Fraction, turn: Fraction, first: datetime.date, already: Fraction) -> Iterator[Turning]:
    all_turns = math.ceil(rest / turn)
    done, day = 0, 0
    while done < all_turns:
        day += 1
        until = min(math.floor(day * rate / turn), all_turns)
        before, after = min(done * turn, rest), min(until * turn, rest)
        date = first + datetime.timedelta(days=day - 1)
        yield Turning(date, until - done, after - before, already + after)
        done = until


def ordered(
    orders: Sequence[Order], amount_mm: Fraction, already_mm: Fraction = Fraction(0), until: datetime.date | None = None
) -> Iterator[Turning]:
    """Yield the days of orders that follow each other, until the amount is reached or the day `until` is over.

    Each order begins with a whole turn of its own: the sum stays exact whatever rates and turns follow each other.
    A day's turns are whole: a rate that is no multiple of the turn is met on the average, never run ahead of. The last
    turn is shorter where the amount asks for it.
    """
    reached = already_mm
    for order, following in zip(orders, (*orders[1:], None), strict=False):
        if order.rate_mm_per_day is None:
            continue
        rest = amount_mm - reached
        for day in _days(rest, order.rate_mm_per_day, order.turn_mm, order.first, reached):
            if (following is not None and day.date >= following.first) or (until is not None and day.date > until):
                break
            yield day
            reached = day.reached_mm


def ordered_by(orders: Sequence[Order], amount_mm: Fraction, already_mm: Fraction, until: datetime.date) -> Fraction:
    """Return the gain reached by the evening of a day, as the days of `ordered` add up to it."""
    reached = already_mm
    for order, following in zip(orders, (*orders[1:], None), strict=False):
        last = until if following is None else min(until, following.first - datetime.timedelta(days=1))
        days = (last - order.first).days + 1
        if order.rate_mm_per_day is not None and days > 0 and reached < amount_mm:
            turns = math.floor(days * order.rate_mm_per_day / order.turn_mm)
            reached += min(turns * order.turn_mm, amount_mm - reached)
    return reached


def rate_below(rate: Fraction, steps: tuple[Fraction, ...]) -> Fraction | None:
    """Return the next slower of the protocol's steps; None where the rate is at the last one: then stop."""
    return max((step for step in steps if step < rate), default=None)
