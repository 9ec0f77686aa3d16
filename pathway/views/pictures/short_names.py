"""Names of stages at the length that a picture has room for: whole words only."""

from __future__ import annotations

import re
from collections.abc import Sequence

from pathway.plan.model import PlanStage
from pathway.views.words.plan import cm_words

LANES = {
    "hip": "Hip",
    "knee_and_ankle": "Knee, ankle",
    "length": "Length",
    "other_leg": "Other leg",
    "checks": "Checks",
}
NARROW_LANES = {
    "hip": "Hip",
    "knee_and_ankle": "Knee",
    "length": "Length",
    "other_leg": "Other",
    "checks": "Checks",
    "No date": "No day",
    "Prosthesis": "Prosth",
}
"""Lanes where there is little room."""
_JOINING = ("before", "after", "of", "the", "and", "with", "until", "from", "to", "at")
_SEAMS = re.compile(r"\s*(?:,|\(|\b(?:" + "|".join(_JOINING) + r")\b)")


def names(stage: PlanStage) -> tuple[str, ...]:
    """Return the names of a stage from the longest to the shortest, the last one empty.

    A name is only shortened at a seam (a comma, a bracket, a preposition), so it never ends in half a
    phrase; the amount is kept longer than the name where there is one.
    """
    amount = "" if stage.amount_mm is None else cm_words(stage.amount_mm)
    full = stage.label
    short = _shorter(full)
    if not amount:
        return tuple(dict.fromkeys((full, *short, "")))
    wanted = (f"{full}, {amount}", *(f"{name}, {amount}" for name in short), amount, "")
    return tuple(dict.fromkeys(wanted))


def shared_name(stages: Sequence[PlanStage]) -> str:
    """Return the longest name, whole or shortened at a seam, that several stages share; "" where they share none."""
    first, *others = [(stage.label, *_shorter(stage.label)) for stage in stages]
    return next((name for name in first if all(name in names for names in others)), "")


def _shorter(label: str) -> tuple[str, ...]:
    cuts = [label[: match.start()].split() for match in _SEAMS.finditer(label)]
    return tuple(" ".join(words) for words in reversed(cuts) if words and words[-1] not in _JOINING)
