"""Courses: the path of the best policy, and of the best ones with fewer lengthenings or without growth arrest.

All of them are worked out in one world, with the same weights: troubles come as often as published, and every amount
is decided again at the visits to come. The path is what is done if every step works.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from pathway.courses.course import (
    NO_SURGERY,
    PROSTHETIC_COURSE,
    Arrest,
    Course,
    Lengthening,
    course_id,
    course_steps,
    summary_of,
)
from pathway.courses.first_call import FirstCall, first_call, keeping
from pathway.courses.policy.child import ProgrammeBuilder
from pathway.courses.policy.ends import Ends, ends_of
from pathway.courses.policy.harms import harms_of
from pathway.courses.policy.lengthening_tables import cheapest_device
from pathway.courses.policy.path_course import path_course
from pathway.courses.policy.policy import best_policy
from pathway.courses.problem import CourseProblem
from pathway.courses.search import CourseSearch
from pathway.days import age_years, in_months
from pathway.growth import outlook
from pathway.protocol.model import PrintedProgramme, Protocol
from pathway.protocol.preference_sets import preferred
from pathway.protocol.question import Question
from pathway.rule_engine.graph import ChildGraph
from pathway.timing.rule_links import device_days

_SAME_POINTS = 1e-4
REASONS = 2
"""How much that speaks against a course is said at most."""


def courses(problems: Sequence[CourseProblem], question: Question, *, compared: bool = True) -> tuple[Course, ...]:
    """Return the recommended course first, then with `compared` the others by what they cost on average.

    Recommended is the path of the best policy within the protocol, unless the family or team chose another course.
    The others are the best with fewer lengthenings than that, with no growth arrest, and within each programme of print
    that is meant for such a child; every one says why it lost. A prosthetic pathway is among them where the protocol
    offers it.
    """
    return with_first_call(problems, question, compared=compared)[0]


def with_first_call(
    problems: Sequence[CourseProblem], question: Question, *, compared: bool = True
) -> tuple[tuple[Course, ...], FirstCall | None]:
    """Return the courses, and between which first operations the recommended one decides; None where none does."""
    ranking = _Ranking(problems, question)
    found = ranking.ranked(compared)
    best = next((course for course in found if course.recommended), None)
    return found, None if best is None else ranking.calls.get((best.id, best.points))


@dataclass(frozen=True, slots=True)
class _Kept:
    """What a policy has to keep to: so many lengthenings at most (None: as the rules say), with an arrest or none.

    `within` is a programme of print whose limits it has to keep to besides.
    """

    most: int | None = None
    arrest: bool = True
    within: PrintedProgramme | None = None


class _Ranking:
    def __init__(self, problems: Sequence[CourseProblem], question: Question) -> None:
        self.problem = problems[0]
        self.graph, self.protocol, self.wishes = self.problem.graph, self.problem.protocol, self.problem.wishes
        self.problems = problems
        weighed = preferred(self.protocol, self.wishes.prefer)
        self.question = replace(question, protocol=weighed)
        self.builders = [ProgrammeBuilder(replace(problem, protocol=weighed), self.question) for problem in problems]
        self.calls: dict[tuple[str, float], FirstCall] = {}
        """What each course that a policy follows decides first, by its id and what it costs."""

    def ranked(self, compared: bool) -> tuple[Course, ...]:
        found = list(self._found(compared or self.wishes.course is not None))
        if self.wishes.course not in (None, *(course.id for course in found)):
            found += self._searched(str(self.wishes.course))
        found.sort(key=self._key)
        chosen = PROSTHETIC_COURSE if self.wishes.road == "prosthetic" else self.wishes.course
        best = next((course for course in found if course.id == chosen), None)
        # A programme of print is compared; none is chosen by the program.
        ours = [course for course in found if not course.only_of_print]
        best = best or next((course for course in ours if course.within_protocol), None)
        ordered = sorted(found, key=lambda course: course is not best)
        told = [
            replace(course, recommended=course is best, lost_because=self._lost(course, best)) for course in ordered
        ]
        return tuple(_not_beaten(told))

    def _found(self, compared: bool) -> list[Course]:
        """Return the courses, each once, with the programmes of print that they are or are compared with."""
        found = list(self._kinds(compared))
        for printed in self._printed() if compared else ():
            same = self._named(printed, found)
            if same is not None:
                found[found.index(same)] = replace(same, programme=same.programme or printed.id)
            elif printed.road == "lengthening" and not printed.nothing:
                course = self._best(_Kept(arrest=printed.growth_arrest, within=printed))
                if course is None:
                    continue
                twin = next((one for one in found if _alike(one, course)), None)
                if twin is not None:
                    found[found.index(twin)] = replace(twin, programme=twin.programme or printed.id)
                else:
                    name = f"{printed.label}: {course.summary}"
                    found.append(replace(course, id=printed.id, summary=name, programme=printed.id))
        return found

    def _printed(self) -> list[PrintedProgramme]:
        """Return the programmes of print that are meant for such a child."""
        return printed_for(self.problem, self.protocol)

    def _named(self, printed: PrintedProgramme, found: Sequence[Course]) -> Course | None:
        """Return the course that a programme of print names by what it is: nothing more, or the prosthetic road."""
        id = PROSTHETIC_COURSE if printed.road == "prosthetic" else NO_SURGERY if printed.nothing else None
        return next((course for course in found if course.id == id), None)

    def _kinds(self, compared: bool) -> Iterator[Course]:
        """Yield the courses, each kind once: first the best of all, then what keeps to less."""
        free = self._best(_Kept())
        seen: set[str] = set()
        # Where no more is asked for, what keeps to less is only needed if nothing else stands within the protocol.
        needed = compared or not (_within(free) or self._prosthetic_is_first())
        for course in (free, *(self._less(free) if needed else ())):
            if course is not None and course.id not in seen:
                seen.add(course.id)
                yield course
        if self._prosthetic_is_offered():
            yield prosthetic_course(self.problem)

    def _prosthetic_is_offered(self) -> bool:
        return any(item.state == "optional" for item in self.graph.of_role("prosthetic_alternative"))

    def _prosthetic_is_first(self) -> bool:
        return self._prosthetic_is_offered() and prosthetic_first(self.graph)

    def _less(self, free: Course | None) -> Iterator[Course | None]:
        number = len(free.lengthenings) if free is not None else 0
        bare = self._best(_Kept(arrest=False)) if free is not None and free.arrest is not None else free
        yield bare
        for most in range(max(number, len(bare.lengthenings) if bare is not None else 0) - 1, -1, -1):
            if most < number:
                yield self._best(_Kept(most))
            yield self._best(_Kept(most, arrest=False))

    def _best(self, kept: _Kept) -> Course | None:
        """Return the course of the way of lengthening that costs least, one within the protocol before any other."""
        ways = zip(self.problems, self.builders, strict=True)
        found = [course for way in ways if (course := self._of(*way, kept)) is not None]
        return min(found, key=lambda course: (not course.within_protocol, course.points), default=None)

    def _of(self, problem: CourseProblem, builder: ProgrammeBuilder, kept: _Kept) -> Course | None:
        child = builder.build(most=kept.most, arrest=kept.arrest, within=kept.within)
        if child is None:
            return course_of(problem, (), None) if kept == _Kept() else None
        if kept.within is not None and not child.programme.is_open(lengthening=bool(kept.within.steps)):
            return None
        # What someone chose is no earlier recommendation, and what keeps to less is only compared.
        earlier = self.question.earlier if kept == _Kept() and self.wishes.course is None else ()
        policy, stays = keeping(best_policy(child.programme), child, problem, earlier)
        lengthenings, arrest = path_course(policy.path, child, problem)
        course, call = course_of(problem, lengthenings, arrest), first_call(policy, child, problem, stays)
        self.calls[course.id, policy.value] = call
        harms = harms_of(child, policy.outcome.lengthened_at, self.question)
        return replace(course, points=policy.value, ends=ends_of(policy.solved, policy.outcome, harms), gap=call.gap)

    def _searched(self, chosen: str) -> Iterator[Course]:
        """Yield the course of that id as the search has it, for a course that was chosen and no policy follows.

        None where it has more lengthenings than are wished for: that wish bounds a chosen course too.
        """
        search, most = CourseSearch(tuple(self.problems)), self.wishes.at_most_lengthenings
        for femoral in search.numbers("femur"):
            for tibial in search.numbers("tibia"):
                for arrested in (False, True) if most is None or femoral + tibial <= most else ():
                    found = search.best(femoral, tibial, arrested=arrested)
                    if found is not None and course_id(found.lengthenings, found.arrest) == chosen:
                        yield course_of(self.problem, tuple(self._with_devices(found.lengthenings)), found.arrest)

    def _with_devices(self, chosen: tuple[Lengthening, ...]) -> Iterator[Lengthening]:
        """Yield lengthenings that the search found with the device that costs least for each."""
        weighed = replace(self.problem, protocol=self.question.protocol)
        for item in chosen:
            yield replace(item, device=cheapest_device(weighed, self.question, item).id)

    def _key(self, course: Course) -> tuple[bool, bool, bool, float, str]:
        """Return how a course ranks: within the protocol, prosthetic where no bone can be lengthened, then by cost."""
        first = prosthetic_first(self.graph)
        return (
            not course.within_protocol,
            course.prosthetic and not first,
            not course.prosthetic and first,
            course.points,
            course.id,
        )

    def _outside(self, course: Course) -> str:
        chosen = {item.stage for item in course.lengthenings}
        rules = [rule for item in self.graph.stages if item.id in chosen for rule, _ in item.against]
        if rules:
            return f"outside the protocol ({rules[0].id})"
        return "uses a stage that was declined"

    def _lost(self, course: Course, best: Course | None) -> str:
        if best is None or course is best:
            return ""
        if course.prosthetic:
            return "a different approach: to be shown in equal detail, not ranked by length"
        reasons = [] if course.within_protocol else [self._outside(course)]
        if best.prosthetic:
            asked = self.wishes.road == "prosthetic"
            first = "family and team asked for the prosthetic road" if asked else "the prosthetic road comes first here"
            return "; ".join(reasons) or first
        return "; ".join((*reasons, *_weighed(course, best, self.problem.number("told_large_mm"))))


def printed_for(problem: CourseProblem, protocol: Protocol) -> list[PrintedProgramme]:
    """Return the programmes of print that are meant for a child: by diagnosis, what is predicted, and its start."""
    child = problem.record.child
    begun = [item.done_on for item in problem.graph.of_role("lengthening") if item.begun and item.done_on is not None]
    today = float(problem.grid.age_years[0])
    start = min((age_years(child.date_of_birth, day) for day in begun), default=today)
    predicted = problem.growth.predicted_mm
    return [one for one in protocol.printed_programmes if one.is_meant_for(child.diagnosis, predicted, start)]


def _alike(one: Course, other: Course) -> bool:
    """Return whether two courses are one policy: as dear, to what the tables keep, and with the same operations."""
    if one.ends is None or other.ends is None or abs(one.points - other.points) > _SAME_POINTS * max(one.points, 1.0):
        return False
    return (
        abs(one.ends.planned - other.ends.planned) + abs(one.ends.unplanned - other.ends.unplanned) < 2 * _SAME_POINTS
    )


def course_of(problem: CourseProblem, lengthenings: tuple[Lengthening, ...], arrest: Arrest | None) -> Course:
    """Return chosen operations as a course: what they come to if every step works and growth stays as projected."""
    graph, last = problem.graph, problem.grid.age_years[-1:]
    steps = course_steps(lengthenings, arrest)
    days = sum(device_days(problem.protocol, item.bone, item.amount_mm, item.device) for item in lengthenings)
    against = any(not graph.stage(item.stage).within_protocol for item in lengthenings)
    own_sitting = arrest is not None and arrest.sitting is None
    kinds = {item.kind for item in lengthenings} | ({graph.stage(arrest.stage).kind} if arrest else set())
    return Course(
        id=course_id(lengthenings, arrest),
        summary=summary_of(lengthenings, arrest),
        lengthenings=lengthenings,
        arrest=arrest,
        prosthetic=False,
        within_protocol=not against and not kinds & problem.wishes.declined,
        predicted_mm=problem.growth.predicted_mm,
        residual_mm=float(outlook(problem.growth.posterior.central(), steps, last).at_maturity()[0]),
        operations=_base_sittings(graph) + 2 * len(lengthenings) + own_sitting,
        device_months=in_months(days),
        months_over=problem.months_over(lengthenings, arrest),
        height_lost_mm=arrest.effect_mm if arrest else 0.0,
    )


def _base_sittings(graph: ChildGraph) -> int:
    """Return the operations that every course has, those of one sitting counted once, of a lengthening's not at all."""
    base = {
        item.id
        for item in graph.stages
        if item.state == "planned"
        and item.stage.operation
        and (item.stage.lane != "length" or _of_device_on(item.id, graph))
    }
    together = {
        edge.later
        for edge in graph.edges
        if edge.rule.together and edge.rule.at_most_months == 0 and {edge.earlier, edge.later} <= base
    }
    with_step = {
        edge.earlier
        for edge in graph.edges
        if edge.rule.together and edge.rule.at_most_months == 0 and graph.stage(edge.later).role == "lengthening"
    }
    return len(base - together - with_step)


