"""A case knows of its stage whether the operation was done, also after the day on which it is looked at."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from pathway.protocol.question import Question
from pathway.record import Operation
from pathway.worksheets.case import case_of
from tests.plans import DAY, plan, record, rules

LATER = datetime.date(2030, 6, 1)
KIND = "proximal_femoral_osteotomy"


@pytest.mark.parametrize(("kind", "day"), [(KIND, LATER), ("hip_preparation", None)])
def test_an_operation_entered_for_a_later_day_is_known_by_its_kind(kind: str, day: datetime.date | None) -> None:
    stage = next(one for one in plan("rowan-02").stages if one.kind == KIND)
    known = record("rowan-02")
    done = Operation(kind=kind, date=LATER, side=known.affected_side)
    later = known.model_copy(update={"operations": (*known.operations, done)})
    case = case_of(Question(later, rules(), DAY), plan("rowan-02"), stage)
    assert case.done_on == day
    assert case.record.operations == known.operations
    assert replace(case, done_on=None).side == known.affected_side
