"""From the rooms' values to the plan's data: stages, gates, courses, growth, open questions."""

from pathway.assemble.card import cautions, child_card, cited_sources, notices
from pathway.assemble.conflicts import conflict, not_planned
from pathway.assemble.courses import plan_course
from pathway.assemble.growth import growth_part, quantiles
from pathway.assemble.questions import open_questions
from pathway.assemble.reasons import (
    classification,
    considered,
    local_part,
    reason,
    verdict_record,
)
from pathway.assemble.stages import gate_state, plan_stages

__all__ = [
    "cautions",
    "child_card",
    "cited_sources",
    "classification",
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
    "verdict_record",
]
