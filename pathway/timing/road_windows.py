"""When the stages of the prosthetic road usually come: windows by print and in their order, never a date."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass

from pathway.network import Conflict, Link, windows
from pathway.protocol.question import Question
from pathway.rule_engine.graph import ChildGraph, StageItem
from pathway.timing.rule_links import ORIGIN, RuleLinks, age_windows


@dataclass(frozen=True, slots=True)
class RoadWindow:
    """The span in which a stage usually starts; `latest` is None where nothing bounds it, or its usual age is past.

    `past_usual` is the day on which the usual ages ended, for a stage that can only come later than that.
    """

    earliest: datetime.date
    latest: datetime.date | None
    past_usual: datetime.date | None = None


def road_windows(graph: ChildGraph, question: Question) -> Mapping[str, RoadWindow]:
    """Return the window of every stage of the prosthetic road that is not done, by id.

    Usual ages bound it as far as they agree with the day of the plan and with the order of the road; none where the
    hard rules of the road contradict each other.
    """
    own = {item.id: item for item in graph.stages if item.stage.road == "prosthetic" and item.state != "unknown"}
    if not own:
        return {}
    builder = RuleLinks(graph, question)
    links = builder.all(own, {})
    solved = windows(links, ORIGIN)
    if isinstance(solved, Conflict):
        return {}
    past: dict[str, datetime.date] = {}
    # By when they usually begin: what comes first keeps its usual ages, and what follows is moved by it.
    for item in sorted(own.values(), key=lambda one: _usual_start(one, question)):
        for wish in () if item.begun else _usual(item, builder):
            trial = windows([*links, wish], ORIGIN)
            if not isinstance(trial, Conflict):
                links.append(wish)
                solved = trial
            elif wish.at_most_days is not None:
                past[item.id] = builder.day(wish.at_most_days)
    found = {}
    for id, item in own.items():
        if item.begun:
            continue
        span = solved[f"{id}.start"]
        earliest = builder.day(span.earliest_day)
        latest = None if id in past or span.latest_day is None else builder.day(span.latest_day)
        found[id] = RoadWindow(earliest, latest, past.get(id))
    return found


def _usual(item: StageItem, builder: RuleLinks) -> list[Link]:
    """Return the wishes for the usual ages of a stage: not before their start, not after their end."""
    wishes = []
    for rule in builder.age_windows(item, hard=False):
        if rule.at_least_months is not None:
            wishes.append(builder.from_birth(item, rule.at_least_months, None, rule.id))
        if rule.at_most_months is not None:
            wishes.append(builder.from_birth(item, None, rule.at_most_months, rule.id))
    return wishes


def _usual_start(item: StageItem, question: Question) -> tuple[int, int]:
    rules = age_windows(item, question.record.child.sex, question.protocol, hard=False)
    return max((rule.at_least_months or 0 for rule in rules), default=0), item.stage.rank
