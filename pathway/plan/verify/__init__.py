"""The judge: re-reads a finished plan against the rules and the calendar, with code of its own.

It shares nothing with staging, timing or strategy. It takes dates from the plan, months from the rules and
counts with the calendar; it recomputes limits from the bone lengths that the plan states.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator

from pathway.days import add_months, age_years
from pathway.plan.model import AgePoint, Plan, PlanStage
from pathway.plan.verify.accompanying import accompanying_breaches
from pathway.plan.verify.breach import TOLERANCE_MM, Breach
from pathway.plan.verify.calendar import calendar_breaches
from pathway.plan.verify.devices import days_per_cm, device_breaches, follows, hardly_grows
from pathway.plan.verify.gates import gate_breaches, span_breaches
from pathway.plan.verify.roads import both_sided_breaches, road_breaches
from pathway.plan.verify.sittings import sitting_breaches, untold_warnings
from pathway.plan.verify.wishes import wish_breaches
from pathway.protocol.model import AgeWindow, Interval, Protocol
from pathway.record import Record

__all__ = ["Breach", "check_plan"]


def check_plan(plan: Plan, record: Record, protocol: Protocol) -> tuple[Breach, ...]:
    """Return every breach of the rules in a plan; none for a plan that may be shown."""
    if record.child.affected_side == "both":
        return (*both_sided_breaches(plan, record, protocol), *_words(plan, record, protocol))
    found = [
        *_order_and_windows(plan, record),
        *gate_breaches(plan, record, protocol),
        *span_breaches(plan, protocol),
        *_intervals(plan, protocol),
        *_ages(plan, record, protocol),
        *_amounts(plan, record, protocol),
        *_balance(plan),
        *sitting_breaches(plan, protocol),
        *untold_warnings(plan, protocol, lambda stage: _length_before(plan, stage, record, protocol)),
        *_followers(plan, protocol),
        *device_breaches(plan, record, protocol),
        *_done(plan, record),
        *accompanying_breaches(plan, record, protocol),
        *calendar_breaches(plan, record, protocol),
        *wish_breaches(plan, record, protocol),
        *_declined(plan, record),
        *_against(plan, protocol),
        *_sides(plan, record),
        *road_breaches(plan, protocol),
        *_words(plan, record, protocol),
    ]
    return tuple(found)


def _dated(plan: Plan) -> list[PlanStage]:
    return [stage for stage in plan.stages if stage.date is not None]


def _planned(plan: Plan) -> list[PlanStage]:
    return [stage for stage in _dated(plan) if stage.status not in ("done", "under_way")]


def _day(stage: PlanStage) -> datetime.date:
    if stage.date is None:
        raise ValueError(f"{stage.id} has no date")
    return stage.date


def _order_and_windows(plan: Plan, record: Record) -> Iterator[Breach]:
    for stage in _planned(plan):
        if stage.window is None:
            yield Breach("window", stage.id, f"{stage.id} has a date and no window")
            continue
        low, high = stage.window.earliest, stage.window.latest
        if _day(stage) < low or (high is not None and _day(stage) > high):
            yield Breach("window", stage.id, f"{stage.id} on {stage.date} lies outside {low} to {high}")
        if stage.end_date is None or stage.end_date < _day(stage):
            yield Breach("order", stage.id, f"{stage.id} ends before it starts, or never")
        if stage.age_years is not None:
            age = age_years(record.child.date_of_birth, _day(stage))
            if abs(age - stage.age_years) > 0.002:
                yield Breach("age", stage.id, f"{stage.id} states age {stage.age_years}, its date gives {age:.3f}")


def _event(stage: PlanStage, point: str) -> datetime.date | None:
    return stage.date if point == "start" else stage.end_date


def _intervals(plan: Plan, protocol: Protocol) -> Iterator[Breach]:
    for rule in protocol.intervals:
        earlier = [stage for stage in _dated(plan) if stage.kind == rule.earlier_stage]
        later = [stage for stage in _dated(plan) if stage.kind == rule.later_stage]
        for one, other in _interval_pairs(rule, earlier, later):
            if not hardly_grows(plan, other, rule.while_growth_left_mm, protocol):
                yield from _one_interval(rule, one, other)


def _interval_pairs(
    rule: Interval, earlier: list[PlanStage], later: list[PlanStage]
) -> Iterator[tuple[PlanStage, PlanStage]]:
    for one in earlier:
        for other in later:
            undone_first = rule.either_order and one.status not in ("done", "under_way")
            if one.id == other.id or (other.status in ("done", "under_way") and not undone_first):
                continue
            paired = rule.paired or (rule.at_most_months == 0 and rule.earlier.endswith(".end"))
            if rule.next and other.number != one.number + 1:
                continue
            if paired and one.number != other.number:
                continue
            if rule.together and {"done", "under_way"} & {one.status, other.status}:
                continue
            if rule.together and rule.at_most_months is not None and other.number != _first_to_come(later):
                continue
            yield one, other


def _first_to_come(stages: list[PlanStage]) -> int | None:
    return min((stage.number for stage in stages if stage.status not in ("done", "under_way")), default=None)


def _one_interval(rule: Interval, one: PlanStage, other: PlanStage) -> Iterator[Breach]:
    if rule.either_order and _day(other) < _day(one):
        start, end = other.end_date, one.date
    else:
        start = _event(one, rule.earlier.rpartition(".")[2])
        end = _event(other, rule.later.rpartition(".")[2])
    if start is None or end is None:
        return
    if rule.at_least_months is not None and end < add_months(start, rule.at_least_months):
        text = f"{other.id} on {end} comes less than {rule.at_least_months} months after {one.id} ({start})"
        yield Breach(rule.id, other.id, text)
    if rule.at_most_months is not None and end > add_months(start, rule.at_most_months):
        text = f"{other.id} on {end} comes more than {rule.at_most_months} months after {one.id} ({start})"
        yield Breach(rule.id, other.id, text)


def _ages(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    born = record.child.date_of_birth
    for stage in _planned(plan):
        for rule in protocol.age_windows:
            applies = rule.stage == stage.kind and rule.hard and rule.number in (None, stage.number)
            if not applies or rule.sex not in (None, record.child.sex):
                continue
            if rule.at_least_months is not None and _day(stage) < add_months(born, rule.at_least_months):
                yield Breach(rule.id, stage.id, f"{stage.id} on {stage.date} is before {rule.at_least_months} months")
            if rule.at_most_months is not None and _day(stage) > _last_day(rule, plan, born):
                yield Breach(rule.id, stage.id, f"{stage.id} on {stage.date} is after {rule.at_most_months} months")


def _last_day(rule: AgeWindow, plan: Plan, born: datetime.date) -> datetime.date:
    """Return the last day of an age rule: some time after growth where the rule says so and that is later."""
    last = add_months(born, rule.at_most_months or 0)
    if rule.or_after_growth_months is None or plan.growth.at_maturity is None:
        return last
    grown = add_months(born, int(12 * plan.growth.mature_age_years))
    return max(last, add_months(grown, rule.or_after_growth_months))


def _amounts(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    step, least = protocol.number("amount_step_mm"), protocol.number("least_lengthening_mm")
    for stage in _planned(plan):
        bone = protocol.stage(stage.kind).bone
        if bone is None:
            continue
        if stage.amount_mm is None or stage.amount_mm < least:
            yield Breach("least_lengthening_mm", stage.id, f"{stage.id} gains {stage.amount_mm} mm, least is {least:g}")
            continue
        if abs(stage.amount_mm / step - round(stage.amount_mm / step)) > 1e-9:
            yield Breach("amount_step_mm", stage.id, f"{stage.id} gains {stage.amount_mm} mm, not a step of {step:g}")
        days = stage.amount_mm / 10 * days_per_cm(stage, bone, protocol)
        if stage.end_date is not None and (stage.end_date - _day(stage)).days < int(days):
            text = f"{stage.id} ends on {stage.end_date}, its {stage.amount_mm:g} mm take {days:.0f} days"
            yield Breach(f"{bone}_days_per_cm", stage.id, text)
        age = age_years(record.child.date_of_birth, _day(stage))
        length = _length_before(plan, stage, record, protocol)
        for rule in protocol.amount_limits:
            if rule.stage != stage.kind or rule.warns or not rule.from_age_years <= age < rule.to_age_years:
                continue
            if rule.when is not None and rule.id not in {note.rule for note in stage.amount_limits}:
                continue
            limit = rule.most_mm if rule.most_mm is not None else None
            if rule.most_percent is not None and length is not None:
                limit = rule.most_percent / 100 * (length + TOLERANCE_MM * 2)
            if limit is not None and stage.amount_mm > limit + 1e-6:
                yield Breach(
                    rule.id,
                    stage.id,
                    f"{stage.id} gains {stage.amount_mm:g} mm, {rule.id} allows {limit:.0f}",
                )
    arrest = [s for s in _planned(plan) if protocol.stage(s.kind).role == "growth_arrest"]
    most = protocol.number("arrest_most_mm") + protocol.number("arrest_most_slack_mm")
    for stage in arrest:
        if stage.amount_mm is not None and stage.amount_mm > most:
            yield Breach("arrest_most_mm", stage.id, f"{stage.id} is to correct {stage.amount_mm} mm, most is {most:g}")


def _length_before(plan: Plan, stage: PlanStage, record: Record, protocol: Protocol) -> float | None:
    bone = protocol.stage(stage.kind).bone
    return None if bone is None else _bone_before(plan, stage, bone, age_years(record.child.date_of_birth, _day(stage)))


def _bone_before(plan: Plan, stage: PlanStage, bone: str, age: float) -> float | None:
    """Bone length just before the stage: the plan's own table without gains, and the gains of earlier numbers."""
    same = [other for other in _planned(plan) if other.kind == stage.kind]
    course = plan.recommended
    # The table counts a gain from the age of the course on; the date may lie some days later.
    from_age = {item.id: item.age_years for item in course.stages} if course else {}

    def bare(point: AgePoint) -> float:
        gained = (o.amount_mm or 0.0 for o in same if from_age.get(o.id, o.age_years or 0.0) <= point.age_years)
        return (_bone(point, bone) or 0.0) - sum(gained)

    points = [point for point in plan.growth.by_age if _bone(point, bone) is not None]
    if not points:
        return None
    earlier = sum(other.amount_mm or 0.0 for other in same if other.number < stage.number)
    near = max((p for p in points if p.age_years <= age), key=lambda p: p.age_years, default=points[0])
    after = next((p for p in points if p.age_years > age), None)
    if after is None or after is near:
        return bare(near) + earlier
    share = (age - near.age_years) / (after.age_years - near.age_years)
    return bare(near) + share * (bare(after) - bare(near)) + earlier


