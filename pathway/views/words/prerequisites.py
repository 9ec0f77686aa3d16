"""What comes before a stage in words: the chain of the graph, in order of date, with the rule behind each tie."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.plan.graph import graph_of
from pathway.plan.model import Plan, PlanStage
from pathway.questions.why import after_words
from pathway.views.data.shapes import PrerequisitesPrinted, PrerequisiteStage
from pathway.views.words.plan import road_mark, when_words
from pathway.views.words.wrapping import wrap


def chain_in_order(plan: Plan, stage: PlanStage) -> tuple[PlanStage, ...]:
    """Return the stage and all that comes before it, in order of date; those without a date come last."""
    ids = graph_of(plan).chain(stage.id)
    found = [other for other in plan.stages if other.id in ids]
    return tuple(sorted(found, key=lambda s: (s.date is None, s.date or plan.on)))


def prerequisites_words(plan: Plan, stage: PlanStage, width: int) -> Iterator[str]:
    """Yield the stages before a stage, each with what it comes after and why."""
    yield "What comes before it"
    order = chain_in_order(plan, stage)
    graph = graph_of(plan)
    if len(order) == 1:
        tied = graph.tied(stage.id)
        yield "  Nothing: it is the first in its chain." if tied else "  Nothing: it is independent of other stages."
        return
    for other in order:
        when = str(other.date) if other.date is not None else "no date" if other.road == "prosthetic" else "no date yet"
        yield from wrap(
            f"{when}  {other.label}{road_mark(plan, other)}, {when_words(plan, other)}", width, "  ", "              "
        )
        ties = graph.edges_into(other.id)
        for tie in ties:
            yield from wrap(after_words(plan, tie.rule), width, "    ", "      ")
        if not ties:
            yield "    first in its chain"


def prerequisites_data(plan: Plan, stage: PlanStage, unlock: tuple[str, ...]) -> PrerequisitesPrinted:
    """Return the chain and the gates of a stage as data for other programs; `unlock` says what would unlock it."""
    graph = graph_of(plan)
    return PrerequisitesPrinted(
        child=plan.child.id,
        on=plan.on,
        stage=stage.id,
        chain=tuple(
            PrerequisiteStage(
                id=other.id,
                label=other.label,
                status=other.status,
                date=other.date,
                road=other.road,
                window=other.window,
                after=tuple(tie.earlier for tie in graph.edges_into(other.id)),
            )
            for other in chain_in_order(plan, stage)
        ),
        gates=stage.gates,
        unlock=unlock,
        caution=plan.cautions[0].text,
    )
