"""The worksheets of a whole plan: one for each stage to come that has a kind of its own."""

from __future__ import annotations

from dataclasses import dataclass

from pathway.growth import fit_growth
from pathway.plan.model import Plan, PlanStage
from pathway.problems import Problem, Refused
from pathway.protocol.question import Question
from pathway.rule_engine.facts import known_steps
from pathway.worksheets.case import Case, case_of
from pathway.worksheets.kinds import KINDS, kind_for, stage_of
from pathway.worksheets.sheet import Kind, Sheet


@dataclass(frozen=True)
class NotYet:
    """A stage whose sheet cannot be made from what the case and the rules say, and what it needs."""

    stage: str
    label: str
    problems: tuple[Problem, ...]


@dataclass(frozen=True)
class SheetsOfPlan:
    """The sheets of a plan, and the stages that cannot have theirs yet; each in the order of the plan."""

    made: tuple[Sheet, ...] = ()
    not_yet: tuple[NotYet, ...] = ()


def sheets_of(question: Question, plan: Plan) -> SheetsOfPlan:
    """Return the sheet of every dated stage of the plan that is not done, or what keeps it from being made."""
    question = question.as_known()
    posterior = fit_growth(question, known_steps=known_steps(question))
    made: list[Sheet] = []
    not_yet: list[NotYet] = []
    for stage in plan.stages:
        kind = kind_for(stage, question.protocol)
        if kind is not None and stage.date is not None and stage.status != "done":
            try:
                made.append(KINDS[kind].make(case_of(question, plan, stage, posterior), {}))
            except Refused as refused:
                not_yet.append(NotYet(stage.id, stage.label, refused.problems))
    return SheetsOfPlan(tuple(made), tuple(not_yet))


def opened(kind: Kind, question: Question, plan: Plan | None, stage: str | None = None) -> Case:
    """Return what the worksheet of a kind is opened with: the child, its plan and the plan's stage.

    Without a plan (None) a sheet can still be filled by hand. Raises Refused for a stage that the plan has not.
    """
    return sheet_case(question, plan, stage_of(kind, plan, question.protocol, stage) if plan is not None else None)


def sheet_case(question: Question, plan: Plan | None, stage: PlanStage | None) -> Case:
    """Return what a worksheet is opened with: the child with its growth, its plan and the plan's stage."""
    return case_of(question, plan, stage, fit_growth(question.as_known(), known_steps=known_steps(question)))
