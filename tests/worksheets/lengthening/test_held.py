"""A film after which nothing is turned: no gap, a falling one, fewer than half of the turns. Until one fits again."""

from __future__ import annotations

import pytest

from pathway.worksheets.lengthening.calendar import ONLY_IF
from tests.worksheets.lengthening.sheets import day, hand, seen, turned, worked
from tests.worksheets.lengthening.test_films import HALTING, IMPOSSIBLE


@pytest.mark.parametrize("name", HALTING)
def test_it_is_outside_the_protocol_names_both_causes_and_what_to_do(name: str) -> None:
    (warning,) = [item for item in hand(IMPOSSIBLE[name][0]).warnings if item.text.startswith("Asked back")]
    assert warning.stop
    assert "no further turns" in warning.text
    assert "grown together too early (premature consolidation)" in warning.text
    assert "the device does not turn or does not hold" in warning.text
    assert "repeat the film and examine the child and the device before another turn" in warning.text


@pytest.mark.parametrize("name", HALTING)
def test_no_turn_and_no_later_day_is_told_after_it(name: str) -> None:
    made = hand(IMPOSSIBLE[name][0], at_visit="slow_regenerate")
    assert turned(made) == ()
    assert ONLY_IF in made.section("Calendar of turns").words[0]
    assert made.section("Visits").tables == ()
    for label in ("End of distraction", "Device comes off"):
        assert made.line(label).value == "not told"
        assert made.line(label).note.startswith("only if the film repeated shows")
    told = {line.label for section in made.sections for line in section.lines}
    assert not told & {"Days of consolidation", "Operation to free walking", "Protected until"}
    assert made.section("Visits so far").tables[0].rows[-1][6] == "no turns"


@pytest.mark.parametrize("name", [name for name in IMPOSSIBLE if name not in HALTING])
def test_other_films_forbid_no_turn(name: str) -> None:
    made = worked(IMPOSSIBLE[name][0])
    assert made.so_far.held is None


@pytest.mark.parametrize("then", ["", ":1", ":0.25", ":pause"])
def test_no_order_by_hand_turns_on_after_it(then: str) -> None:
    assert turned(hand(seen(f"14:14:6{then}"), on=day(14))) == ()
    assert turned(hand(seen(f"14:14:6{then}", "21:0:-:1"), on=day(21))) == ()
    assert turned(hand(seen(f"14:14:6{then}", "21:-:-:1"), on=day(14))) == ()


def test_a_later_film_that_fits_what_was_turned_lifts_it() -> None:
    made = hand(seen("14:14:6", "16:0:14:0.75"), on=day(16))
    rows = turned(made)
    assert rows[0][1] == day(17)
    assert rows[-1][4] == 50.0
    assert made.line("End of distraction").value == rows[-1][1]


def test_a_later_film_that_is_asked_back_too_lifts_nothing() -> None:
    assert worked(seen("14:14:6", "28:14:20")).so_far.held is not None


def test_correcting_what_was_turned_lifts_it() -> None:
    assert turned(hand(seen("14:6:6:1"), on=day(14)))
