"""The links of the rules into windows: when each stage may start, whatever course is chosen."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from pathway.days import day_at_age, days_between
from pathway.growth import growth_curve
from pathway.network import Conflict, Link, Window, windows
from pathway.protocol.model import Bone
from pathway.protocol.question import Question
from pathway.protocol.roles import with_role
from pathway.rule_engine.graph import ChildGraph, StageItem
from pathway.timing.rule_links import MATURITY, ORIGIN, RuleLinks, birthday, examination


@dataclass(frozen=True, slots=True)
class Timeline:
    """Windows of every event in days after birth, and the lengthenings for which no time is left.

    Events are the starts and ends of stages (`hip_preparation_1.start`), the examinations before them, the
    birthdays that age rules name, and the end of growth.
    """

    windows: Mapping[str, Window]
    impossible: Mapping[str, Conflict]

    def start(self, stage: str) -> Window | None:
        """Return the window of a stage's start, or None when the stage has no place in the network."""
        return self.windows.get(f"{stage}.start")

    def end(self, stage: str) -> Window | None:
        """Return the window of a stage's end, or None when the stage has no place in the network."""
        return self.windows.get(f"{stage}.end")

    def examination(self, stage: str) -> Window | None:
        """Return the window of the examination before a stage, or None when it has no gate to come."""
        return self.start(examination(stage))

    def birthday(self, months: int) -> Window | None:
        """Return the day on which the child is so many months old, or None where no age rule names it."""
        return self.windows.get(birthday(months))

    @property
    def maturity(self) -> Window:
        """Return the day of skeletal maturity."""
        return self.windows[MATURITY]


def stage_windows(
    graph: ChildGraph,
    question: Question,
    *,
    mature_age_years: float | None = None,
    grown_from_years: Callable[[Bone, float], float] | None = None,
) -> Timeline | Conflict:
    """Return the windows that the rules leave, whatever course is chosen, or the rules that contradict.

    Lengthenings are added one by one while the network stays consistent; those that no longer fit are
    `impossible`, each with its conflict. Without `mature_age_years` growth ends where the curve's does.
    `grown_from_years` gives the age from which a bone has so little left to grow; without it what binds only while
    a bone grows binds always.
    """
    if mature_age_years is None:
        mature_age_years = growth_curve(question.protocol, question.record.child.sex).mature_age_years
    builder = RuleLinks(graph, question, any_course=grown_from_years is not None, mature_age_years=mature_age_years)
    floors: list[Link] = []
    known = list(builder.known_days(graph.stages, mature_age_years))
    fixed = [item for item in graph.stages if item.begun or item.state == "planned"]
    placed = {item.id: item for item in fixed if not _optional_follower(item, graph)}
    solved = windows([*known, *builder.all(placed, {})], ORIGIN)
    if isinstance(solved, Conflict):
        return solved
    impossible: dict[str, Conflict] = {}
    for kind in with_role("lengthening", question.protocol):
        for item in graph.of_kind(kind.id):
            if item.state != "possible":
                continue
            trial = {**placed, item.id: item}
            # Each way of lengthening is tried alone: how the two bones share the years is the strategy's.
            links = builder.all({id: other for id, other in trial.items() if _beside(item, other)}, {})
            if grown_from_years is not None:
                floors += _until_grown(item, builder, solved, grown_from_years)
                links += floors
            answer = windows(links, ORIGIN)
            if isinstance(answer, Conflict):
                impossible[item.id] = answer
                break
            placed = trial
            # One more that may follow leaves what comes before it alone: it need not follow.
            solved = {**answer, **solved}
    return Timeline(solved, impossible)


def _until_grown(
    item: StageItem, builder: RuleLinks, solved: Mapping[str, Window], grown_from_years: Callable[[Bone, float], float]
) -> Iterator[Link]:
    """Yield when a lengthening may come by the rules that bind only while its bone grows: by them, or once grown."""
    for edge in builder.graph.edges_into(item.id):
        limit, bone = edge.rule.while_growth_left_mm, item.stage.bone
        before = solved.get(f"{edge.earlier}.{edge.earlier_point}")
        if limit is None or bone is None or before is None or edge.past:
            continue
        grown = days_between(builder.born, day_at_age(builder.born, grown_from_years(bone, limit)))
        yield builder.until_grown(edge, builder.day(before.earliest_day), grown)


def _beside(item: StageItem, other: StageItem) -> bool:
    """Return whether another stage is placed where a possible lengthening is tried: of its bone only what must be."""
    if other.stage.bone is None or other.kind == item.kind:
        return True
    return other.stage.bone == item.stage.bone and other.begun


def _optional_follower(item: StageItem, graph: ChildGraph) -> bool:
    earlier = (graph.stage(edge.earlier) for edge in graph.edges_into(item.id) if not edge.past)
    return item.state == "planned" and any(other.state == "possible" for other in earlier)
