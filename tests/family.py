"""The family's text of a plan in English by the shipped rules, for tests that look for what it says."""

from __future__ import annotations

from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.views.family.text import Part
from pathway.views.family.text import family_parts as parts_of
from pathway.views.family.text import family_text as text_of
from pathway.views.words.wording import wording


def family_text(plan: Plan, width: int = 72) -> str:
    """Return the text."""
    return text_of(plan, wording(), load_protocol(), width)


def family_parts(plan: Plan) -> tuple[Part, ...]:
    """Return the parts with their sentences."""
    return parts_of(plan, wording(), load_protocol())
