"""Planning a child whose file may be faulty: a plan, or the sentences that say why there is none."""

from __future__ import annotations

import datetime

from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record


def record_from(name: str, text: str, on: datetime.date, protocol: Protocol) -> Record | tuple[str, ...]:
    """Return the record of a case file, or what is wrong with it."""
    from pathway.casefile.read_and_check import read_and_check

    record = read_and_check(text, f"{name}.toml", protocol, on)
    return tuple(problem.sentence for problem in record) if isinstance(record, tuple) else record


def plan_from(question: Question, *, compared: bool = False) -> Plan | tuple[str, ...]:
    """Return the plan of a record, or the sentences that say why there is none.

    With `compared` it holds every course that it is compared with, which takes longer.
    """
    from pathway.plan.make import PlanBreach, make_plan

    try:
        return make_plan(question, compared=compared)
    except PlanBreach as error:
        return (str(error),)
