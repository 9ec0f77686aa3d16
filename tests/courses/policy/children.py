"""Programmes of children: the example patients, and invented ones; as the plan builds them, or coarser."""

from __future__ import annotations

from functools import cache

import numpy as np

from pathway.courses.policy.child import ChildProgramme, programme_of
from pathway.growth import fit_growth
from pathway.network import Conflict
from pathway.plan.make import problems_of
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.rule_engine.facts import known_steps
from tests.courses.childhood import invent
from tests.examples import ON, example
from tests.growth.protocols import with_values


def coarser(protocol: Protocol, grid_mm: float, visit_months: float) -> Protocol:
    """Return the rules with amounts, forecasts and gains in larger steps and fewer visits."""
    return with_values(protocol, {"amount_step_mm": grid_mm, "next_visit_months": visit_months})


@cache
def example_programme(name: str, grid_mm: float = 0.0, visit_months: float = 0.0) -> ChildProgramme | None:
    """Return the programme of an example patient, or None where none is made; coarser where a grid is given."""
    protocol = load_protocol()
    if grid_mm:
        protocol = coarser(protocol, grid_mm, visit_months)
    return made(Question(example(name), protocol, ON))


def invented_programme(number: int, grid_mm: float, visit_months: float, age_years: float) -> ChildProgramme | None:
    """Return the coarser programme of an invented child of an age, or None where none is made."""
    protocol = load_protocol()
    record, on = invent(protocol, np.random.default_rng((11, number)), (age_years, age_years + 0.5))
    return made(Question(record, coarser(protocol, grid_mm, visit_months), on))


def made(question: Question) -> ChildProgramme | None:
    """Return the programme of one child on one day as the plan makes it, or None."""
    question = question.as_known()
    posterior = fit_growth(question, known_steps=known_steps(question))
    if posterior is None or question.record.child.affected_side == "both":
        return None
    problems = problems_of(question, posterior)
    if isinstance(problems, Conflict):
        return None
    return next((one for p in problems if (one := programme_of(p, question)) is not None), None)