def _of_device_on(id: str, graph: ChildGraph) -> bool:
    """Return whether a stage is the removal of a device that is on the bone, or inside it, today."""
    if graph.stage(id).role == "implant_removal":
        return True
    leader = graph.leader(id)
    return leader is not None and leader.state == "under_way"


def prosthetic_course(problem: CourseProblem) -> Course:
    """Return the prosthetic pathway as a course: nothing of it is measured by length."""
    return Course(
        id=PROSTHETIC_COURSE,
        summary="prosthetic pathway instead of lengthening",
        lengthenings=(),
        arrest=None,
        prosthetic=True,
        within_protocol=True,
        predicted_mm=problem.growth.predicted_mm,
        residual_mm=problem.growth.predicted_mm,
        operations=1,
        device_months=0.0,
        months_over=0.0,
        height_lost_mm=0.0,
    )


def prosthetic_first(graph: ChildGraph) -> bool:
    """Return whether the prosthetic road comes before lengthening: by its grounds, or because a bone is left out."""
    standing = graph.standing
    return (standing is not None and standing.prosthetic_first) or a_bone_is_outside(graph)


def a_bone_is_outside(graph: ChildGraph) -> bool:
    """Return whether some bone can be lengthened in no way within the protocol."""
    possible = [item for item in graph.of_role("lengthening") if item.state == "possible"]
    bones = {item.stage.bone for item in possible}
    return any(all(not item.within_protocol for item in possible if item.stage.bone == bone) for bone in bones)


