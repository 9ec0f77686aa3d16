"""Making a plan: the only place that joins the rooms. It ends with the independent check."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache, partial
from typing import NamedTuple

import numpy as np

from pathway.courses.course import Course, placed_stages
from pathway.courses.first_call import FirstCall
from pathway.courses.hip_gain import HipGain, expected_gain, with_hip_gain
from pathway.courses.problem import CourseProblem, course_problems
from pathway.courses.ranking import courses, with_first_call
from pathway.growth import Outlook, Posterior, fit_growth, grown_from_years, growth_curve, opinions, outlook
from pathway.network import Conflict
from pathway.plan import assemble
from pathway.plan import model as pm
from pathway.plan.both_sides import both_sides
from pathway.plan.other_reading import film_moves_mm, near_thresholds, read_otherwise
from pathway.plan.verify import check_plan
from pathway.problems import CannotBeDone, Problem
from pathway.protocol.question import Question
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.conditions import Facts
from pathway.rule_engine.facts import facts_on, known_steps
from pathway.rule_engine.graph import ChildGraph
from pathway.rule_engine.staging import stage
from pathway.rule_engine.verdict import Verdict
from pathway.timing.road_windows import road_windows
from pathway.timing.schedule import Timetable, timetable
from pathway.timing.windows import stage_windows

AFTER_LAST_STEP_YEARS = 0.5
AT_ONCE_YEARS = 0.01
"""Beyond the end of growth the projection goes on for so long after the last lengthening; each counts at once."""


class PlanBreach(CannotBeDone):
    """The finished plan breaks a rule: a fault of the program, named by rule, never shown as a plan."""

    def __init__(self, child: str, breaches: str) -> None:
        self.breaches = breaches
        what = f"internal error, no plan is shown: the plan made breaks its own rules ({breaches})"
        super().__init__(Problem(child, "", None, what, "", "please report it with the case file, which is untouched"))


def make_plan(question: Question, *, seed: int = 0, compared: bool = True) -> pm.Plan:
    """Return the plan of one child on one day. The same input gives the same plan.

    Without `compared` it holds only the recommended course, which is quicker. A child who
    cannot be planned still gets a plan, with the rules in conflict named. Raises PlanBreach when the independent
    check finds the plan to break a rule.
    """
    question = question.as_known()
    record, protocol, on = question.record, question.protocol, question.on
    if record.child.affected_side == "both":
        return _checked(_of_both_sides(question), question)
    done_steps = known_steps(question)
    posterior = fit_growth(question, seed=seed, known_steps=done_steps)
    natural = outlook(posterior) if posterior else None
    facts = facts_on(question, natural)
    classified = classify(facts, protocol)
    graph = stage(with_classes(facts, classified), question)
    found, times, conflicts, hip_gain, problems, call = _course_and_dates(graph, facts, posterior, question, compared)
    chosen = _recommended(found)
    stages = assemble.plan_stages(graph, chosen, times, question, road_windows(graph, question))
    mature = posterior.mature_age_years if posterior else growth_curve(protocol, record.child.sex).mature_age_years
    growing = with_hip_gain(posterior, hip_gain) if posterior else None
    shown = _to_the_last_step(posterior, natural, chosen)
    with_plan = _with_plan(growing, chosen, shown)
    central = _with_plan(growing.central() if growing else None, chosen, shown)
    grown = assemble.growth_part(
        record, protocol, posterior, shown, with_plan, central, opinions(question, known_steps=done_steps), mature
    )
    considered = assemble.considered(graph, classified)
    firsts = assemble.firsts(stages, chosen, protocol)
    near = near_thresholds(considered, stages, protocol, film_moves_mm(posterior, protocol))
    otherwise = tuple(_read_otherwise(question, near, graph, chosen, posterior, seed))
    firmness = assemble.first_firmness(call, firsts, otherwise, stages, question, posterior)
    parts = {
        "classification": assemble.classification(classified),
        "growth": grown,
        "stages": stages,
        "alternatives": tuple(
            assemble.plan_course(course, record, protocol, _sittings(stages, course)) for course in found
        ),
        "open_questions": assemble.open_questions(graph, classified, facts.findings, stages, posterior, protocol, on),
        "conflicts": tuple(conflicts),
        "roads": assemble.roads(graph, stages),
        "printed_results": assemble.printed_results(found, record, protocol),
        "considered": considered,
        "firmness": firmness,
        "notices": (
            *([firmness.sentence] if firmness.sentence else ()),
            *assemble.notices(record, found, stages, posterior, protocol, hip_gain),
            *assemble.beyond_warnings(stages),
            *(() if chosen is not None and chosen.prosthetic else assemble.far_short(grown, protocol)),
            *assemble.arrest_first(stages, protocol),
            *assemble.arrest_does_not_wait(graph, stages, problems, question),
            *assemble.one_sitting(stages, protocol),
        ),
    }
    plan = pm.Plan(
        child=assemble.child_card(question),
        on=on,
        protocol=assemble.local_part(protocol),
        cautions=assemble.cautions(protocol, stages, both=False, facts=facts),
        sources=(),
        **parts,
    )
    return _checked(plan, question)


def _read_otherwise(
    question: Question,
    near: Sequence[Verdict],
    now: ChildGraph,
    chosen: Course | None,
    posterior: Posterior | None,
    seed: int,
) -> Iterator[tuple[Verdict, assemble.Firsts]]:
    """Yield what would come first if each of these readings lay on the other side of its threshold.

    Only where a stage, gate or limit is judged otherwise then: else the plan would be the same but for some days. The
    policy is solved again for the nearest of them only: each time costs as much as the plan itself.
    """
    solved = False
    for leaf in near:
        record = read_otherwise(question, leaf)
        if record is None:
            continue
        asked = question.about(record)
        # A finding that is no length leaves growth as it is.
        grown = posterior if leaf.finding else fit_growth(asked, seed=seed, known_steps=known_steps(asked))
        facts = facts_on(asked, outlook(grown) if grown else None)
        graph = stage(with_classes(facts, classify(facts, asked.protocol)), asked)
        changed = _judged(graph) ^ _judged(now)
        if not changed:
            continue
        course, times = chosen, None
        if not any(for_length for for_length, *_ in changed):
            # The course for length is judged as before: its ages are kept, and no policy need be solved again.
            times = timetable(graph, placed_stages(graph, chosen, asked.protocol), asked)
        if times is None or isinstance(times, Conflict):
            if solved:
                continue
            solved = True
            found, times, conflicts, *_ = _course_and_dates(graph, facts, grown, asked, compared=False)
            course = _recommended(found)
            if conflicts:
                continue
        stages = assemble.plan_stages(graph, course, times, asked, road_windows(graph, asked), bare=True)
        yield leaf, assemble.firsts(stages, course, asked.protocol)


_FOR_LENGTH = ("lengthening", "growth_arrest", "prosthetic_alternative")


def _judged(graph: ChildGraph) -> frozenset[tuple[bool, str, object]]:
    """Return how stages, gates and limits are judged, each with whether the course for length rests on it.

    A gate of a lengthening is none of these: what mends it comes first, and the course moves with it.
    """
    stages = {
        (
            item.role in _FOR_LENGTH,
            item.id,
            (item.state, tuple(rule.id for rule, _ in (*item.indicated, *item.against))),
        )
        for item in graph.stages
    }
    gates = {(False, item.id, (gate.gate.id, gate.state)) for item in graph.stages for gate in item.gates}
    limits = {(True, limit, "off") for limit in graph.limits_off}
    standing = None if graph.standing is None else graph.standing.stands
    return frozenset({*stages, *gates, *limits, (True, "", standing)})


def _of_both_sides(question: Question) -> pm.Plan:
    """Return the plan of a child with two short legs, not checked yet."""
    protocol, sex = question.protocol, question.record.child.sex
    parts = both_sides(question, growth_curve(protocol, sex).mature_age_years)
    return pm.Plan(
        child=assemble.child_card(question),
        on=question.on,
        protocol=assemble.local_part(protocol),
        classification=parts.classification,
        growth=parts.growth,
        stages=parts.stages,
        alternatives=(),
        open_questions=parts.open_questions,
        conflicts=parts.conflicts,
        notices=parts.notices,
        roads=parts.roads,
        refused=parts.refused,
        cautions=assemble.cautions(protocol, parts.stages, both=True),
        sources=(),
        considered=parts.considered,
    )


def _checked(plan: pm.Plan, question: Question) -> pm.Plan:
    """Return a plan with the sources that it cites; raises PlanBreach where the judge finds a rule broken."""
    plan = plan.model_copy(update={"sources": assemble.cited_sources(plan, question.protocol)})
    breaches = check_plan(plan, question.record, question.protocol)
    if breaches:
        raise PlanBreach(question.record.child.id, "; ".join(breach.sentence for breach in breaches))
    return plan


def first_course(question: Question, posterior: Posterior) -> Course | Conflict | None:
    """Return the course that would be recommended if growth were as a posterior says; no dates, no check.

    None where no course is within the protocol; the conflict where the rules contradict each other.
    """
    problems = problems_of(question, posterior)
    if isinstance(problems, Conflict):
        return problems
    return _recommended(courses(problems, question.as_known(), compared=False))


def problems_of(question: Question, posterior: Posterior) -> tuple[CourseProblem, ...] | Conflict:
    """Return what the courses of a child are worked out from if growth is as a posterior says, by rank of the ways.

    The conflict where the rules contradict each other.
    """
    question = question.as_known()
    facts = facts_on(question, outlook(posterior))
    graph = stage(with_classes(facts, classify(facts, question.protocol)), question)
    found = _problems(graph, facts, posterior, question)
    return found if isinstance(found, Conflict) else found[0]


def _problems(
    graph: ChildGraph, facts: Facts, posterior: Posterior | None, question: Question
) -> tuple[tuple[CourseProblem, ...], HipGain | None] | Conflict:
    """Return the problems, none without a posterior, and the length that the hip's correction will gain."""
    mature = posterior.mature_age_years if posterior else None
    grown = None if posterior is None else cache(partial(grown_from_years, posterior))
    timeline = stage_windows(graph, question, mature_age_years=mature, grown_from_years=grown)
    if isinstance(timeline, Conflict) or posterior is None:
        return timeline if isinstance(timeline, Conflict) else ((), None)
    if _waits(graph, question):
        return (), None
    hip_gain = expected_gain(graph, timeline, facts.findings, question.protocol, question.record.affected_side)
    return course_problems(graph, timeline, with_hip_gain(posterior, hip_gain), question), hip_gain


