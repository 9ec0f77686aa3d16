"""What was turned from visit to visit, and what is ordered from then on: exact sums over any visits and rates."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from fractions import Fraction

from pathway.worksheets.lengthening.distraction import Order, Turning, ordered, ordered_by, weekday
from pathway.worksheets.lengthening.visits import Then, Visit

ONE_DAY = datetime.timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Ledger:
    """The distraction as known at its last visit `on` (None: none yet): `reached_mm` turned in all by its evening.

    `rate_mm_per_day` and `turn_mm` are in force, also while a pause rests them; no rate: stopped. `orders` run on from
    `base_mm`, a sum at an earlier visit, and `last_counted` is the day at latest on which that was reached.
    """

    amount_mm: Fraction
    first: datetime.date
    rate_mm_per_day: Fraction | None
    turn_mm: Fraction
    orders: tuple[Order, ...]
    base_mm: Fraction = Fraction(0)
    on: datetime.date | None = None
    reached_mm: Fraction = Fraction(0)
    resting: bool = False
    last_counted: datetime.date | None = None

    def days(self, until: datetime.date | None = None) -> tuple[Turning, ...]:
        """Return the days of turning from `base_mm` on, to the amount or to the evening of a day."""
        return tuple(ordered(self.orders, self.amount_mm, self.base_mm, until))

    def days_to(self, on: datetime.date) -> int:
        """Return the days on which could be turned since the last visit, or since the first turn, to the evening."""
        since = self.first - ONE_DAY if self.on is None else self.on
        return (on - since).days

    def ordered_to(self, on: datetime.date) -> Fraction:
        """Return what was ordered since the last visit to the evening of a day, mm."""
        return ordered_by(self.orders, self.amount_mm, self.base_mm, on) - self.reached_mm

    def over_before(self, on: datetime.date) -> bool:
        """Return whether by the orders turning had ended before a day, the visit at its end not counted."""
        if self.rate_mm_per_day is None:
            return True
        if self.reached_mm + self.ordered_to(on) < self.amount_mm:
            return False
        days = self.days()
        last = days[-1].date if days else self.ended
        return last is not None and on > weekday(last)

    def counted(self, visit: Visit) -> Fraction | None:
        """Return the mm that a visit counted, its turns at the size in force; None where nobody counted."""
        return visit.turned_mm if visit.turns is None else visit.turns * self.turn_mm

    def visited(self, visit: Visit, turned_mm: Fraction | None, *, planned: bool = False) -> Ledger:
        """Return the ledger after a visit: with what was counted, else as ordered, and with what holds from then on.

        An order that goes on unchanged and uncounted keeps its own sum, so that a film alone shifts no turn. Of a visit
        that is only `planned` the days before it are still to come.
        """
        if turned_mm is None:
            reached = self.reached_mm + self.ordered_to(visit.on)
            after = replace(self, on=visit.on, reached_mm=reached)
        else:
            reached = self.reached_mm + turned_mm
            last = visit.on if turned_mm else self.ended
            after = replace(self, on=visit.on, reached_mm=reached, base_mm=reached, orders=(), last_counted=last)
        if turned_mm is None and not visit.then and not self.resting:
            return after
        return after.ordering(visit.then, visit.rate_mm_per_day, visit.turn_mm, planned=planned)

    def ordering(
        self,
        then: Then,
        rate_mm_per_day: Fraction | None = None,
        turn_mm: Fraction | None = None,
        *,
        planned: bool = False,
    ) -> Ledger:
        """Return the ledger with what holds from the day after the last visit on; "" takes up what was in force."""
        start = self.first if self.on is None else self.on + ONE_DAY
        rate, turn = self.rate_mm_per_day, self.turn_mm
        if then == "rate":
            rate, turn = rate_mm_per_day, turn_mm or turn
        elif then == "stop":
            rate = None
        order = Order(start, None if then == "pause" else rate, turn)
        after = replace(self, rate_mm_per_day=rate, turn_mm=turn, resting=then == "pause")
        if planned:
            return replace(after, orders=(*self.orders, order))
        # An order begins with a whole turn of its own: what was turned before it is a sum from here on.
        return replace(after, orders=(order,), base_mm=self.reached_mm, last_counted=self.ended)

    @property
    def ended(self) -> datetime.date | None:
        """Return the last day up to the last visit on which something was turned, at latest; None for none."""
        if self.on is None:
            return None
        turned = [day.date for day in self.days(self.on) if day.turns]
        return turned[-1] if turned else self.last_counted

    def held(self) -> Ledger:
        """Return the ledger with nothing to be turned from the day after the last visit on, whatever was ordered."""
        after = self.ordering("stop")
        return replace(after, orders=(after.orders[-1],))

    def resumed(self, pause_days: int) -> Ledger:
        """Return the ledger with a pause that no later visit ended over after so many days."""
        if not self.resting:
            return self
        again = Order(self.orders[-1].first + datetime.timedelta(days=pause_days), self.rate_mm_per_day, self.turn_mm)
        return replace(self, orders=(*self.orders, again), resting=False)


def begun(amount_mm: Fraction, first: datetime.date, rate_mm_per_day: Fraction, turn_mm: Fraction) -> Ledger:
    """Return the ledger before any visit: so many mm a day from the first day of turning on."""
    order = Order(first, rate_mm_per_day, turn_mm)
    return Ledger(amount_mm, first, rate_mm_per_day, turn_mm, (order,))
