"""Films that cannot be: each is asked back in one sentence, none is used, and the sheet is made by the turns."""

from __future__ import annotations

import datetime
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.worksheets.case import case_of
from pathway.worksheets.lengthening import worksheet as lengthening
from pathway.worksheets.sheet import Sheet
from tests.examples import example
from tests.worksheets.cases import planned
from tests.worksheets.lengthening.sheets import OPERATION, TODAY, asked, day, hand, seen, turned

RESTING = OPERATION + datetime.timedelta(days=3)
TOMORROW = TODAY + datetime.timedelta(days=1)

IMPOSSIBLE = {
    "45 mm after four days": (seen("4:4:45"), "shows 45 mm after 4 mm turned"),
    "45 mm after four days, not counted": (seen("4:-:45"), "shows 45 mm after 4 mm turned"),
    "ahead by more than the error": (seen("14:14:16.5"), "expected 14 mm by the turns (12 to 16)"),
    "ahead of few turns": (seen("28:7:20"), "shows 20 mm after 7 mm turned"),
    "nothing after 50 days": (seen("50:50:0"), "shows 0 mm after 50 days of turning"),
    "nothing after 50 days, not counted": (seen("50:-:0"), "shows 0 mm after 50 days of turning"),
    "a hairline after 21 days": (seen("21:21:1"), "shows 1 mm after 21 days of turning"),
    "nothing over two visits": (seen("7:7:-", "21:14:0.5"), "shows 0.5 mm after 21 days of turning"),
    "nothing after a week": (seen("7:7:0"), "less than 50 of 100"),
    "a third of what was turned": (seen("28:28:9"), "less than 50 of 100"),
    "just under half": (seen("28:28:13.9"), "less than 50 of 100"),
    "three quarters": (seen("28:28:21"), "ask the family whether turns were left out"),
    "falling": (seen("14:14:14", "28:14:9"), "shows 9 mm after 14 mm on"),
    "falling to nothing": (seen("14:14:14", "28:14:0"), "no less than before"),
    "falling while nothing is turned": (seen("28:28:28", "42:0:20"), "no less than before"),
    "negative": (seen("14:14:-3"), "expected nothing below 0"),
    "slightly negative": (seen("14:14:-0.1"), "expected nothing below 0"),
    "more than any bone": (seen("14:14:900"), "check mm and cm"),
    "more than any step": (seen("28:28:151"), "no larger single step has been published"),
    "not a number": (seen("14:14:nan"), "shows nan mm"),
    "infinite": (seen("14:14:inf"), "shows inf mm"),
    "infinite by its digits": (seen("14:14:1e999"), "shows inf mm"),
    "minus infinite": (seen("14:14:-inf"), "expected a number"),
    "on the day of the operation": (f"{OPERATION}:-:0", "before the latency ended"),
    "while resting": (f"{RESTING}:-:2", "ask whether turning began early"),
    "while resting, turned": (f"{RESTING}:3:3", "expected the first turn on 2030-01-15 or later"),
    "on the last day of rest": (seen("0:-:0"), "before the latency ended"),
    "tomorrow": (f"{TOMORROW}:-:50", "a day to come"),
    "in another century": ("2130-01-20:-:5", "expected 2030-04-30 or earlier"),
    "the same day twice": (seen("14:14:14", "14:14:14"), "a second visit on"),
    "the same day twice, apart": (seen("14:14:14", "21:7:21", "14:-:13"), "expected each day once"),
    "not in order": (seen("28:28:28", "14:14:14"), "put the visits in the order of their days"),
    "after the last turn": (seen("60:-:50"), "after the last day of turning"),
    "after a stop": (seen("14:14:14:stop", "28:-:14"), "after the last day of turning"),
}


HALTING = (
    "nothing after 50 days",
    "nothing after 50 days, not counted",
    "a hairline after 21 days",
    "nothing over two visits",
    "nothing after a week",
    "a third of what was turned",
    "just under half",
    "falling",
    "falling to nothing",
    "falling while nothing is turned",
)
"""Films that may mean bone grown together, or a device that does not turn or hold."""


def by_turns(made: Sheet) -> list[tuple[object, object]]:
    return [(row[1], row[4]) for row in turned(made)]


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_it_is_asked_back_in_one_sentence(name: str) -> None:
    text, said = IMPOSSIBLE[name]
    told = asked(hand(text))
    assert len(told) == 1
    assert said in told[0]
    (sentence,) = told
    assert sentence.endswith(".")
    assert ". " not in sentence
    assert "; expected " in sentence
    assert ": " in sentence.partition("; expected ")[2]