def _bone(point: AgePoint, bone: str) -> float | None:
    return point.short_femur_mm if bone == "femur" else point.short_tibia_mm


def _balance(plan: Plan) -> Iterator[Breach]:
    for course in plan.alternatives:
        left = course.predicted_mm - course.corrections_mm - course.median_residual_mm
        if abs(left) > TOLERANCE_MM:
            text = f"{course.id}: {course.predicted_mm} - {course.corrections_mm} is not {course.median_residual_mm}"
            yield Breach("balance", course.id, text)
    best = plan.recommended
    if best is None:
        return
    amounts = {stage.id: stage.amount_mm for stage in _planned(plan) if stage.amount_mm is not None}
    chosen = {item.id: item.amount_mm for item in best.stages}
    if plan.conflicts:
        return
    if amounts != chosen:
        yield Breach("balance", best.id, f"the stages' amounts {amounts} are not those of the course {chosen}")


def _followers(plan: Plan, protocol: Protocol) -> Iterator[Breach]:
    pairs: dict[str, list[str]] = {}
    for rule in protocol.intervals:
        ends = rule.at_most_months == 0 and rule.earlier.endswith(".end")
        if ends and protocol.stage(rule.earlier_stage).role == "lengthening":
            pairs.setdefault(rule.earlier_stage, []).append(rule.later_stage)
    # A plan in conflict has no dates to come: what follows is named there without one.
    have = {(stage.kind, stage.number) for stage in (plan.stages if plan.conflicts else _dated(plan))}
    for stage in _dated(plan):
        for kind in follows(stage, pairs.get(stage.kind, []), protocol):
            if (kind, stage.number) not in have:
                yield Breach(f"{kind}.after_lengthening", stage.id, f"{stage.id} is not followed by {kind}")
    for stage in _planned(plan):
        if (
            stage.status == "later"
            and stage.gates
            and f"examination_before_{stage.id}" not in {s.id for s in plan.stages}
        ):
            yield Breach("examination", stage.id, f"{stage.id} has no examination before it")


