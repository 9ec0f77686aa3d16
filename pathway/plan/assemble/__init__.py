"""From the rooms' values to the plan's data: stages, gates, courses, growth, open questions."""

from pathway.plan.assemble.card import cautions, child_card, cited_sources, notices
from pathway.plan.assemble.conflicts import conflict, not_planned
from pathway.plan.assemble.courses import plan_course
from pathway.plan.assemble.firmness import arrest_first, beyond_warnings, close_call
from pathway.plan.assemble.growth import growth_part, quantiles
from pathway.plan.assemble.questions import open_questions
from pathway.plan.assemble.reasons import (
    classification,
    considered,
    local_part,
    reason,
)
from pathway.plan.assemble.stages import gate_state, plan_stages

__all__ = [
    "arrest_first",
    "beyond_warnings",
    "cautions",
    "child_card",
    "cited_sources",
    "classification",
    "close_call",
    "conflict",
    "considered",
    "gate_state",
    "growth_part",
    "local_part",
    "not_planned",
    "notices",
    "open_questions",
    "plan_course",
    "plan_stages",
    "quantiles",
    "reason",
]
