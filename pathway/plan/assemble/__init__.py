"""From the rooms' values to the plan's data: stages, gates, courses, growth, open questions."""

from pathway.plan.assemble.card import cautions, child_card, cited_sources, notices
from pathway.plan.assemble.close_calls import Firsts, first_firmness, firsts
from pathway.plan.assemble.conflicts import conflict
from pathway.plan.assemble.courses import plan_course, printed_results
from pathway.plan.assemble.firmness import (
    arrest_does_not_wait,
    arrest_first,
    beyond_warnings,
    far_short,
    one_sitting,
)
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
    "Firsts",
    "arrest_does_not_wait",
    "arrest_first",
    "beyond_warnings",
    "cautions",
    "child_card",
    "cited_sources",
    "classification",
    "conflict",
    "considered",
    "far_short",
    "first_firmness",
    "firsts",
    "gate_state",
    "growth_part",
    "local_part",
    "notices",
    "one_sitting",
    "open_questions",
    "plan_course",
    "plan_stages",
    "printed_results",
    "quantiles",
    "reason",
    "roads",
]