def _done(plan: Plan, record: Record) -> Iterator[Breach]:
    done = {(stage.kind, stage.date) for stage in plan.stages if stage.status in ("done", "under_way")}
    for operation in record.operations:
        if operation.date <= plan.on and (operation.kind, operation.date) not in done:
            yield Breach("done", operation.kind, f"{operation.kind} of {operation.date} is missing from the plan")
    for stage in plan.stages:
        if stage.status in ("done", "under_way") and (stage.date is None or stage.date > plan.on):
            yield Breach("done", stage.id, f"{stage.id} reads {stage.status} on {stage.date}, after {plan.on}")


def _declined(plan: Plan, record: Record) -> Iterator[Breach]:
    declined = {decision.stage for decision in record.decisions if decision.kind == "decline"}
    best = plan.recommended
    for stage in _planned(plan):
        if stage.kind in declined and best is not None and best.within_protocol:
            yield Breach("decline", stage.id, f"{stage.id} was declined and has a date")


def _against(plan: Plan, protocol: Protocol) -> Iterator[Breach]:
    rules = {rule.id for rule in protocol.contraindications}
    best = [course for course in plan.alternatives if course.recommended]
    if len(best) > 1:
        yield Breach("recommended", "", f"{len(best)} courses are recommended at once")
    if not best or not best[0].within_protocol:
        return
    for stage in _planned(plan):
        for item in stage.because:
            if item.rule in rules:
                yield Breach(item.rule, stage.id, f"{stage.id} has a date although {item.rule} stands against it")