def _waits(graph: ChildGraph, question: Question) -> bool:
    """Return whether the first bone of the diagnosis may be lengthened for all that is known, and nobody can tell yet.

    A course without it would look like advice against lengthening.
    """
    first = question.protocol.diagnosis(question.record.child.diagnosis).bones[0]
    own = [item for item in graph.of_role("lengthening") if item.stage.bone == first and not item.begun]
    return bool(own) and all(item.state == "unknown" for item in own)


class _CourseAndDates(NamedTuple):
    """Courses, the dates of the first, conflicts, what the hip's correction gains, the problems, the first call."""

    found: Sequence[Course]
    times: Timetable | None
    conflicts: list[pm.PlanConflict]
    hip_gain: HipGain | None = None
    problems: tuple[CourseProblem, ...] = ()
    call: FirstCall | None = None


def _course_and_dates(
    graph: ChildGraph, facts: Facts, posterior: Posterior | None, question: Question, compared: bool
) -> _CourseAndDates:
    """Return the best course with its dates, and what it is compared with."""
    born = question.record.child.date_of_birth
    planned = _problems(graph, facts, posterior, question)
    if isinstance(planned, Conflict):
        return _CourseAndDates((), None, [assemble.conflict(planned, question.protocol, born)])
    problems, hip_gain = planned
    found, call = with_first_call(problems, question, compared=compared) if problems else ((), None)
    mature = posterior.mature_age_years if posterior else None
    times = timetable(graph, placed_stages(graph, _recommended(found), question.protocol), question, mature)
    if isinstance(times, Conflict):
        conflict = assemble.conflict(times, question.protocol, born)
        return _CourseAndDates(found, None, [conflict], hip_gain, problems, call)
    return _CourseAndDates(found, times, [], hip_gain, problems, call)


def _sittings(stages: Sequence[pm.PlanStage], course: Course) -> int | None:
    """Return the days of operations to come of the course that has dates; None for any other."""
    days = {s.date for s in stages if s.operation and s.date and not s.begun}
    return len(days) if course.recommended and not course.prosthetic and days else None


def _recommended(found: Sequence[Course]) -> Course | None:
    return next((course for course in found if course.recommended), None)


def _to_the_last_step(posterior: Posterior | None, natural: Outlook | None, course: Course | None) -> Outlook | None:
    """Return the projection without operations, on to some months after the last lengthening where that is later."""
    if posterior is None or natural is None or course is None or not course.lengthenings:
        return natural
    grown = float(natural.age_years[-1])
    ages = sorted({item.age_years for item in course.lengthenings})
    end = ages[-1] + AFTER_LAST_STEP_YEARS
    if end <= grown:
        return natural
    after_each = [age + AT_ONCE_YEARS for age in ages if age >= grown]
    return outlook(posterior, (), np.array([*natural.age_years, *after_each, end]))


def _with_plan(posterior: Posterior | None, course: Course | None, natural: Outlook | None) -> Outlook | None:
    if posterior is None or natural is None:
        return None
    return outlook(posterior, course.steps if course else (), natural.age_years)
