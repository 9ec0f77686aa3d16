"""Sentences on how firm a plan is: steps beyond a warning of the rules, a first operation that is a close call."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.courses.course import Course
from pathway.days import age_words
from pathway.plan import model as pm
from pathway.protocol.model import Protocol
from pathway.protocol.roles import role_of


def beyond_warnings(stages: Sequence[pm.PlanStage]) -> Iterator[str]:
    """Yield one sentence for each warning that lengthenings to come go beyond, with the counts behind it."""
    steps: dict[str, list[str]] = {}
    for stage in stages:
        if stage.amount_mm is None or stage.date is None or stage.status in ("done", "under_way"):
            continue
        share = "" if stage.amount_percent is None else f", {stage.amount_percent:.0f} % of the bone"
        for note in stage.amount_limits:
            if note.warns and stage.amount_mm > note.limit_mm:
                steps.setdefault(note.words, []).append(f"{stage.label} ({stage.amount_mm / 10:.1f} cm{share})")
    for words, named in sorted(steps.items()):
        verb = "is" if len(named) == 1 else "are"
        yield (
            f"{', '.join(named)} {verb} above a caution level: {words.rstrip('.')}. "
            "Counts of other children, teams and years."
        )


def far_short(growth: pm.GrowthPart, protocol: Protocol) -> Iterator[str]:
    """Yield the years in which the leg will be so short, on the path of the plan, that a lift no longer does."""
    limit_mm, percent = protocol.number("extension_from_mm"), protocol.number("extension_from_percent")
    ages = [
        point.age_years
        for point in growth.by_age
        if point.with_plan_mm.p50 > limit_mm or 100 * point.with_plan_mm.p50 > percent * point.long_leg_mm
    ]
    if ages and ages[-1] - ages[0] >= protocol.number("extension_told_from_years"):
        yield (
            f"Between about {age_words(ages[0])} and {age_words(ages[-1])} the leg is more than {limit_mm / 10:g} cm "
            f"or {percent:g} % short on this plan: an extension prosthesis is needed in those years."
        )


def arrest_first(stages: Sequence[pm.PlanStage], protocol: Protocol) -> Iterator[str]:
    """Yield why a growth arrest comes before the last lengthening, where it does: its time runs, or by the weights."""
    planned = [stage for stage in stages if stage.date is not None and stage.status not in ("done", "under_way")]
    last = max((s.date for s in planned if s.date and role_of(s.kind, protocol) == "lengthening"), default=None)
    for stage in planned:
        if role_of(stage.kind, protocol) != "growth_arrest" or last is None or stage.date is None or stage.date >= last:
            continue
        latest = stage.window.latest if stage.window else None
        if latest is not None and latest < last:
            why = f"its time runs out: after {latest} it would miss what is planned by more than the goal allows"
        else:
            why = "by the weights of the rules that order is better, although it could wait"
        yield f"{stage.label} comes before the last lengthening because {why}."


def close_call(course: Course | None, protocol: Protocol) -> Iterator[str]:
    """Yield a sentence where another first operation is nearly as good."""
    if course is not None and course.gap is not None and course.gap < protocol.number("close_call_gap"):
        yield (
            f"The first operation is a close call: by the weights of the rules the best other choice is only "
            f"{course.gap:.2f} worse (1 is a planned operation). `limb-pathway programme` shows both; family and team "
            "choose."
        )