def _sides(plan: Plan, record: Record) -> Iterator[Breach]:
    for stage in plan.stages:
        expected = record.other_side if stage.lane == "other_leg" else record.affected_side
        if stage.side != expected:
            yield Breach("side", stage.id, f"{stage.id} is on the {stage.side}, expected the {expected}")


def _words(plan: Plan, record: Record, protocol: Protocol) -> Iterator[Breach]:
    known = {source.id for source in protocol.sources}
    for stage in plan.stages:
        cited = [item.sources for item in stage.because] + [gate.sources for gate in stage.gates]
        for sources in cited:
            if not sources or not set(sources) <= known:
                yield Breach("sources", stage.id, f"{stage.id} has a reason without a known source")
        if not stage.because:
            yield Breach("reason", stage.id, f"{stage.id} has no reason")
    kinds = {stage.kind for stage in plan.stages}
    texts = {caution.text for caution in plan.cautions}
    for rule in protocol.cautions:
        if rule.when is not None:
            continue  # of some children: the plan keeps no verdict on it
        asked = record.child.affected_side == "both" if rule.bilateral else not rule.stages or kinds & set(rule.stages)
        if asked and rule.text not in texts:
            yield Breach(rule.id, "", f"the caution {rule.id} is missing")
    child = record.child
    if (plan.child.id, plan.child.sex, plan.child.date_of_birth) != (child.id, child.sex, child.date_of_birth):
        yield Breach("child", "", f"the plan is of {plan.child.id}, the record of {child.id}")
    if plan.protocol.version != protocol.version:
        yield Breach(
            "version",
            "",
            f"the plan names protocol {plan.protocol.version}, the rules are {protocol.version}",
        )
