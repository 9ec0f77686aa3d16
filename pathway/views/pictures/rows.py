"""Which rows the lanes of a timeline have: one for each stage, and one for examinations that come again."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pathway.days import MONTH_DAYS
from pathway.plan.model import Plan, PlanStage
from pathway.plan.waiting import may_wait_days
from pathway.views.pictures.short_names import LANES, shared_name
from pathway.views.words import roads
from pathway.views.words.plan import STATUS_MARKS, cm_words
from pathway.views.words.wrapping import HARD

IF, NO_DATE, PROSTHESIS = "If", "No date", "Prosthesis"
DRAWN = "†"
"""Stands behind a stage of the lengthening road where that road is drawn and not chosen; the legend says so."""


@dataclass(frozen=True, slots=True)
class Row:
    """A row of the lanes: its lane, the stages that stand in it, and the one that it speaks of now."""

    lane: str
    stages: tuple[PlanStage, ...]
    shown: PlanStage
    name: str
    planned: str = ""
    amount: str = ""
    slip: str = ""


@dataclass(frozen=True, slots=True)
class Listed:
    """Stages without a place on the age axis, by name, one after the other."""

    lane: str
    named: tuple[tuple[PlanStage, str], ...]


@dataclass(frozen=True, slots=True)
class Rows:
    """All that the lanes show, and how many stages of the past are folded away."""

    dated: tuple[Row, ...]
    listed: tuple[Listed, ...]
    road: tuple[Row, ...]
    folded: int


def rows_of(plan: Plan, selected: str | None = None, *, past: bool = False) -> Rows:
    """Return the rows of a plan; what is done is folded away unless `past`, or one of it is selected."""
    others = roads.other_stages(plan)
    done = [stage for stage in others if stage.status == "done"]
    open_ = past or any(stage.id == selected for stage in done)
    shown = [stage for stage in others if open_ or stage.status != "done"]
    dated = tuple(row for lane in LANES for row in _lane(plan, lane, shown, selected))
    undated = [stage for stage in shown if stage.date is None]
    waiting = [(stage, stage.label) for stage in undated if stage.status != "optional"]
    perhaps = [(stage, _if_words(plan, stage)) for stage in undated if stage.status == "optional"]
    listed = tuple(Listed(lane, tuple(named)) for lane, named in ((NO_DATE, waiting), (IF, perhaps)) if named)
    road = tuple(_road_row(plan, stage) for stage in roads.prosthetic_stages(plan))
    return Rows(dated, listed, road, 0 if open_ else len(done))


def slip_words(stage: PlanStage) -> str:
    """Return how much later a stage may come, until another one moves, else to its last day; "" if unbounded."""
    days = may_wait_days(stage)
    return "" if days is None else short_span(days)


def short_span(days: int) -> str:
    """Return a number of days as a column has room for it, rounded down: `58 days`, `11 m`, `9 y 11 m`."""
    if days < 61:
        return "1 day" if days == 1 else f"{days} days"
    years, months = divmod(math.floor(days / MONTH_DAYS), 12)
    return " ".join(part for part in (f"{years} y" if years else "", f"{months} m" if months else "") if part)


def _lane(plan: Plan, lane: str, shown: Sequence[PlanStage], selected: str | None) -> Iterator[Row]:
    inside = sorted((s for s in shown if s.lane == lane and s.date is not None), key=lambda s: s.date or plan.on)
    folded: dict[str, list[PlanStage]] = {}
    for stage in inside:
        folded.setdefault(stage.id if stage.operation else stage.kind, []).append(stage)
    for group in folded.values():
        name = shared_name(group)
        for stages in [group] if name else [[stage] for stage in group]:
            yield _row(plan, LANES[lane], tuple(stages), name, selected)


def _row(plan: Plan, lane: str, stages: tuple[PlanStage, ...], name: str, selected: str | None) -> Row:
    coming = [stage for stage in stages if not stage.begun]
    chosen = next((place for place, stage in enumerate(stages) if stage.id == selected), None)
    shown = stages[chosen] if chosen is not None else (coming or stages)[0]
    if len(stages) == 1 or chosen is not None:
        words = f"{shown.label}{_drawn(plan, shown)}"
        words += f" ({chosen + 1} of {len(stages)})" if chosen is not None and len(stages) > 1 else ""
    else:
        words = f"{name} ({'twice' if len(stages) == 2 else f'{len(stages)} times'})"
    amount = "" if shown.amount_mm is None else cm_words(shown.amount_mm)
    return Row(lane, stages, shown, words, str(shown.date), amount, slip_words(shown))


def _road_row(plan: Plan, stage: PlanStage) -> Row:
    usual = "past" if stage.past_usual is not None else roads.span_words(plan, stage, short=True)
    return Row(PROSTHESIS, (stage,), stage, stage.label, usual)


def _drawn(plan: Plan, stage: PlanStage) -> str:
    return f"{HARD}{DRAWN}" if roads.of_lengthening(plan, stage) else ""


def _if_words(plan: Plan, stage: PlanStage) -> str:
    """Return the name of what may come, with the finding that it is asked by where that is missing."""
    asked = [question.label for question in plan.open_questions if stage.label in question.needed_for]
    likely = ", likely" if stage.likely else ""
    words = f" (once {asked[0]} is known{likely})" if len(asked) == 1 else " (likely)" if likely else ""
    return f"{stage.label}{_drawn(plan, stage)}{words}"


def mark_of(row: Row) -> str:
    """Return the mark of the stage that a row speaks of."""
    return STATUS_MARKS[row.shown.status]
