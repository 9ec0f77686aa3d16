"""After an operation the screens say what was carried out and what follows."""

from __future__ import annotations

import datetime

from pathway.casefile import read_case
from pathway.plan.model import Plan
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.views.words.carried_out import carried_out_words, of_chosen
from pathway.views.words.paragraphs import of_edit
from tests.made_once import made_once
from tests.plans import DAY, plan, rules
from tests.tui.scenes_of import carried_out

LENGTHENED_ON = datetime.date(2026, 11, 18)


def after() -> Plan:
    record = read_case(carried_out("one_femoral"), "oak-12.toml", rules())
    assert isinstance(record, Record), record
    return made_once(Question(record, rules(), DAY))


def test_what_was_done_comes_first_then_what_follows_with_its_day() -> None:
    before, now = plan("oak-12"), after()
    done, follows = carried_out_words(before, now)
    assert done == f"Carried out: femoral lengthening 1 on {LENGTHENED_ON}, 3.8 cm."
    assert follows.startswith("What follows: frame removal and rodding (femur) on ")
    assert now.recommended is not None
    assert f"For length from here: {now.recommended.summary}." in follows


def test_an_edit_with_an_operation_is_not_told_as_another_first_choice() -> None:
    told = of_edit(plan("oak-12"), ("Follow-up entered: femoral lengthening …",), after())
    assert told[1].startswith("Carried out: ")
    assert not any(text.startswith("The first choice is then") for text in told)


def test_where_nothing_was_done_nothing_is_said() -> None:
    assert list(carried_out_words(plan("oak-12"), plan("oak-12"))) == []


def test_what_became_of_a_chosen_course_is_found_among_the_notices() -> None:
    (said,) = of_chosen(after())
    assert said.startswith("Every operation of the course chosen on 2026-11-12 (one femoral lengthening, no growth")
    assert of_chosen(plan("oak-12")) == ()
