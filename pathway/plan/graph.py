"""The pathway graph of a finished plan, for those who show it: its stages, and the ties that the plan states."""

from __future__ import annotations

from pathway.plan.model import After, Plan, PlanStage
from pathway.rule_engine.graph import Edge, PathwayGraph

PlanGraph = PathwayGraph[PlanStage, After]
"""The graph of a plan: two stages that may come in either order stand in the order of their dates."""


def graph_of(plan: Plan) -> PlanGraph:
    """Return the graph of a plan, made or stored; ties to stages that the plan does not hold are left out."""
    known = {stage.id for stage in plan.stages}
    ties = ((stage, tie) for stage in plan.stages for tie in stage.after if tie.stage in known)
    return PathwayGraph(plan.stages, (Edge(tie.stage, tie.from_point, stage.id, "start", tie) for stage, tie in ties))
