"""Inputs that cannot be read or do not fit: each is refused with a sentence that names the field and what to do."""

from __future__ import annotations

import datetime

import pytest

from pathway.problems import Refused
from tests.worksheets.lengthening.sheets import OPERATION, TODAY, hand, seen

VISITS = {
    "no parts": "2030-01-28",
    "empty": "",
    "blank": "   ",
    "one comma": ",",
    "an empty visit between": f"{seen('14:14:14')},,{seen('28:14:28')}",
    "a comma at the end": f"{seen('14:14:14')},",
    "too many parts": "2030-01-28:14:14:0.75:1",
    "nothing told": "2030-01-28:-:-",
    "nothing told at all": "2030-01-28::",
    "no day": ":14:14",
    "a day of another order": "28.01.2030:14:14",
    "an american day": "01/28/2030:14:14",
    "a day without dashes": "20300128:14:14",
    "a week": "2030-W05-1:14:14",
    "a day that is none": "2030-02-30:14:14",
    "a short year": "30-01-28:14:14",
    "a year of five digits": "12030-01-28:14:14",
    "a number of a day": "14:14:14",
    "with a time": "2030-01-28T08:00:14:14",
    "arabic digits": "٢٠٣٠-٠١-٢٨:14:14",
    "turned in words": "2030-01-28:two weeks:14",
    "turned negative": "2030-01-28:-14:14",
    "turned not a number": "2030-01-28:nan:14",
    "turned infinite": "2030-01-28:inf:14",
    "turned with a unit": "2030-01-28:14mm:14",
    "turned with a comma": "2030-01-28:14,5:14",
    "turned by powers": "2030-01-28:1e3:14",
    "half a turn": "2030-01-28:14.5t:14",
    "turns in capitals": "2030-01-28:14T:14",
    "turned by hundreds of digits": f"2030-01-28:{'9' * 400}:14",
    "film in words": "2030-01-28:14:wide",
    "film with a unit": "2030-01-28:14:14mm",
    "film as a share": "2030-01-28:14:50%",
    "rate in words": "2030-01-28:14:14:slower",
    "rate nothing": "2030-01-28:14:14:0",
    "rate negative": "2030-01-28:14:14:-1",
    "rate too fast": "2030-01-28:14:14:2.5",
    "rate too slow": "2030-01-28:14:14:0.05",
    "rate not a number": "2030-01-28:14:14:nan",
    "no turns a day": "2030-01-28:14:14:1x0",
    "too many turns a day": "2030-01-28:14:14:1x999",
    "too large turns": "2030-01-28:14:14:2x1",
    "turns that are not whole": "2030-01-28:14:14:1x2.5",
    "stop in capitals": "2030-01-28:14:14:STOP",
}

OTHERS: dict[str, tuple[dict[str, str], str, str]] = {
    "born later": ({"operation_on": "2020-01-01"}, "operation_on", "before the child was born"),
    "on the day of birth": ({"operation_on": "2024-03-14"}, "operation_on", "before the child was born"),
    "after childhood": ({"operation_on": "2060-01-01"}, "operation_on", "after the last year planned"),
    "at the end of the calendar": ({"operation_on": "9999-12-31"}, "operation_on", "after the last year planned"),
    "at its beginning": ({"operation_on": "0001-01-01"}, "operation_on", "before the child was born"),
    "a day that is none": ({"operation_on": "2030-02-30"}, "operation_on", "a date"),
    "no amount": ({"amount_mm": ""}, "amount_mm", "from 1 to 150"),
    "too much": ({"amount_mm": "151"}, "amount_mm", "from 1 to 150"),
    "amount not a number": ({"amount_mm": "nan"}, "amount_mm", "from 1 to 150"),
    "no rate": ({"rate_mm_per_day": "0"}, "rate_mm_per_day", "from 0.1 to 2"),
    "a rate backwards": ({"rate_mm_per_day": "-1"}, "rate_mm_per_day", "from 0.1 to 2"),
    "no turn": ({"turn_mm": "0"}, "turn_mm", "from 0.05 to 1"),
    "half a day of rest": ({"latency_days": "7.5"}, "latency_days", "a whole number"),
    "a bone as long as a house": ({"femur_mm": "5000"}, "femur_mm", "from 35 to 620"),
    "a device of nobody": ({"device": "crane"}, "device", "one of"),
    "found nothing known": ({"at_visit": "sad"}, "at_visit", "one of"),
    "found at no visit": ({"at_visit": "nerve_signs"}, "visits", "the visit from which that holds"),
    "a visit before the operation": ({"visits": "2030-01-06:1:1"}, "visits", "before the operation on 2030-01-07"),
    "a film before the operation, beside another": (
        {"visits": f"2029-12-08:-:0,{seen('14:14:14')}"},
        "visits",
        "a visit on 2029-12-08, before the operation",
    ),
    "found before the operation": (
        {"visits": "2029-12-08:-:0", "at_visit": "subluxation"},
        "visits",
        "before the operation on 2030-01-07",
    ),
    "a rate from no visit": ({"rate_from_then_mm_per_day": "0.5"}, "visits", "the visit from which that holds"),
    "two rates": (
        {"visits": seen("14:14:14:0.5"), "rate_from_then_mm_per_day": "0.75"},
        "rate_from_then_mm_per_day",
        "one rate from that visit on",
    ),
    "an old name": ({"reached_mm": "20"}, "--set", "visits"),
}


@pytest.mark.parametrize("name", VISITS)
def test_visits_that_cannot_be_read_are_refused_with_what_is_expected(name: str) -> None:
    with pytest.raises(Refused) as told:
        hand(on=TODAY, **{"visits": VISITS[name]} if VISITS[name] else {"amount_mm": "50"} | {"visits": " "})
    for fault in told.value.problems:
        assert fault.key == "visits"
        assert fault.found
        assert fault.expected
        assert fault.sentence.endswith("correct it.")


@pytest.mark.parametrize("name", OTHERS)
def test_other_inputs_that_cannot_be_are_refused_by_their_name(name: str) -> None:
    values, key, said = OTHERS[name]
    visits = values.get("visits", "")
    with pytest.raises(Refused) as told:
        hand(visits, **{k: v for k, v in values.items() if k != "visits"})
    (fault,) = told.value.problems
    assert fault.key == key
    assert said in fault.sentence


def test_every_visit_that_cannot_be_read_is_told_at_once() -> None:
    with pytest.raises(Refused) as told:
        hand("2030-01-28:x:1,2030-01-29:1:y,2030-01-30:1:1:z")
    assert len(told.value.problems) == 3


def test_a_finding_of_a_day_before_the_operation_is_refused_in_one_sentence() -> None:
    with pytest.raises(Refused) as told:
        hand(seen("14:-:-:0.5"), on=OPERATION - datetime.timedelta(days=1), at_visit="subluxation")
    (fault,) = told.value.problems
    assert fault.key == "at_visit"
    assert "subluxation found on 2030-01-06, before the operation on 2030-01-07" in fault.sentence
