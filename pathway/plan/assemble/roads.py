"""The two roads of a plan: how they stand and on which grounds, what is firm on both, the other road in its order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.plan import model as pm
from pathway.plan.assemble.reasons import reason
from pathway.rule_engine.graph import ChildGraph
from pathway.rule_engine.roads import Standing


def roads(graph: ChildGraph, stages: Sequence[pm.PlanStage]) -> pm.Roads | None:
    """Return how the roads stand; None where the rules offer lengthening alone."""
    standing = graph.standing
    if standing is None or (standing.stands is None and standing.chosen is None):
        return None
    shared = tuple(s.id for s in stages if not s.road and s.operation and s.date and not s.begun)
    steps = sorted(
        (s for s in stages if s.road == "prosthetic" and not s.begun),
        key=lambda s: (s.window is None, s.window.earliest if s.window else None),
    )
    return pm.Roads(
        stands=standing.stands or "lengthening",
        chosen=standing.chosen or "",
        sentence=" ".join(_sentences(standing)),
        because=tuple(reason(rule, verdict) for rule, verdict in standing.grounds),
        shared=shared,
        prosthetic=tuple(s.id for s in steps),
    )


def _sentences(standing: Standing) -> Iterator[str]:
    if standing.chosen == "prosthetic":
        yield "Family and team asked for the prosthetic road: it is shown first, and lengthening beside it."
        yield "It may be asked for at any expected difference, and changed later."
        return
    if standing.chosen == "lengthening":
        yield "Family and team asked for lengthening: it is planned, and the prosthetic road stays open."
        return
    if standing.waived:
        yield "A surgeon waived what puts the prosthetic road first: both roads are drawn side by side."
        return
    yield {
        "lengthening": "Lengthening comes first by published practice; the prosthetic road is shown beside it.",
        "both": "Both roads stand side by side; neither comes first. Hear a team of each before deciding.",
        "undecided": "The road is undecided: both are drawn, nothing need be chosen yet. What both share comes first.",
        "prosthetic": "By published practice the prosthetic road comes first; lengthening is shown beside it.",
        "not_known": "No road can be drawn yet: no lengthening is dated before what decides is measured.",
    }[standing.stands or "lengthening"]
    yield "Family and team decide; a program never chooses an amputation."
