"""Making a plan: the only place that joins the rooms. It ends with the independent check."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence

import numpy as np

from pathway import assemble
from pathway import plan_model as pm
from pathway.classify import classify, with_classes
from pathway.conditions import Facts
from pathway.course import ARREST, Course
from pathway.days import age_years
from pathway.findings import findings_on
from pathway.growth import PHYSES, Outlook, Posterior, Step, fit_growth, growth_curve, opinions, outlook
from pathway.network import Conflict
from pathway.protocol.model import Protocol
from pathway.record import Record
from pathway.staging import StageGraph, stage
from pathway.strategy import courses
from pathway.timing import Placed, Timetable, stage_windows, timetable
from pathway.verify import check_plan


class PlanBreach(Exception):
    """The finished plan breaks a rule: a fault of the program, named by rule, never shown as a plan."""


def make_plan(record: Record, protocol: Protocol, on: datetime.date, *, seed: int = 0) -> pm.Plan:
    """Return the plan of one child on one day. The same input gives the same plan.

    A child who cannot be planned still gets a plan, with the rules in conflict named. Raises PlanBreach when
    the independent check finds the plan to break a rule.
    """
    done_steps = known_steps(record, protocol, on)
    posterior = fit_growth(record, protocol, on, seed=seed, known_steps=done_steps)
    natural = outlook(posterior) if posterior else None
    facts = facts_on(record, protocol, on, natural)
    classified = classify(facts, protocol)
    graph = stage(with_classes(facts, classified), record, protocol, on)
    found, times, conflicts = _course_and_dates(graph, posterior, record, protocol, on)
    chosen = next((course for course in found if course.recommended), None)
    stages = assemble.plan_stages(graph, chosen, times, record, protocol, on)
    mature = posterior.mature_age_years if posterior else growth_curve(protocol, record.child.sex).mature_age_years
    with_plan = _with_plan(posterior, chosen, natural)
    central = _with_plan(posterior.central() if posterior else None, chosen, natural)
    parts = {
        "classification": assemble.classification(classified),
        "growth": assemble.growth_part(
            record,
            protocol,
            posterior,
            natural,
            with_plan,
            central,
            opinions(record, protocol, on, known_steps=done_steps),
            mature,
        ),
        "stages": stages,
        "alternatives": tuple(assemble.plan_course(course, record, protocol) for course in found),
        "open_questions": assemble.open_questions(graph, classified, facts.findings, stages, posterior, protocol, on),
        "conflicts": tuple(conflicts),
    }
    plan = pm.Plan(
        child=_child(record, protocol, on),
        on=on,
        protocol=pm.PlanProtocol(
            name=protocol.name,
            version=protocol.version,
            local_rules=tuple(rule.id for rule in protocol.rules() if rule.local),
        ),
        cautions=_cautions(protocol, stages, both=record.child.affected_side == "both"),
        sources=(),
        **parts,
    )
    plan = plan.model_copy(update={"sources": _sources(plan, protocol)})
    breaches = check_plan(plan, record, protocol)
    if breaches:
        raise PlanBreach("; ".join(breach.sentence for breach in breaches))
    return plan


def known_steps(record: Record, protocol: Protocol, on: datetime.date) -> tuple[Step, ...]:
    """Return the operations already done, as growth sees them."""
    steps: list[Step] = []
    for operation in record.operations:
        if operation.date > on:
            continue
        age = age_years(record.child.date_of_birth, operation.date)
        bone = protocol.stage(operation.kind).bone
        if bone is not None and operation.achieved_mm:
            steps.append(Step("short", bone, age, adds_mm=operation.achieved_mm))
        if operation.kind == ARREST:
            steps += [Step("long", PHYSES[plate], age, stops=(plate,)) for plate in operation.physes]
    return tuple(steps)


def facts_on(record: Record, protocol: Protocol, on: datetime.date, natural: Outlook | None) -> Facts:
    """Return all that conditions may look at on a day; predicted quantities from the natural course."""
    predicted: Mapping[str, np.ndarray] = {}
    if natural is not None:
        predicted = {
            "predicted_discrepancy_at_maturity_mm": natural.at_maturity("discrepancy"),
            "predicted_femur_discrepancy_at_maturity_mm": natural.at_maturity("long_femur")
            - natural.at_maturity("short_femur"),
            "predicted_tibia_discrepancy_at_maturity_mm": natural.at_maturity("long_tibia")
            - natural.at_maturity("short_tibia"),
        }
    return Facts(
        age_years=age_years(record.child.date_of_birth, on),
        sex=record.child.sex,
        diagnosis=record.child.diagnosis,
        findings=findings_on(record, protocol, on),
        predicted=predicted,
        done={operation.kind: operation.date for operation in record.operations if operation.date <= on},
    )


def _course_and_dates(
    graph: StageGraph, posterior: Posterior | None, record: Record, protocol: Protocol, on: datetime.date
) -> tuple[Sequence[Course], Timetable | None, list[pm.PlanConflict]]:
    if record.child.affected_side == "both":
        return (), None, [assemble.not_planned(protocol)]
    timeline = stage_windows(graph, record, protocol, on)
    if isinstance(timeline, Conflict):
        return (), None, [assemble.conflict(timeline, protocol)]
    found = courses(graph, timeline, posterior, record, protocol, on) if posterior else ()
    chosen = next((course for course in found if course.recommended), None)
    times = timetable(graph, _placed(graph, chosen), record, protocol, on)
    if isinstance(times, Conflict):
        return found, None, [assemble.conflict(times, protocol)]
    return found, times, []


def _placed(graph: StageGraph, course: Course | None) -> Mapping[str, Placed]:
    """Return the stages that get a date: those planned, and those that the course uses."""
    if course is not None and course.prosthetic:
        # Preparations belong to the lengthening road; a program does not date an amputation.
        return {need.id: Placed() for need in graph.needs if need.need == "planned" and not need.stage.operation}
    placed = {need.id: Placed() for need in graph.needs if need.need == "planned" and need.within_protocol}
    for item in course.lengthenings if course else ():
        placed[item.stage] = Placed(item.age_years, item.amount_mm)
        for edge in graph.edges:
            if edge.earlier == item.stage and edge.earlier_point == "end" and edge.rule.at_most_months == 0:
                placed[edge.later] = Placed()
    if course and course.arrest:
        arrest = course.arrest
        placed[arrest.stage] = Placed(arrest.age_years, latest_age_years=arrest.last_useful_age_years)
    return placed


def _with_plan(posterior: Posterior | None, course: Course | None, natural: Outlook | None) -> Outlook | None:
    if posterior is None or natural is None:
        return None
    return outlook(posterior, course.steps if course else (), natural.age_years)


def _child(record: Record, protocol: Protocol, on: datetime.date) -> pm.PlanChild:
    child = record.child
    return pm.PlanChild(
        id=child.id,
        sex=child.sex,
        date_of_birth=child.date_of_birth,
        affected_side=child.affected_side,
        diagnosis=child.diagnosis,
        diagnosis_label=protocol.diagnosis(child.diagnosis).label,
        age_years=round(age_years(child.date_of_birth, on), 3),
        note=child.note,
    )


def _cautions(protocol: Protocol, stages: Sequence[pm.PlanStage], *, both: bool) -> tuple[pm.Caution, ...]:
    kinds = {stage.kind for stage in stages}
    return tuple(
        pm.Caution(text=rule.text, sources=rule.sources, provenance=rule.provenance)
        for rule in protocol.cautions
        if (rule.bilateral and both) or (not rule.bilateral and (not rule.stages or kinds & set(rule.stages)))
    )


def _sources(plan: pm.Plan, protocol: Protocol) -> tuple[pm.SourceLine, ...]:
    used = {source for stage in plan.stages for source in stage.sources}
    used |= {source for item in plan.classification for source in item.sources}
    used |= {source for item in plan.cautions for source in item.sources}
    used |= {source for stage in plan.stages for item in stage.after for source in item.sources}
    used |= {source for stage in plan.stages for item in stage.amount_limits for source in item.sources}
    return tuple(
        pm.SourceLine(id=item.id, citation=item.citation, address=item.address, seen=item.seen)
        for item in protocol.sources
        if item.id in used
    )
