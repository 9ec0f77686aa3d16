"""The gap over the days: as first planned, as turned and ordered, with the films. Heights are mm of gap, to scale."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

from pathway.worksheets.lengthening.distraction import Order, ordered
from pathway.worksheets.lengthening.films import Row
from pathway.worksheets.lengthening.worked import WEEK, Made
from pathway.worksheets.sheet import Drawing, Mark, Shape

WIDE = 1.8
"""Width of the field to its height: every day is as wide as the next."""
CROSS = 0.02
Point = tuple[float, float]


def drawings(of: Made) -> tuple[Drawing, ...]:
    """Return the drawing of the gap over the days after the operation."""
    field = _Field(of)
    shapes = (*field.grid(), *field.lines(), *field.films())
    marks = (*field.scale_marks(), *field.line_marks(), *field.film_marks())
    return (Drawing(title="Gap over the days", shapes=shapes, marks=marks, alternative=_words(of, field)),)


class _Field:
    """Days and mm put on one field; a film outside it stands at its edge."""

    def __init__(self, of: Made) -> None:
        given, course = of.given, of.course
        self.of = of
        first = Order(course.first_turn, given.rate_mm_per_day, given.turn_mm)
        self.planned = tuple(ordered((first,), given.amount_mm))
        ends = [course.end, *(day.date for day in self.planned[-1:]), *([given.seen.on] if given.seen else [])]
        self.days = max((day - given.operation).days for day in ends)
        self.top = max(float(given.amount_mm), float(course.gain_mm))
        self.per_day = WIDE * self.top / self.days

    def at(self, day: datetime.date, mm: float) -> Point:
        return round((day - self.of.given.operation).days * self.per_day, 3), round(mm, 3)

    def shape(self, role: str, points: list[Point], dashed: bool = False) -> Iterator[Shape]:
        if len(points) > 1:
            yield Shape(role=role, points=tuple(points), dashed=dashed)

    def grid(self) -> Iterator[Shape]:
        right, tick = self.days * self.per_day, CROSS * self.top
        yield Shape(role="axis", points=((0.0, self.top), (0.0, 0.0), (right, 0.0)))
        for mm in self.heights():
            yield Shape(role="axis", points=((-tick, mm), (0.0, mm)))
        for week in range(1, self.days // WEEK + 1):
            x = round(week * WEEK * self.per_day, 3)
            yield Shape(role="axis", points=((x, 0.0), (x, -tick)))
        goal = float(self.of.given.amount_mm)
        yield Shape(role="goal", points=((0.0, goal), (right, goal)), dashed=True)

    def heights(self) -> tuple[float, ...]:
        """Return where the scale of mm is marked: about five steps of 1, 2, 5, 10, 20 or 50 mm."""
        step = next((step for step in (1.0, 2.0, 5.0, 10.0, 20.0) if self.top / step <= 6), 50.0)
        return tuple(step * k for k in range(1, math.floor(self.top / step) + 1))

    def lines(self) -> Iterator[Shape]:
        of = self.of
        start = self.at(of.course.first_turn - datetime.timedelta(days=1), 0.0)
        first = [start, *(self.at(day.date, float(day.reached_mm)) for day in self.planned)]
        if of.given.seen is None and not of.so_far.rows:
            yield from self.shape("turned", [self.at(of.given.operation, 0.0), *first])
            return
        yield from self.shape("planned", first, dashed=True)
        taken = [row for row in of.so_far.rows if row.after is not None and not row.planned]
        turned = [self.at(row.visit.on, float(row.reached_mm or 0)) for row in taken]
        if of.given.seen is not None and (not taken or taken[-1].visit.on != of.given.seen.on):
            turned.append(self.at(of.given.seen.on, float(of.given.seen.reached_mm)))
        yield from self.shape("turned", [self.at(of.given.operation, 0.0), start, *turned])
        to_come = [self.at(day.date, float(day.reached_mm)) for day in of.course.days]
        yield from self.shape("to come", [turned[-1] if turned else start, *to_come])

    def shown(self) -> Iterator[tuple[Row, float, Point]]:
        """Yield each film with its place, held inside the field."""
        for row in self.of.so_far.rows:
            film, day = row.visit.film_mm, (row.visit.on - self.of.given.operation).days
            if film is not None and math.isfinite(film) and 0 <= day <= self.days:
                yield row, film, self.at(row.visit.on, min(max(film, 0.0), self.top))

    def films(self) -> Iterator[Shape]:
        arm = CROSS * self.top
        for row, _, (x, y) in self.shown():
            role = "film" if row.used_mm is not None else "film asked back"
            yield Shape(role=role, points=((x - arm, y - arm), (x + arm, y + arm)))
            yield Shape(role=role, points=((x - arm, y + arm), (x + arm, y - arm)))

    def scale_marks(self) -> Iterator[Mark]:
        low = -3.5 * CROSS * self.top
        for mm in self.heights():
            yield Mark(text=f"{mm:g} mm", at=(-1.5 * CROSS * self.top, mm), anchor="end")
        every = WEEK * max(1, math.ceil(self.days / WEEK / 6))
        for day in range(0, self.days + 1, every):
            text = f"day {day}" if day else "operation"
            yield Mark(text=text, at=(round(day * self.per_day, 3), low), anchor="middle")

    def line_marks(self) -> Iterator[Mark]:
        of = self.of
        if of.course.days:
            x, y = self.at(of.course.end, float(of.course.gain_mm))
            text = f"{of.course.end}: {float(of.course.gain_mm):g} mm"
            yield Mark(text=text, at=(x, y + 2.5 * CROSS * self.top), anchor="end")

    def film_marks(self) -> Iterator[Mark]:
        for row, film, (x, y) in self.shown():
            asked = "" if row.used_mm is not None else "?"
            yield Mark(text=f"{film:g}{asked}", at=(x + 2 * CROSS * self.top, y - 2 * CROSS * self.top))


def _words(of: Made, field: _Field) -> str:
    def number(day: datetime.date) -> int:
        return (day - of.given.operation).days

    rate, amount = float(of.given.rate_mm_per_day), float(of.given.amount_mm)
    said = [
        f"Days after the operation to the right, mm of gap upwards. Planned: {rate:g} mm a day from day "
        f"{number(of.course.first_turn)} on, {amount:g} mm on day {number(field.planned[-1].date)}."
    ]
    if of.given.seen is not None:
        said.append(f"Turned: {float(of.given.seen.reached_mm):g} mm by day {number(of.given.seen.on)}.")
    if of.course.days and (of.given.seen is not None or of.so_far.rows):
        said.append(f"To come: {float(of.course.gain_mm):g} mm on day {number(of.course.end)}.")
    films = [
        f"{film:g} mm on day {number(row.visit.on)}{'' if row.used_mm is not None else ' (asked back)'}"
        for row, film, _ in field.shown()
    ]
    said += [f"Films: {', '.join(films)}."] if films else []
    return " ".join(said)
