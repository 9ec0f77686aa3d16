"""The drawing of a lengthening: gap over days to scale, as planned, as turned, with the films."""

from __future__ import annotations

import datetime

import pytest

from pathway.views.drawings.schematic import characters, svg
from pathway.worksheets.sheet import Drawing, Shape, Sheet
from tests.worksheets.lengthening.sheets import FIRST, OPERATION, day, hand, seen


def drawn(made: Sheet) -> Drawing:
    (one,) = made.drawings
    return one


def lines(of: Drawing, role: str) -> list[Shape]:
    return [shape for shape in of.shapes if shape.role == role]


def number(date: datetime.date) -> int:
    return (date - OPERATION).days


def per_day(of: Drawing) -> float:
    """Return how wide a day is: the axis ends at the last day shown."""
    return lines(of, "turned")[0].points[1][0] / number(FIRST - datetime.timedelta(days=1))


def test_without_visits_the_turns_are_drawn_as_planned() -> None:
    of = drawn(hand())
    (turned,) = lines(of, "turned")
    wide = per_day(of)
    assert [mm for _, mm in turned.points[1:]] == [float(mm) for mm in range(51)]
    for (x, _), date in zip(turned.points[2:], (day(n) for n in range(1, 51)), strict=True):
        assert x == pytest.approx(number(date) * wide, abs=0.01)
    assert not lines(of, "planned")
    assert "Planned: 1 mm a day from day 8 on, 50 mm on day 57." in of.alternative


def test_planned_turned_and_to_come_are_three_lines_that_meet() -> None:
    of = drawn(hand(seen("14:14:13.5", "28:10:24:0.5"), on=day(28)))
    (planned,), (turned,), (to_come,) = (lines(of, role) for role in ("planned", "turned", "to come"))
    assert planned.dashed
    assert turned.points[-1] == to_come.points[0]
    assert [mm for _, mm in turned.points] == [0.0, 0.0, 14.0, 24.0]
    assert to_come.points[-1][1] == planned.points[-1][1] == 50.0
    assert to_come.points[-1][0] > planned.points[-1][0]
    assert "Turned: 24 mm by day 35. To come: 50 mm on day 87." in of.alternative


def test_films_stand_at_their_day_and_height() -> None:
    of = drawn(hand(seen("14:14:13.5"), on=day(14)))
    wide = per_day(of)
    first, second = lines(of, "film")
    middle = [(a + b) / 2 for a, b in zip(*first.points, strict=True)]
    assert middle == pytest.approx([number(day(14)) * wide, 13.5], abs=0.01)
    assert len(second.points) == 2
    assert "13.5" in {mark.text for mark in of.marks}


def test_a_film_that_is_asked_back_is_drawn_so() -> None:
    of = drawn(hand(seen("4:4:45"), on=day(4)))
    assert len(lines(of, "film asked back")) == 2
    assert not lines(of, "film")
    assert "45?" in {mark.text for mark in of.marks}
    assert "45 mm on day 11 (asked back)" in of.alternative


@pytest.mark.parametrize("film", ["nan", "inf", "-900", "1e300"])
def test_a_film_beyond_the_field_does_not_stretch_it(film: str) -> None:
    of, same = drawn(hand(seen(f"14:14:{film}"), on=day(14))), drawn(hand(seen("14:14:14"), on=day(14)))
    heights = [[y for shape in one.shapes for _, y in shape.points] for one in (of, same)]
    assert max(heights[0]) <= max(heights[1]) * 1.05
    assert min(heights[0]) >= min(heights[1]) - 0.05 * max(heights[1])


@pytest.mark.parametrize("amount", ["1", "7.5", "40", "150"])
@pytest.mark.parametrize("visits", ["", seen("1:1:1"), seen("1:0:0:stop"), "2030-01-09:-:0"])
def test_any_sheet_can_be_drawn(amount: str, visits: str) -> None:
    of = drawn(hand(visits, amount_mm=amount))
    assert characters(of, 80).strip()
    assert svg(of, "A caution.").startswith("<svg")
