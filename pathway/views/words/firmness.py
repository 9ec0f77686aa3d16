"""A close call in words: for lists, for a pane, for a family."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.firmness import FirmnessPart
from pathway.plan.model import Course, Plan, PlanStage
from pathway.plan.op_words import op_words
from pathway.questions.sensitivity import Robustness
from pathway.views.words.wrapping import wrap

MARK = "≈"
"""Stands beside a child whose first operation is a close call; always with the word."""
WORD = "close call"


def listed(words: str, *, close: bool) -> str:
    """Return what a list says is next, marked where it is a close call."""
    return f"{words} ({MARK} {WORD})" if close and words else words


def of_stage(plan: Plan, stage: PlanStage) -> Iterator[str]:
    """Yield, for the stage that a close call is about, what may come instead and what decides."""
    part = plan.firmness
    if not part.close_call or not part.between or stage.id not in (op.stage for op in part.between):
        return
    one, two = part.between
    other = two if stage.id == one.stage else one
    kept = "The plan accepted before is kept. " if part.kept else ""
    yield f"{MARK} {WORD[0].upper()}{WORD[1:]}: or {op_words(other)}. {kept}{_decides(part)}"


def headline(plan: Plan) -> str:
    """Return a close call in one sentence, "" where there is none."""
    part = plan.firmness
    if not part.close_call:
        return ""
    return f"{MARK} {WORD[0].upper()}{WORD[1:]}: {' or '.join(op_words(op) for op in part.between)}. {_decides(part)}"


def sentence(plan: Plan) -> str:
    """Return between which two a close call is undecided, until when and why; "" where there is none."""
    return f"{MARK} {plan.firmness.sentence}" if plan.firmness.close_call else ""


def is_between(plan: Plan, course: Course) -> bool:
    """Return whether a close call is about a course: the recommended one, and those that begin with the other step."""
    part = plan.firmness
    if not part.close_call or len(part.between) < 2:
        return False
    first, other = (op.stage.rstrip("_0123456789") for op in part.between)
    return course.recommended or (first != other and bool(course.stages) and course.stages[0].kind == other)


def _decides(part: FirmnessPart) -> str:
    if part.decide_on is None:
        return "No film tells more."
    if part.decide_on.what == "film":
        return f"The film of {part.decide_on.on} decides."
    return f"{part.decide_on.label} decides, read again by {part.decide_on.on}."


def first_lines(plan: Plan, firm: Robustness, width: int) -> Iterator[str]:
    """Yield how firm the first operation is by age and amount: over growth, risks and weights, and as the plan says."""
    for text in (firm.first_words, firm.weighed_words, plan.firmness.sentence):
        if text:
            yield from wrap(text, width, "  ", "    ")
