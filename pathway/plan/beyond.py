"""Steps beyond a caution level of the rules: which levels, and what every view says of them."""

from __future__ import annotations

from pathway.plan.model import AmountNote, PlanStage
from pathway.protocol.traced import how_indirect

OTHERS = "counts of other children, teams and years"


def levels_passed(stage: PlanStage) -> tuple[AmountNote, ...]:
    """Return the caution levels that a step to come lies beyond, the lowest first; none for what is done or undated."""
    if stage.date is None or stage.begun:
        return ()
    passed = (note for note in stage.amount_limits if note.beyond)
    return tuple(sorted(passed, key=lambda note: (note.limit_mm, note.rule)))


def step_words(stage: PlanStage) -> str:
    """Return which step: `Femoral lengthening 1 (7.0 cm, 25 % of the bone)`."""
    share = "" if stage.amount_percent is None else f", {stage.amount_percent:.0f} % of the bone"
    return f"{stage.label} ({(stage.amount_mm or 0.0) / 10:.1f} cm{share})"


def level_words(note: AmountNote) -> str:
    """Return what is known of a level: the counts behind it and how indirect they are."""
    return f"{note.words.rstrip('.')}. {how_indirect(note.indirect or OTHERS)}"


def stage_words(stage: PlanStage) -> tuple[str, ...]:
    """Return a sentence for each level that a stage lies beyond, for clinicians."""
    return tuple(
        f"Above a caution level ({note.limit_mm / 10:.1f} cm here): {level_words(note)}"
        for note in levels_passed(stage)
    )
