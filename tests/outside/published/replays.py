"""A published course beside the plan of the child built to it: in what the two agree, by the tolerances of print.

What is expected of a course lies in `courses.toml`. Each function says in words where a plan departs from one kind of
that.
"""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from pathway.days import add_months, age_years
from pathway.plan.make import make_plan
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import Operation, Record
from tests.sample import BORN, HEALTHY, LEGS, OF_CHILD, at_age, child, decision, operation, visit

PROTOCOL = load_protocol()
_FILE: dict[str, Any] = tomllib.loads((Path(__file__).parent / "courses.toml").read_text(encoding="utf-8"))
COURSES: list[dict[str, Any]] = _FILE["course"]
REASONS: tuple[str, ...] = tuple(_FILE["reasons"])
TOLERANCE: Mapping[str, float] = _FILE["tolerance"]

LENGTHENINGS = tuple(kind.id for kind in PROTOCOL.stages if kind.role == "lengthening")
ON_PROSTHETIC_ROAD = {kind.id for kind in PROTOCOL.stages if kind.road == "prosthetic"}
_BEGUN = ("done", "under_way")


def record_of(course: Mapping[str, Any]) -> Record:
    """Return the invented child of a course, examined once at the age of the entry."""
    seen = at_age(course["age_years"])
    both = course.get("both_sides", False)
    lengths = {name: float(mm) for name, mm in zip(LEGS, course.get("legs", ()), strict=False) if mm}
    known = {**HEALTHY, **lengths, **course.get("findings", {})}
    if both:
        known |= {f"other.{name}": value for name, value in HEALTHY.items() if name not in OF_CHILD}
        known |= {f"other.{name}": value for name, value in course.get("right", {}).items()}
    wish = course.get("wish")
    return child(
        visit(seen, known),
        diagnosis=course["diagnosis"],
        sex=course["sex"],
        side="both" if both else "left",
        operations=tuple(_operation(item) for item in course.get("done", ())),
        decisions=(decision("prefer", prefer=wish, date=seen),) if wish else (),
    )


def _operation(item: Mapping[str, Any]) -> Operation:
    day = at_age(item["age_years"])
    lengthened = {}
    if "mm" in item:
        lengthened = {"achieved_mm": item["mm"], "device_removed": add_months(day, item["months"])}
    if "complications" in item:
        lengthened["complications"] = tuple(item["complications"])
    return operation(item["kind"], day, side=item.get("side", "left"), **lengthened)


@cache
def plan_of(id: str) -> Plan:
    """Return the plan of a course's child two weeks after the visit: made when it is first asked for."""
    course = next(item for item in COURSES if item["id"] == id)
    on = at_age(course["age_years"]) + datetime.timedelta(days=14)
    return make_plan(Question(record_of(course), PROTOCOL, on), compared="beside" in course["expected"])


def departures(course: Mapping[str, Any], of: str) -> list[str]:
    """Return in words where the plan departs from what print has `of` one kind (`KINDS`); empty where it agrees."""
    if of not in course["expected"]:
        return []
    return list(KINDS[of](plan_of(course["id"]), course["expected"][of]))


def departing(course: Mapping[str, Any]) -> list[str]:
    """Return of which kinds the plan departs from print."""
    return [of for of in KINDS if departures(course, of)]


def _road(plan: Plan, printed: str) -> Iterator[str]:
    stands = plan.roads.stands if plan.roads is not None else "lengthening"
    if stands != printed:
        yield f"the road stands as {stands}, print has {printed}"


