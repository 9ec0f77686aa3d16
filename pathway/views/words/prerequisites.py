"""What comes before a stage in words: the chain of the graph, in order of date, with the rule behind each tie."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.model import Plan, PlanStage
from pathway.questions.why import after_words
from pathway.views.data.shapes import BeforePrinted, BeforeStage
from pathway.views.pictures.prerequisites import chain, stage_graph
from pathway.views.words.plan import STATUS_WORDS
from pathway.views.words.wrapping import wrap


def chain_in_order(plan: Plan, stage: PlanStage) -> tuple[PlanStage, ...]:
    """Return the stage and all that comes before it, in order of date; those without a date come last."""
    ids = chain(plan, stage.id) | {stage.id}
    found = [other for other in plan.stages if other.id in ids]
    return tuple(sorted(found, key=lambda s: (s.date is None, s.date or plan.on)))


def before_words(plan: Plan, stage: PlanStage, width: int) -> Iterator[str]:
    """Yield the stages before a stage, each with what it comes after and why."""
    yield "What comes before it"
    order = chain_in_order(plan, stage)
    known = {other.id for other in plan.stages}
    graph = stage_graph(plan)
    if len(order) == 1:
        tied = graph.degree(stage.id) > 0
        yield "  Nothing: it is the first in its chain." if tied else "  Nothing: it is independent of other stages."
        return
    for other in order:
        when = str(other.date) if other.date is not None else "no date yet"
        yield from wrap(f"{when}  {other.label}, {STATUS_WORDS[other.status]}", width, "  ", "              ")
        ties = [tie for tie in other.after if tie.stage in known]
        for tie in ties:
            yield from wrap(after_words(plan, tie), width, "    ", "      ")
        if not ties:
            yield "    first in its chain"


def before_data(plan: Plan, stage: PlanStage, unlock: tuple[str, ...]) -> BeforePrinted:
    """Return the chain and the gates of a stage as data for other programs; `unlock` says what would unlock it."""
    known = {other.id for other in plan.stages}
    return BeforePrinted(
        child=plan.child.id,
        on=plan.on,
        stage=stage.id,
        chain=tuple(
            BeforeStage(
                id=other.id,
                label=other.label,
                status=other.status,
                date=other.date,
                after=tuple(tie.stage for tie in other.after if tie.stage in known),
            )
            for other in chain_in_order(plan, stage)
        ),
        gates=stage.gates,
        unlock=unlock,
        caution=plan.cautions[0].text,
    )
