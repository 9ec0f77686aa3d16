"""Cases for the worksheets: example children with their plan and growth, mirrored children, one under way."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from fractions import Fraction
from functools import cache

from pathway.growth import Posterior, fit_growth
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.rule_engine.facts import known_steps
from pathway.worksheets.case import Case, case_of
from pathway.worksheets.kinds import KINDS, stage_of
from pathway.worksheets.lengthening.distraction import Order, Turning, ordered
from pathway.worksheets.sheet import Kind, Sheet
from tests.examples import ON, example
from tests.made_once import made_once

CHILD = "rowan-02"
KNOWN_WIDTH = {"width_mm": "40", "angle_deg": "8", "measured_deg": "80"}


@cache
def protocol() -> Protocol:
    return load_protocol()


def growth_of(record: Record, on: datetime.date) -> Posterior | None:
    return fit_growth(
        Question(record.until(on), protocol(), on), known_steps=known_steps(Question(record, protocol(), on))
    )


@cache
def planned(name: str = CHILD) -> tuple[Plan, Posterior | None]:
    return made_once(Question(example(name), protocol(), ON), compared=False), growth_of(example(name), ON)


def case(kind: Kind, name: str = CHILD, stage: str | None = None) -> Case:
    plan, posterior = planned(name)
    return case_of(Question(example(name), protocol(), ON), plan, stage_of(kind, plan, protocol(), stage), posterior)


def by_hand(name: str = CHILD, on: datetime.date = ON) -> Case:
    """Return a case without a plan: nothing comes from a stage."""
    return case_of(Question(example(name), protocol(), on), posterior=planned(name)[1])


def sheet(kind: Kind, settings: Mapping[str, str] | None = None, name: str = CHILD, stage: str | None = None) -> Sheet:
    return KINDS[kind].make(case(kind, name, stage), settings or {})


def mirrored(record: Record) -> Record:
    """Return the same child with left and right exchanged."""
    other = {"left": "right", "right": "left", "both": "both", None: None}
    visits = tuple(
        visit.model_copy(
            update={
                "measurements": tuple(m.model_copy(update={"side": other[m.side]}) for m in visit.measurements),
                "missing": tuple(m.model_copy(update={"side": other[m.side]}) for m in visit.missing),
            }
        )
        for visit in record.visits
    )
    operations = tuple(op.model_copy(update={"side": other[op.side]}) for op in record.operations)
    child = record.child.model_copy(update={"affected_side": other[record.child.affected_side]})
    return record.model_copy(update={"child": child, "visits": visits, "operations": operations})


def turnings(
    amount: Fraction, rate: Fraction, turn: Fraction, first: datetime.date, already: Fraction = Fraction(0)
) -> tuple[Turning, ...]:
    """Return the days of turning at one rate, as the sheet has them."""
    return tuple(ordered((Order(first, rate, turn),), amount, already))
