"""Sentences on how firm a plan is: steps beyond a warning of the rules, an arrest whose time runs, sittings."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from itertools import combinations

from pathway.courses.course import Arrest
from pathway.courses.problem import CourseProblem
from pathway.days import add_months, age_words, day_at_age
from pathway.plan import model as pm
from pathway.plan.beyond import level_words, levels_passed, step_words
from pathway.plan.waiting import may_wait_until
from pathway.protocol.aids import aids_by_difference
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.roles import role_of
from pathway.protocol.words import lower_first
from pathway.rule_engine.graph import ChildGraph


def beyond_warnings(stages: Sequence[pm.PlanStage]) -> Iterator[str]:
    """Yield what is known of the warnings that lengthenings to come go beyond: one notice for the same steps."""
    steps: dict[str, list[str]] = {}
    for stage in stages:
        for note in levels_passed(stage):
            steps.setdefault(level_words(note), []).append(step_words(stage))
    levels: dict[tuple[str, ...], list[str]] = {}
    for words, named in sorted(steps.items()):
        levels.setdefault(tuple(named), []).append(words)
    for group, known in levels.items():
        verb = "is" if len(group) == 1 else "are"
        level = "a caution level" if len(known) == 1 else f"{len(known)} caution levels"
        yield f"{', '.join(group)} {verb} above {level}: {' '.join(known)}"


def far_short(growth: pm.GrowthPart, protocol: Protocol) -> Iterator[str]:
    """Yield the years in which the leg will be so short, on the path of the plan, that a lift no longer does."""
    limit_mm, percent = protocol.number("extension_from_mm"), protocol.number("extension_from_percent")
    short = [
        point
        for point in growth.by_age
        if point.with_plan_mm.p50 > limit_mm or 100 * point.with_plan_mm.p50 > percent * point.long_leg_mm
    ]
    if short and short[-1].age_years - short[0].age_years >= protocol.number("extension_told_from_years"):
        worn = _aids([point.with_plan_mm.p50 for point in short], protocol)
        yield (
            f"Between about {age_words(short[0].age_years)} and {age_words(short[-1].age_years)} the leg is more than "
            f"{limit_mm / 10:g} cm or {percent:g} % short on this plan: an extension prosthesis is usual "
            f"then{f' ({worn})' if worn else ''}."
        )


def _aids(differences_mm: Sequence[float], protocol: Protocol) -> str:
    """Return the other aids that the differences of those years ask for, each with the difference below which."""
    least, most = min(differences_mm), max(differences_mm)
    wanted = [aid for aid in aids_by_difference(protocol) if aid[1] <= most and least < aid[2] < math.inf]
    return ", ".join(f"below {below / 10:g} cm: {lower_first(label)}" for label, _, below in wanted)


def arrest_first(stages: Sequence[pm.PlanStage], protocol: Protocol) -> Iterator[str]:
    """Yield why a growth arrest comes before the last lengthening, where it does: its time runs, or by the weights."""
    planned = [stage for stage in stages if stage.date is not None and not stage.begun]
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


def arrest_does_not_wait(
    graph: ChildGraph, stages: Sequence[pm.PlanStage], problems: Sequence[CourseProblem], question: Question
) -> Iterator[str]:
    """Yield the last useful days of a growth arrest without a date, while a finding blocks a lengthening to come."""
    waits = next((stage for stage in stages if _waits_for_a_finding(stage, question.protocol)), None)
    open_to = [item for item in graph.of_role("growth_arrest") if not item.begun and item.within_protocol]
    arrests = problems[0].arrests if problems else ()
    dated = {stage.id for stage in stages if stage.date is not None}
    if waits is None or not arrests or not open_to or open_to[0].id in dated or open_to[0].declined:
        return
    most, least = (choose(arrests, key=lambda arrest: arrest.effect_mm) for choose in (max, min))
    told = " and ".join(
        f"{arrest.effect_mm / 10:.1f} cm until {_last_day(arrest, question)}" for arrest in (most, least)
    )
    yield (
        f"{waits.label} waits for a finding that may stay as it is; {lower_first(open_to[0].stage.label)} "
        f"does not, and its time runs: by both plates it still takes off {told}. "
        "Decide on it by those days, whatever becomes of the lengthening."
    )


def _waits_for_a_finding(stage: pm.PlanStage, protocol: Protocol) -> bool:
    if role_of(stage.kind, protocol) != "lengthening" or stage.begun:
        return False
    may_stay = {gate.id for gate in protocol.gates if gate.may_stay}
    return any(gate.state == "fails" and (gate.mended_by is None or gate.id in may_stay) for gate in stage.gates)


def _last_day(arrest: Arrest, question: Question) -> datetime.date:
    day = day_at_age(question.record.child.date_of_birth, arrest.last_useful_age_years)
    return max(datetime.date.fromordinal(day.toordinal()), question.on)


def one_sitting(stages: Sequence[pm.PlanStage], protocol: Protocol) -> Iterator[str]:
    """Yield two operations near each other that one anaesthetic would do, where waiting for it moves nothing else."""
    near = protocol.number("one_sitting_within_months")
    apart = [
        stage
        for stage in stages
        if stage.operation and stage.date is not None and not stage.begun
        if role_of(stage.kind, protocol) not in ("lengthening", "device_removal")
    ]
    for first, second in combinations(sorted(apart, key=lambda stage: stage.date or datetime.date.max), 2):
        if first.date is None or second.date is None or first.date == second.date:
            continue
        last = may_wait_until(first)
        if second.date <= add_months(first.date, int(near)) and (last is None or second.date <= last):
            yield (
                f"{first.label} ({first.date}) and {lower_first(second.label)} ({second.date}) would "
                f"take one anaesthetic on {second.date}: waiting for it moves no other date."
            )
