"""A close call in words: for lists, for a pane, for a family."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.firmness import FirmnessPart, FirstOperation
from pathway.plan.model import Plan, PlanStage
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


def for_family(plan: Plan, month: str) -> Iterator[str]:
    """Yield a close call in plain words; `month` is that in which it is decided, "" where no film tells more."""
    part = plan.firmness
    if not part.close_call or len(part.between) != 2:
        return
    by_weights = any(item.what != "threshold" for item in part.why)
    yield (
        "Two ways are about equally good for what comes first."
        if by_weights
        else "It is not sure yet what comes first. Two ways are possible."
    )
    one, two = part.between
    yield from _way("One way", one, also="another operation" if one.also else "")
    both = "the operation of the first way" if one.stage in two.also else "another operation"
    yield from _way("The other way", two, also=both if two.also else "")
    if part.decide_on is None:
        yield "No new picture will say more. You and your team decide."
    elif part.decide_on.what == "film":
        yield f"The film (an X-ray of both legs) in {month} decides. You need not choose before."
    else:
        yield f"A test in {month} decides. The team will tell you which one."
    if part.shared:
        yield "What comes before that stays the same in both ways."
    if part.kept:
        yield "The first of the two is the one that you agreed on before. The plan keeps to it."


def _way(head: str, op: FirstOperation, *, also: str) -> Iterator[str]:
    if not op.stage:
        yield f"{head}: no operation to make the legs equal."
        return
    old = "" if op.age_years is None else f", when your child is about {_old(op.age_years)} old"
    more = f", together with {also}" if also else ""
    yield f"{head}{old}{more}: {op.family_words}"


def _old(age: float) -> str:
    years = int(age + 0.25)
    half = " and a half" if 0.25 <= age - int(age) < 0.75 else ""
    return f"{years}{half} year{'' if years == 1 and not half else 's'}"
