"""From the rooms' values to the plan's data: stages, gates, courses, growth, open questions."""

from pathway.plan.assemble.card import cautions, child_card, cited_sources, notices
from pathway.plan.assemble.conflicts import conflict
from pathway.plan.assemble.courses import plan_course
from pathway.plan.assemble.firmness import arrest_first, beyond_warnings, close_call, far_short
from pathway.plan.assemble.growth import growth_part, quantiles
from pathway.plan.assemble.questions import PROJECTION, open_questions
from pathway.plan.assemble.reasons import (
    classification,
    considered,
    local_part,
    reason,
)
from pathway.plan.assemble.roads import roads
from pathway.plan.assemble.stages import gate_state, plan_stages

__all__ = [
    "PROJECTION",
    "arrest_first",
    "beyond_warnings",
    "cautions",
    "child_card",
    "cited_sources",
    "classification",
    "close_call",
    "conflict",
    "considered",
    "far_short",
    "gate_state",
    "growth_part",
    "local_part",
    "notices",
    "open_questions",
    "plan_course",
    "plan_stages",
    "quantiles",
    "reason",
    "roads",
]
