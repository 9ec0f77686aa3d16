"""Making a plan: the only place that joins the rooms. It ends with the independent check."""

from __future__ import annotations

from collections.abc import Sequence

from pathway.courses.course import Course, placed_stages
from pathway.courses.hip_gain import expected_gain, with_hip_gain
from pathway.courses.problem import CourseProblem, course_problems
from pathway.courses.ranking import courses
from pathway.growth import Outlook, Posterior, Step, fit_growth, growth_curve, opinions, outlook
from pathway.network import Conflict
from pathway.plan import assemble
from pathway.plan import model as pm
from pathway.plan.both_sides import both_sides
from pathway.plan.verify import check_plan
from pathway.problems import CannotBeDone, Problem
from pathway.protocol.question import Question
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.conditions import Facts
from pathway.rule_engine.facts import facts_on, known_steps
from pathway.rule_engine.graph import ChildGraph
from pathway.rule_engine.staging import stage
from pathway.timing.road_windows import road_windows
from pathway.timing.schedule import Timetable, timetable
from pathway.timing.windows import stage_windows


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
    found, times, conflicts, hip_gain = _course_and_dates(graph, facts, posterior, question, compared)
    chosen = _recommended(found)
    stages = assemble.plan_stages(graph, chosen, times, question, road_windows(graph, question))
    mature = posterior.mature_age_years if posterior else growth_curve(protocol, record.child.sex).mature_age_years
    growing = with_hip_gain(posterior, hip_gain) if posterior else None
    with_plan = _with_plan(growing, chosen, natural)
    central = _with_plan(growing.central() if growing else None, chosen, natural)
    grown = assemble.growth_part(
        record, protocol, posterior, natural, with_plan, central, opinions(question, known_steps=done_steps), mature
    )
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
        "considered": assemble.considered(graph, classified),
        "notices": (
            *assemble.notices(record, found, stages, posterior, protocol, hip_gain),
            *assemble.beyond_warnings(stages),
            *(() if chosen is not None and chosen.prosthetic else assemble.far_short(grown, protocol)),
            *assemble.arrest_first(stages, protocol),
            *assemble.close_call(chosen, protocol),
        ),
    }
    plan = pm.Plan(
        child=assemble.child_card(question),
        on=on,
        protocol=assemble.local_part(protocol),
        cautions=assemble.cautions(protocol, stages, both=False),
        sources=(),
        **parts,
    )
    return _checked(plan, question)


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
) -> tuple[tuple[CourseProblem, ...], Step | None] | Conflict:
    """Return the problems, none without a posterior, and the length that the hip's correction will gain."""
    mature = posterior.mature_age_years if posterior else None
    timeline = stage_windows(graph, question, mature_age_years=mature)
    if isinstance(timeline, Conflict) or posterior is None:
        return timeline if isinstance(timeline, Conflict) else ((), None)
    if _waits(graph, question):
        return (), None
    hip_gain = expected_gain(graph, timeline, facts.findings, question.protocol)
    return course_problems(graph, timeline, with_hip_gain(posterior, hip_gain), question), hip_gain


def _waits(graph: ChildGraph, question: Question) -> bool:
    """Return whether the first bone of the diagnosis may be lengthened for all that is known, and nobody can tell yet.

    A course without it would look like advice against lengthening.
    """
    first = question.protocol.diagnosis(question.record.child.diagnosis).bones[0]
    own = [item for item in graph.of_role("lengthening") if item.stage.bone == first and not item.begun]
    return bool(own) and all(item.state == "unknown" for item in own)


def _course_and_dates(
    graph: ChildGraph, facts: Facts, posterior: Posterior | None, question: Question, compared: bool
) -> tuple[Sequence[Course], Timetable | None, list[pm.PlanConflict], Step | None]:
    """Return the courses, the dates of the first, conflicts, and the length that the hip's correction will gain."""
    born = question.record.child.date_of_birth
    planned = _problems(graph, facts, posterior, question)
    if isinstance(planned, Conflict):
        return (), None, [assemble.conflict(planned, question.protocol, born)], None
    problems, hip_gain = planned
    found: Sequence[Course] = courses(problems, question, compared=compared) if problems else ()
    times = timetable(graph, placed_stages(graph, _recommended(found)), question)
    if isinstance(times, Conflict):
        return found, None, [assemble.conflict(times, question.protocol, born)], hip_gain
    return found, times, [], hip_gain


def _sittings(stages: Sequence[pm.PlanStage], course: Course) -> int | None:
    """Return the days of operations to come of the course that has dates; None for any other."""
    days = {s.date for s in stages if s.operation and s.date and s.status not in ("done", "under_way")}
    return len(days) if course.recommended and not course.prosthetic and days else None


def _recommended(found: Sequence[Course]) -> Course | None:
    return next((course for course in found if course.recommended), None)


def _with_plan(posterior: Posterior | None, course: Course | None, natural: Outlook | None) -> Outlook | None:
    if posterior is None or natural is None:
        return None
    return outlook(posterior, course.steps if course else (), natural.age_years)
