"""What a plan waits for in words: what is not known and for which step, which conditions hold a step up."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from pathway.plan.model import GateState, OpenQuestion, Plan, PlanStage
from pathway.protocol.words import lower_first
from pathway.questions.unknown import not_known, not_met, shared_out, waiting
from pathway.rule_engine.verdict import Verdict
from pathway.views.words.plan import road_mark

GROUNDS, FINDINGS = 2, 3
"""So many are named; the others are counted, and stand in the text on the stage."""
NOTHING_UNKNOWN = "Nothing asked for is unknown."


def waits(plan: Plan, next_ones: Sequence[PlanStage], *, brief: bool) -> str:
    """Say what is not known for what is next and for other steps, by when, and which conditions fail today."""
    own, others = shared_out(plan, next_ones)
    if not plan.open_questions:
        unknown = NOTHING_UNKNOWN
    else:
        mine = f"for it: {_dated(plan, own, FINDINGS - brief)}" if own else ""
        left = 1 if brief else max(1, FINDINGS - len(own))
        told = f"{len(others)}" if brief and own else _dated(plan, others, left)
        rest = f"for other steps: {told}" if others else ""
        unknown = f"Not known {'; '.join(part for part in (mine, rest) if part)}."
    return f"{unknown} {_conditions(plan, brief=brief, said=any(map(not_known, next_ones)))}"


def held_words(stages: Sequence[PlanStage]) -> str:
    """Return what holds up steps that are blocked today: `1 condition not met, 2 not known`."""
    failing, unknown = sum(map(not_met, stages)), sum(map(not_known, stages))
    counted = [(failing, "not met"), (unknown, "not known")]
    told = [f"{count} {words}" for count, words in counted if count]
    if not told:
        return "a rule speaks against it"
    first, *more = told
    count, _, state = first.partition(" ")
    return ", ".join([f"{count} {'condition' if count == '1' else 'conditions'} {state}", *more])


def asked_words(question: OpenQuestion) -> str:
    """Return a finding that is missing, with its leg where both are affected."""
    return f"{question.label} of the {question.side} leg" if question.side else question.label


def road_words(plan: Plan, question: OpenQuestion) -> str:
    """Return for which road alone a finding is missing, where it is not the one chosen; "" else."""
    stages = waiting(plan, question)
    marks = {road_mark(plan, stage) for stage in stages}
    if stages and all(stage.road == "prosthetic" for stage in stages):
        return " [prosthetic road]"
    return marks.pop() if len(marks) == 1 else ""


def needed_words(plan: Plan, question: OpenQuestion) -> str:
    """Return what waits for a finding, each with its road where that is not the one chosen."""
    stages = waiting(plan, question)
    marks = {name: road_mark(plan, stage) for stage in stages for name in (stage.label,)}
    return ", ".join(f"{name}{marks.get(name, '')}" for name in question.needed_for)


def found_words(leaf: Verdict) -> str:
    """Return what was found without its day: `knee instability severe`."""
    return leaf.sentence if leaf.measured_on is None else leaf.sentence.partition(f" on {leaf.measured_on}")[0]


def some(items: Sequence[str], most: int, separator: str = ", ") -> str:
    """Return the first items joined, the others counted."""
    more = len(items) - most
    return separator.join(items[:most]) + (f"{separator}{more} more" if more > 0 else "")


def _dated(plan: Plan, questions: Sequence[OpenQuestion], most: int) -> str:
    """Return findings by the day on which they are needed and the road that needs them; so many, the rest counted."""

    def when(one: OpenQuestion) -> str:
        day = "" if one.by is None else "today" if one.by <= plan.on else f"by {one.by}"
        return ", ".join(part for part in (day, road_words(plan, one).strip(" []")) if part)

    shown = questions[:most]
    named = [(key, ", ".join(asked_words(one) for one in group)) for key, group in groupby(shown, key=when)]
    told = "; ".join(f"{labels} ({key})" if key else labels for key, labels in named)
    more = len(questions) - len(shown)
    return f"{told}; {more} more" if more else told


def _conditions(plan: Plan, *, brief: bool, said: bool) -> str:
    """Say which conditions fail; `said` is whether what is next has told of those that are not known."""
    failing = list(_failing_gates(plan))
    unknown = sum(not_known(stage) for stage in plan.stages if _to_come(stage) and stage.status != "optional")
    if not failing:
        told = brief and said
        also = f"; {unknown} {'is' if unknown == 1 else 'are'} not known" if unknown and not told else ""
        return f"No condition fails{also}."
    open_ = [(stage, gate) for stage, gate in failing if gate.mended_by is None]
    mended = [(stage, gate) for stage, gate in failing if gate.mended_by is not None]
    parts = []
    if open_:
        names = [f"{_unmet(gate)} before {lower_first(stage.label)}{road_mark(plan, stage)}" for stage, gate in open_]
        parts.append(f"Not met, and no step mends it: {some(names, GROUNDS - brief, '; ')}.")
    if mended:
        count = "1 condition fails" if len(mended) == 1 else f"{len(mended)} conditions fail"
        named = list(dict.fromkeys(_unmet(gate) for _, gate in mended))
        mends = "" if brief else "; planned steps are to mend that first"
        names_too = "" if brief and len(mended) > 1 else f": {_named_of(named, len(mended), GROUNDS)}"
        parts.append(f"{count} today{names_too}{mends}.")
    return " ".join(parts)


def _named_of(names: Sequence[str], count: int, most: int) -> str:
    """Return the first names; the others of all that are counted by their number."""
    more = count - min(most, len(names))
    return ", ".join(names[:most]) + (f", {more} more" if more > 0 else "")


def _to_come(stage: PlanStage) -> bool:
    return not stage.begun and stage.road != "prosthetic"


def _failing_gates(plan: Plan) -> Iterator[tuple[PlanStage, GateState]]:
    for stage in plan.stages:
        if _to_come(stage):
            yield from ((stage, gate) for gate in stage.gates if gate.state == "fails")


def _unmet(gate: GateState) -> str:
    leaf = next((leaf for leaf in gate.verdict.leaves() if leaf.state == "fails"), gate.verdict)
    return found_words(leaf)