@pytest.mark.parametrize("name", [name for name in IMPOSSIBLE if name not in HALTING])
def test_the_sheet_is_still_made_by_the_turns(name: str) -> None:
    text, _ = IMPOSSIBLE[name]
    made = hand(text)
    assert made.section("Visits so far").tables[0].marked
    # The same visits without their films make the same turns.
    bare = [entry.split(":") for entry in text.split(",")]
    unfilmed = [":".join((one, turned_mm or "-", "-", *rest)) for one, turned_mm, _, *rest in bare]
    told = [entry for entry in unfilmed if not entry.endswith(":-:-")]
    same = hand(",".join(told)) if told else hand()
    last = made.section("Visits so far").tables[0].rows[-1]
    so_far = [row for row in by_turns(same) if not isinstance(last[1], datetime.date) or row[0] > last[1]]  # type: ignore[operator]
    used = [row for row in by_turns(made) if not isinstance(last[1], datetime.date) or row[0] > last[1]]  # type: ignore[operator]
    assert used == so_far
    assert made.line("End of distraction").value == same.line("End of distraction").value


@pytest.mark.parametrize(
    "visits",
    [
        seen("14:14:14", "28:14:27", "42:14:42"),
        seen("14:14:12", "28:14:30.5"),
        seen("1:1:0", "2:1:0"),
        seen("28:28:28", "42:7:33", "49:0:34:stop"),
        seen("50:50:50", "80:0:49"),
        seen("14:-:13.5", "28:-:28"),
    ],
)
def test_films_within_the_error_of_reading_ask_nothing(visits: str) -> None:
    assert asked(hand(visits)) == []


def test_a_film_that_was_asked_back_is_not_what_the_next_is_held_against() -> None:
    told = asked(hand(seen("14:14:40", "28:14:28")))
    assert len(told) == 1
    assert "shows 40 mm" in told[0]


def test_a_question_names_the_limit_that_was_passed_with_its_source() -> None:
    made = hand(seen("50:50:0"))
    warning = next(item for item in made.warnings if item.text.startswith("Asked back"))
    assert warning.rule == "film_gap_none_days"
    assert warning.sources == ("own_judgement",)
    assert "own_judgement" in {source.id for source in made.sources}


def test_a_clinics_own_error_of_reading_is_what_counts(tmp_path: Path) -> None:
    assert len(asked(hand(seen("14:14:17")))) == 1
    own = '[[value]]\nid = "film_gap_error_mm"\nvalue = 4\nprovenance = "practice"\nsources = ["common_practice"]\n'
    (tmp_path / "ours.toml").write_text(own, encoding="utf-8")
    case = case_of(Question(example("rowan-02"), load_protocol(tmp_path), TODAY), posterior=planned()[1])
    told = {"amount_mm": "50", "operation_on": str(OPERATION), "visits": seen("14:14:17")}
    assert asked(lengthening.worksheet(case, told)) == []


def test_the_film_of_the_visit_at_the_end_may_wait_for_the_monday() -> None:
    amount = next(n for n in range(40, 50) if day(n).weekday() == 5)
    assert asked(hand(seen(f"{amount + 2}:-:{amount}"), amount_mm=str(amount))) == []
    assert len(asked(hand(seen(f"{amount + 3}:-:{amount}"), amount_mm=str(amount)))) == 1


def test_what_was_found_at_a_visit_that_is_left_out_still_changes_the_calendar() -> None:
    made = hand(f"{RESTING}:-:0", on=day(10), at_visit="subluxation")
    assert turned(made) == ()
    assert made.line("Reached").value == 10.0


@settings(max_examples=80, deadline=None)
@given(
    number=st.integers(1, 50),
    film=st.floats(allow_nan=True, allow_infinity=True) | st.floats(-20, 200),
)
def test_no_film_moves_a_turn_and_what_is_far_from_the_turns_is_asked_back(number: int, film: float) -> None:
    made, alone = hand(seen(f"{number}:-:{film!r}"), on=day(number)), hand()
    to_come = [row for row in by_turns(alone) if row[0] > day(number)]  # type: ignore[operator]
    assert by_turns(made) in ([], to_come)
    halted = [item for item in made.warnings if item.text.startswith("Asked back") and item.stop]
    assert bool(halted) == (by_turns(made) != to_come) or not to_come
    error = max(2.0, number / 10)
    far = not math.isfinite(film) or film < 0 or abs(film - number) > error + 1e-9
    assert len(asked(made)) == (1 if far else 0) or abs(abs(film - number) - error) < 1e-6