def _order(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    if ON_PROSTHETIC_ROAD.isdisjoint(_kind(name) for name in printed):
        ours = lengthening_order(plan)
        if ours != list(printed):
            yield f"the operations come as {', '.join(ours) or 'none'}"
        return
    begins = [_begins(plan, name) for name in printed]
    missing = [name for name, day in zip(printed, begins, strict=True) if day is None]
    if missing:
        yield f"{', '.join(missing)} not in the plan"
        return
    days = [day for day in begins if day is not None]
    if days != sorted(days):
        yield "they come as " + ", ".join(name for _, name in sorted(zip(days, printed, strict=True)))


def lengthening_order(plan: Plan) -> list[str]:
    """Return the kinds of dated operation, each at its first time, removals of implants and devices aside."""
    dated = [s for s in plan.stages if s.date and s.operation and s.status not in _BEGUN]
    kinds = [s.kind for s in sorted(dated, key=lambda one: (one.date, one.number)) if not s.kind.endswith("_removal")]
    return list(dict.fromkeys(kinds))


def _ages(plan: Plan, printed: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    slack = TOLERANCE["stage_months"] / 12
    for item in printed:
        low, high = _range(item["years"])
        span = ages_of(plan, item["stage"])
        if span is None:
            yield f"{item['stage']} has no age"
        elif span[0] > high + slack or span[1] < low - slack:
            yield f"{item['stage']} comes at {_years(span)} y, print has {_years((low, high))}"


def ages_of(plan: Plan, name: str) -> tuple[float, float] | None:
    """Return from when to when a stage starts, in years: its date, or its window on the prosthetic road."""
    for one in _matching(plan, name):
        if one.date is not None and one.age_years is not None:
            return one.age_years, one.age_years
        if one.window is not None:
            latest = one.window.latest or one.past_usual
            last = age_years(BORN, max(latest, one.window.earliest)) if latest else float("inf")
            return age_years(BORN, one.window.earliest), last
    return None


def _amounts(plan: Plan, printed: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    for item in printed:
        low, high = _range(item["mm"])
        ours = next((one.amount_mm for one in _matching(plan, item["stage"]) if one.date), None)
        if ours is None:
            yield f"{item['stage']} has no amount"
        elif not low - TOLERANCE["amount_mm"] <= ours <= high + TOLERANCE["amount_mm"]:
            yield f"{item['stage']} gains {ours:g} mm, print has {_years((low, high))}"


def _lengthenings(plan: Plan, printed: int) -> Iterator[str]:
    ours = sum(one.kind in LENGTHENINGS and one.date is not None and one.status not in _BEGUN for one in plan.stages)
    if abs(ours - printed) > TOLERANCE["lengthenings"]:
        yield f"{ours} lengthenings, print has {printed}"


def _operations(plan: Plan, printed: tuple[int, int]) -> Iterator[str]:
    """Count what a child who goes the printed road of ablation meets: rotationplasty is instead of it."""
    ids = plan.roads.prosthetic if plan.roads is not None else ()
    ours = sum(plan.stage(id).operation and plan.stage(id).kind != "rotationplasty" for id in ids)
    if not printed[0] <= ours <= printed[1]:
        yield f"{ours} operations on the road, print has {printed[0]} to {printed[1]}"


def _offers(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    yield from (f"{name} is not in the plan" for name in printed if not _matching(plan, name))


def _refuses(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    named = {item.stage for item in plan.refused}
    for name in printed:
        if _kind(name) not in named and any(not spoken_against(one) for one in _matching(plan, name)):
            yield f"{name} is offered and nothing speaks against it"


def spoken_against(one: PlanStage) -> bool:
    """Return whether the plan says why a stage should not be done: a contraindication or a gate that fails."""
    return any(reason.against for reason in one.because) or any(gate.state == "fails" for gate in one.gates)


def _beside(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    found = {stage.kind for course in plan.alternatives for stage in course.stages}
    yield from (f"no course has {name}" for name in printed if name not in found)


def _together(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    days = [_begins(plan, name) for name in printed]
    if None in days or len(set(days)) > 1:
        yield f"{' and '.join(printed)} are not in one sitting"


def _done(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    ours = sorted(f"{one.kind} {one.side}" for one in plan.stages if one.status in _BEGUN)
    if ours != sorted(printed):
        yield f"shown as done: {', '.join(ours)}"


def _undated(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    yield from (f"{name} is dated" for name in printed if any(one.date for one in _matching(plan, name)))


def _gates(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    asked = {gate.id for one in plan.stages for gate in one.gates}
    yield from (f"{gate} is not asked" for gate in printed if gate not in asked)


def _passes(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    held = {gate.id for one in plan.stages for gate in one.gates if gate.state == "holds"}
    yield from (f"{gate} does not hold" for gate in printed if gate not in held)


def _says(plan: Plan, printed: Sequence[str]) -> Iterator[str]:
    texts = [
        *(item.text for item in plan.cautions),
        *(item.because for item in plan.refused),
        *(one.what for one in plan.stages),
        *(reason.text for one in plan.stages for reason in one.because),
        *(reason.text for reason in (plan.roads.because if plan.roads is not None else ())),
    ]
    yield from (f"nowhere is said “{words}”" for words in printed if not any(words in text for text in texts))


def _classes(plan: Plan, printed: Mapping[str, str]) -> Iterator[str]:
    found = {item.system: item.type for item in plan.classification}
    yield from (f"{name} is {found.get(name)}, not {type}" for name, type in printed.items() if found.get(name) != type)


KINDS: Mapping[str, Callable[[Plan, Any], Iterator[str]]] = {
    "road": _road,
    "order": _order,
    "ages": _ages,
    "amounts": _amounts,
    "lengthenings": _lengthenings,
    "operations": _operations,
    "offers": _offers,
    "refuses": _refuses,
    "beside": _beside,
    "undated": _undated,
    "together": _together,
    "done": _done,
    "gates": _gates,
    "passes": _passes,
    "says": _says,
    "classes": _classes,
}
"""What may be expected of a course: every key of `expected` is one of these."""


def _matching(plan: Plan, name: str) -> list[PlanStage]:
    """Return the stages to come of a kind or an id, of one side where one is named (“knee_fusion left”)."""
    kind, _, side = name.partition(" ")
    found = [one for one in plan.stages if kind in (one.kind, one.id) and one.status not in _BEGUN]
    return [one for one in found if side in ("", one.side)]


def _kind(name: str) -> str:
    return name.partition(" ")[0]


def _begins(plan: Plan, name: str) -> datetime.date | None:
    starts = [one.date or (one.window.earliest if one.window else None) for one in _matching(plan, name)]
    return min((day for day in starts if day is not None), default=None)


def _range(value: float | Sequence[float]) -> tuple[float, float]:
    return (value, value) if isinstance(value, int | float) else (value[0], value[1])


def _years(span: tuple[float, float]) -> str:
    return f"{span[0]:.3g}" if span[0] == span[1] else f"{span[0]:.3g} to {span[1]:.3g}"