def _within(course: Course | None) -> bool:
    return course is not None and course.within_protocol


def _weighed(course: Course, best: Course, large_mm: float) -> Iterator[str]:
    """Yield what speaks most against a course beside the best, then what both weigh in all."""
    mine, its = course.ends, best.ends
    if mine is None or its is None:
        yield "chosen by family or team: no chances are worked out"
        return
    yield from list(_against(mine, its, large_mm))[:REASONS]
    more = course.points - best.points
    yield f"{abs(more):.1f} {'worse' if more >= 0 else 'better'} by the weights of the rules"


def _against(mine: Ends, its: Ends, large_mm: float) -> Iterator[str]:
    """Yield where one ends worse than the other, by the figures as they are shown of each."""
    near = [f"{100 * round(min(one.within[-1], 1.0), 3):.0f}" for one in (mine, its)]
    if int(near[0]) < int(near[1]):
        yield f"ends within {mine.within_mm[-1] / 10:g} cm in {near[0]} of 100, not {near[1]}"
    harm = round(100 * mine.harm) - round(100 * its.harm)
    if harm > 0:
        yield f"{harm} more {'child' if harm == 1 else 'children'} of 100 with lasting harm"
    counted = (
        ("more operations on average", mine.planned + mine.unplanned, its.planned + its.unplanned, 1),
        (f"more months over {large_mm / 10:g} cm on average", mine.months_over_mm[0], its.months_over_mm[0], 0),
        ("more months with a device on average", mine.device_months, its.device_months, 0),
    )
    for words, one, two, digits in counted:
        more = round(round(one, digits) - round(two, digits), digits)
        if more > 0:
            yield f"{more:.{digits}f} {words}"


def _not_beaten(found: list[Course]) -> list[Course]:
    """Return the courses with those marked that none within the protocol beats: less burden and a better chance.

    All is as it usually happens: operations, months with a device, adult height lost, and the chance to end within
    the accepted difference, in whole parts of 100 as it is stated.
    """

    def weighed(course: Course) -> tuple[float, float, float, float] | None:
        if course.ends is None or not course.within_protocol:
            return None
        ends = course.ends
        chance = round(100 * ends.within[-1])
        operations = round(ends.planned + ends.unplanned, 1)
        return operations, round(ends.device_months, 1), round(float(ends.height_lost_mm.mean())), -chance

    own = [weighed(course) for course in found]

    def beaten(mine: tuple[float, ...]) -> bool:
        return any(
            rival is not None and rival != mine and all(a <= b for a, b in zip(rival, mine, strict=True))
            for rival in own
        )

    return [
        replace(course, not_beaten=mine is not None and not beaten(mine))
        for course, mine in zip(found, own, strict=True)
    ]
