"""Wrong plans: a good plan with one thing changed, and the rule that the judge must name."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from pathway.days import add_months, age_years
from pathway.plan.model import Course, GateState, Plan, PlanStage
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.record import BlockedWeeks, CaseCalendar, Record
from tests.made_once import made_once
from tests.sample import HEALTHY, LEGS, ON, SHALLOW_AND_BENT, at_age, child, decision, five_year_old, operation, visit

Change = Callable[[Plan], Plan]
YOUNG_ON = at_age(2) + datetime.timedelta(days=7)


WISHES = (
    decision("no_device", by="family", from_date=at_age(7), to_date=at_age(9.5)),
    decision("finish_before", by="family", before=at_age(17)),
    decision("at_most_lengthenings", by="family", number=2),
)


@cache
def records() -> dict[str, tuple[Record, datetime.date]]:
    """Return the children whose good plans are made wrong, each with the day of its plan."""
    small = {name: mm * 0.6 for name, mm in LEGS.items()}
    both = {**LEGS, "affected.femur_length_mm": 215.0, "affected.tibia_length_mm": 180.0}
    longer = {**HEALTHY, **LEGS, "affected.femur_length_mm": 225.0, "regenerate": "remodelled"}
    lengthened = operation("femoral_lengthening", at_age(3.2), achieved_mm=50, device_removed=at_age(3.8))
    blocked = decision("block_dates", by="family", from_date=at_age(11), to_date=at_age(11.4))
    tuesdays = CaseCalendar(operating_weekdays=("tuesday",))
    weeks = BlockedWeeks(reason="theatre rebuilt", from_date=at_age(7.3), to_date=at_age(7.6))
    closed = CaseCalendar(blocked=(weeks,))
    return {
        "bent": (five_year_old(SHALLOW_AND_BENT), ON),
        "young": (child(visit(at_age(2), {**HEALTHY, **small})), YOUNG_ON),
        "both bones": (child(visit(at_age(5), {**HEALTHY, **both})), ON),
        "lengthened": (child(visit(at_age(5), longer), operations=(lengthened,)), ON),
        "blocked": (five_year_old(decisions=(blocked,)), ON),
        "wishes": (five_year_old(decisions=WISHES), ON),
        "at the limit": (five_year_old({**HEALTHY, "center_edge_angle_deg": 20.0}), ON),
        "on Tuesdays": (five_year_old(SHALLOW_AND_BENT).model_copy(update={"calendar": tuesdays}), ON),
        "closed": (five_year_old(SHALLOW_AND_BENT).model_copy(update={"calendar": closed}), ON),
        "infected": (five_year_old({**SHALLOW_AND_BENT, "active_infection": True}), ON),
    }


@cache
def good(name: str) -> Plan:
    record, on = records()[name]
    return made_once(Question(record, load_protocol(), on))


def with_stages(plan: Plan, stages: list[PlanStage]) -> Plan:
    return plan.model_copy(update={"stages": tuple(stages)})


def stage(id: str, **update: object) -> Change:
    """Change fields of one stage."""

    def change(plan: Plan) -> Plan:
        assert plan.stage(id)
        return with_stages(plan, [s.model_copy(update=update) if s.id == id else s for s in plan.stages])

    return change


def moved(id: str, to: Callable[[Plan], datetime.date], *, age: bool = True) -> Change:
    """Move a stage to another day and everything that the plan itself says about that day with it."""

    def change(plan: Plan) -> Plan:
        old, day = plan.stage(id), to(plan)
        assert old.date is not None
        assert old.end_date is not None
        born = plan.child.date_of_birth
        update: dict[str, object] = {"date": day, "end_date": day + (old.end_date - old.date), "window": None}
        if old.window is not None:
            low, high = old.window.earliest, old.window.latest
            wide = {"earliest": min(low, day), "latest": None if high is None else max(high, day)}
            update["window"] = old.window.model_copy(update=wide)
        if age:
            update["age_years"] = round(age_years(born, day), 3)
        return stage(id, **update)(plan)

    return change


def without(id: str) -> Change:
    def change(plan: Plan) -> Plan:
        kept = [s for s in plan.stages if s.id != id]
        assert len(kept) == len(plan.stages) - 1
        return with_stages(plan, kept)

    return change


def amount(id: str, mm: float | None) -> Change:
    """Change an amount in the stage and in the course, and keep the course's sum right."""

    def change(plan: Plan) -> Plan:
        best = plan.recommended
        assert best is not None
        old = plan.stage(id).amount_mm or 0.0
        more = (mm or 0.0) - old
        stages = tuple(s.model_copy(update={"amount_mm": mm}) if s.id == id else s for s in best.stages)
        update = {
            "stages": stages,
            "corrections_mm": best.corrections_mm + more,
            "median_residual_mm": best.median_residual_mm - more,
        }
        return course(update)(stage(id, amount_mm=mm)(plan))

    return change


def course(update: dict[str, object]) -> Change:
    """Change the recommended course."""

    def change(plan: Plan) -> Plan:
        def swapped(one: Course) -> Course:
            return one.model_copy(update=update) if one.recommended else one

        return plan.model_copy(update={"alternatives": tuple(swapped(one) for one in plan.alternatives)})

    return change


def gate(stage_id: str, gate_id: str, **update: object) -> Change:
    """Change fields of one gate of one stage; `verdict` takes a mapping of fields of its verdict."""

    def change(plan: Plan) -> Plan:
        def swapped(one: GateState) -> GateState:
            if one.id != gate_id:
                return one
            fields = dict(update)
            if "verdict" in fields:
                fields["verdict"] = one.verdict.model_copy(update=fields["verdict"])  # type: ignore[call-overload]
            return one.model_copy(update=fields)

        gates = plan.stage(stage_id).gates
        assert gate_id in {one.id for one in gates}
        return stage(stage_id, gates=tuple(swapped(one) for one in gates))(plan)

    return change


def gate_dropped(stage_id: str, gate_id: str) -> Change:
    def change(plan: Plan) -> Plan:
        gates = plan.stage(stage_id).gates
        return stage(stage_id, gates=tuple(one for one in gates if one.id != gate_id))(plan)

    return change


def before(id: str, months: int) -> Callable[[Plan], datetime.date]:
    """Return a working day so many months after the start of a stage, and a week less."""

    def day(plan: Plan) -> datetime.date:
        return working(add_months(plan.stage(id).date or ON, months) - datetime.timedelta(days=7))

    return day


def working(day: datetime.date) -> datetime.date:
    return day - datetime.timedelta(days=max(0, day.weekday() - 4))


@dataclass(frozen=True)
class Wrong:
    """A change that makes a good plan wrong, and the rule that it breaks."""

    name: str
    of: str
    change: Change
    rule: str
