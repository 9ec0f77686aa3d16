"""Windows and dates of invented children, without growth: the course is said outright."""

from __future__ import annotations

import datetime

from pathway.network import Conflict
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.rule_engine.graph import ChildGraph
from pathway.timing.rule_links import Placed
from pathway.timing.schedule import Timetable, timetable
from tests.rule_engine.graphs import graph_of
from tests.sample import ON

Course = dict[str, Placed]


def planned(graph: ChildGraph) -> Course:
    """Return the course of the stages that are planned whatever is chosen."""
    return {item.id: Placed() for item in graph.stages if item.state == "planned"}


def lengthening(number: int, age: float | None, amount_mm: float = 50.0, bone: str = "femoral") -> Course:
    """Return one lengthening of a course with its followers."""
    followers = ["device_removal"]
    course = {f"{bone}_lengthening_{number}": Placed(age, amount_mm)}
    course |= {f"{bone}_{name}_{number}": Placed() for name in followers}
    if bone == "femoral":
        course[f"hip_surveillance_{number}"] = Placed()
    return course


def schedule(
    record: Record,
    protocol: Protocol,
    *parts: Course,
    on: datetime.date = ON,
    predicted: dict[str, float] | None = None,
) -> Timetable | Conflict:
    graph = graph_of(record, protocol, predicted or {}, on) if predicted else graph_of(record, protocol, on=on)
    course = planned(graph)
    for part in parts:
        course |= part
    return timetable(graph, course, Question(record, protocol, on))


def dates(*args: object, **named: object) -> Timetable:
    """Return the timetable of a course that can be scheduled."""
    answer = schedule(*args, **named)  # type: ignore[arg-type]
    assert isinstance(answer, Timetable), answer
    return answer
