"""The worksheets of a whole plan: one for each stage to come that has a kind of its own."""

from __future__ import annotations

from pathway.growth import fit_growth
from pathway.plan.model import Plan
from pathway.protocol.question import Question
from pathway.rule_engine.facts import known_steps
from pathway.worksheets.case import case_of
from pathway.worksheets.kinds import KINDS, kind_for
from pathway.worksheets.sheet import Sheet


def sheets_of(question: Question, plan: Plan) -> tuple[Sheet, ...]:
    """Return the sheet of every dated stage of the plan that is not done, in the order of the plan.

    Raises Refused where a sheet cannot be made from what the case and the rules say.
    """
    question = question.as_known()
    posterior = fit_growth(question, known_steps=known_steps(question))
    sheets = []
    for stage in plan.stages:
        kind = kind_for(stage, question.protocol)
        if kind is not None and stage.date is not None and stage.status != "done":
            sheets.append(KINDS[kind].make(case_of(question, plan, stage, posterior), {}))
    return tuple(sheets)
