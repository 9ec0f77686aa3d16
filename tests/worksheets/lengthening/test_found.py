"""What was found at the last visit, and the order beside it: one rate, one day of device-off, and no contradiction."""

from __future__ import annotations

import datetime

import pytest

from pathway.worksheets.sheet import Sheet, Warning
from tests.worksheets.lengthening.sheets import day, hand, seen, turned, worked


def found(made: Sheet) -> Warning:
    """Return what the sheet says of the finding."""
    (warning,) = [item for item in made.warnings if item.text.startswith("Found on")]
    return warning


def then(made: Sheet) -> object:
    """Return what the row of the last visit says holds from then on."""
    return made.section("Visits so far").tables[0].rows[-1][6]


@pytest.mark.parametrize("what", ["slow_regenerate", "nerve_signs"])
def test_without_an_order_the_rate_goes_to_the_slower_one_of_the_rules(what: str) -> None:
    made = hand(seen("14:14:14"), on=day(14), at_visit=what)
    assert not found(made).stop
    assert "The calendar continues at 0.75 mm a day." in found(made).text
    assert then(made) == "0.75 mm a day"
    assert {row[3] for row in turned(made)[1:-1]} == {0.75}


@pytest.mark.parametrize("what", ["slow_regenerate", "nerve_signs"])
@pytest.mark.parametrize("visits", ["14:14:14:1", "14:14:14:0.8", "14:14:14:1.25"])
def test_an_order_that_is_no_slower_than_the_rule_is_outside_the_protocol(visits: str, what: str) -> None:
    made = hand(seen(visits), on=day(14), at_visit=what)
    assert found(made).stop
    assert "against the rule, which slows to 0.75 mm a day" in found(made).text
    assert "The calendar continues" not in found(made).text


def test_an_order_by_the_rule_is_followed() -> None:
    made = hand(seen("14:14:14:0.5"), on=day(14), at_visit="slow_regenerate")
    assert not found(made).stop
    assert "The calendar continues at 0.5 mm a day." in found(made).text


@pytest.mark.parametrize("settings", [{"rate_from_then_mm_per_day": "1"}, {}])
def test_a_rate_set_beside_the_visits_or_ahead_is_held_to_the_rule_too(settings: dict[str, str]) -> None:
    visits = seen("14:14:14") if settings else seen("14:14:14", "21:-:-:1")
    made = hand(visits, on=day(14), at_visit="slow_regenerate", **settings)
    assert found(made).stop
    assert "Ordered: 1 mm a day, against the rule" in found(made).text


def test_at_the_last_step_the_rule_stops_and_any_order_is_against_it() -> None:
    made = hand(seen("14:3.5:3.5:0.25"), on=day(14), rate_mm_per_day="0.25", at_visit="slow_regenerate")
    assert found(made).stop
    assert "against the rule, which stops" in found(made).text


def test_a_stiff_knee_with_an_order_is_not_told_to_rest() -> None:
    made = hand(seen("14:14:14:1"), on=day(14), at_visit="joint_contracture")
    assert found(made).stop
    assert "No turns until" not in found(made).text
    rested = hand(seen("14:14:14"), on=day(14), at_visit="joint_contracture")
    assert then(rested) == "pause"


def test_the_range_of_device_off_moves_with_its_middle() -> None:
    usual, slow = worked(seen("14:14:14")), worked(seen("14:14:14"), callus="lucent")
    for end in ("low", "mid", "high"):
        assert getattr(slow.course.removal, end) > getattr(usual.course.removal, end)
    index = usual.given.index
    assert slow.given.index.low / slow.given.index.mid == pytest.approx(index.low / index.mid)
    assert slow.given.index.high / slow.given.index.mid == pytest.approx(index.high / index.mid)


@pytest.mark.parametrize("visits", ["14:14:14", "14:14:14:1", "14:14:14:0.5"])
def test_a_joint_out_of_place_stops_whatever_is_ordered(visits: str) -> None:
    made = hand(seen(visits, "21:-:-:1"), on=day(14), at_visit="subluxation")
    assert found(made).stop
    assert made.section("Visits so far").tables[0].rows[0][6] == "stop"
    assert turned(made) == ()


def test_after_it_the_frame_protects_the_joint_and_the_surgeon_sets_the_day() -> None:
    made = hand(seen("14:14:14"), on=day(14), at_visit="subluxation")
    line = made.line("Device comes off")
    assert line.value == "the surgeon sets the day"
    assert "the frame protects the joint" in line.note
    table = made.section("Visits").tables[0]
    assert not any("device off" in str(row[-1]) for row in table.rows)
    assert "the surgeon sets the day" in table.note
    assert made.section("Time in the device").tables == ()
    told = {line.label for section in made.sections for line in section.lines}
    assert not told & {"Protected until", "Operation to free walking", "Days of consolidation"}


@pytest.mark.parametrize("amount", [str(mm) for mm in range(40, 50)])
def test_one_day_of_device_off_everywhere(amount: str) -> None:
    made = hand(amount_mm=amount)
    off = made.line("Device comes off").value
    (visit,) = [row[1] for row in made.section("Visits").tables[0].rows if "device off" in str(row[-1])]
    assert isinstance(off, datetime.date)
    assert off == visit
    assert made.line("Protected until").value == off + datetime.timedelta(days=42)


def test_beyond_the_amount_nothing_is_turned_and_all_is_planned_from_the_film() -> None:
    made = hand(seen("70:68:60"), on=day(70))
    stops = [item.text for item in made.warnings if item.stop and item.text.startswith("Asked back")]
    assert any("turn no further" in text and "68 mm turned in all" in text for text in stops)
    assert then(made) == "stop"
    assert turned(made) == ()
    assert made.line("Reached").value == 60.0
    assert "68 mm by the turns" in made.line("Reached").note
    assert made.line("Length kept, for planning").spread == (45.0, 60.0)
    assert not any(
        "goes by the turns" in item.text for item in made.warnings if "70" not in item.text and "60 mm" in item.text
    )
    planned = hand(amount_mm="60").line("Days of consolidation").value
    assert made.line("Days of consolidation").value == planned


def test_beyond_the_amount_without_a_film_the_turns_are_all_there_is() -> None:
    made = hand(seen("70:68:-"), on=day(70))
    assert made.line("Reached").value == 68.0
    assert then(made) == "stop"
