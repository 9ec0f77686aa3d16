"""The stages of the plan with their gates, windows and dates, examinations included."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from typing import Literal

from pathway.courses.course import Arrest, Course, Lengthening, LimitAt
from pathway.days import add_months, age_years, day_at_age, in_months
from pathway.plan import model as pm
from pathway.plan.assemble.accompanying import accompanying_stages
from pathway.plan.assemble.conflicts import stage_words
from pathway.plan.assemble.delays import delay_sentences, free_days, wish_words
from pathway.plan.assemble.devices import plan_device
from pathway.plan.assemble.devices import stage_words as device_words
from pathway.plan.assemble.harms import stage_harms
from pathway.plan.assemble.reasons import reason
from pathway.protocol.model import Protocol, Stage, StopRule
from pathway.protocol.question import Question
from pathway.protocol.roles import FOLLOWING, GROWTH_NEEDED, reexamination
from pathway.protocol.words import lower_first
from pathway.rule_engine.graph import ChildGraph, GateState, StageItem
from pathway.rule_engine.spans import Span
from pathway.timing.delay import delay_of
from pathway.timing.road_windows import RoadWindow
from pathway.timing.rule_links import examination, latest_useful
from pathway.timing.schedule import Timetable


def plan_stages(
    graph: ChildGraph,
    course: Course | None,
    times: Timetable | None,
    question: Question,
    road: Mapping[str, RoadWindow] | None = None,
    *,
    bare: bool = False,
) -> tuple[pm.PlanStage, ...]:
    """Return the stages of the plan in date order, examinations before later stages included.

    Stages that the recommended course does not use stand at the end without a date, as optional or blocked; those of
    the prosthetic road with their windows in `road`. `bare`: only what comes when, without what a delay does and what
    may go wrong.
    """
    lengthenings = {item.stage: item for item in course.lengthenings} if course else {}
    arrest = course.arrest if course else None
    placed = times.start if times else {}
    shown = []
    for item in graph.stages:
        if item.id in placed or _worth_showing(item, graph):
            usual = (road or {}).get(item.id)
            shown.append(_stage(item, graph, lengthenings.get(item.id), arrest, times, question, usual, bare=bare))
    examinations = {stage.id: stage for stage in _examinations(shown, question)}
    shown = [_after_examination(stage, examinations) for stage in shown]
    shown.extend(examinations.values())
    shown.extend(accompanying_stages(shown, question))
    if not bare:
        shown = [stage.model_copy(update={"harms": stage_harms(stage, question)}) for stage in shown]
    far = datetime.date.max
    return tuple(sorted(shown, key=lambda s: (s.date or far, question.protocol.stage(s.kind).rank, s.number)))


def _worth_showing(item: StageItem, graph: ChildGraph) -> bool:
    """A stage without a date is shown when someone may ask for it: not the surplus that the strategy dropped."""
    if item.state == "unknown":
        return item.stage.operation
    if item.state == "possible":
        first = min(other.number for other in graph.of_kind(item.kind) if other.state == "possible")
        return bool(item.against) and item.stage.bone is not None and item.number == first
    return True


def _stage(
    item: StageItem,
    graph: ChildGraph,
    lengthening: Lengthening | None,
    arrest: Arrest | None,
    times: Timetable | None,
    question: Question,
    usual: RoadWindow | None,
    *,
    bare: bool,
) -> pm.PlanStage:
    born, stage = question.record.child.date_of_birth, item.stage
    date = times.start.get(item.id) if times else item.done_on
    date = date or item.done_on
    end = times.end.get(item.id) if times else item.ended_on
    window = times.window.get(item.id) if times else None
    if usual is not None:
        window = usual.earliest, usual.latest
    status = _status(item, date, graph, times, question.on)

    def label(id: str) -> str:
        return stage_words(id, question.protocol)

    useful = _useful(arrest, item, date, born)
    if useful is not None and window is not None:
        window = window[0], useful if window[1] is None else min(useful, window[1])
    window, passed = _clinical(window, item, date, question)
    own_last = window[1] if window is not None else None
    slack = (window[1] - date).days if window and window[1] and date and item.done_on is None else None
    gates = tuple(gate_state(gate, date, status, _mender(gate, graph)) for gate in item.gates)
    is_arrest = arrest is not None and item.id == arrest.stage and date is not None
    side = question.record.other_side if stage.lane == "other_leg" else question.record.affected_side
    amount = lengthening.amount_mm if lengthening else None
    if item.operation is not None and item.operation.achieved_mm is not None:
        amount = item.operation.achieved_mm
    if is_arrest and arrest is not None:
        amount = round(arrest.effect_mm, 1)
    because = [reason(rule, verdict) for rule, verdict in item.indicated]
    because += [reason(rule, verdict, against=True) for rule, verdict in item.against]
    chosen = lengthening.device if lengthening else None
    age = round(age_years(born, date), 3) if date else None
    device = plan_device(item, graph, chosen, age, amount, question.protocol)
    what, plain = device_words(item, device, question.protocol)
    after = _after(item, graph, times)
    delay = None
    if date and times and times.schedule and window and item.done_on is None and not bare:
        delay = delay_of(item.id, times.schedule)
    can_span = device is None or question.protocol.device(device.id).spans_knee
    spans = tuple(_span(span, device_can=can_span) for span in item.spans)
    used = {source for item in because for source in item.sources} | set(stage.sources)
    used |= {source for gate in gates for source in gate.sources}
    used |= set(device.sources) if device is not None else set()
    return pm.PlanStage(
        id=item.id,
        kind=stage.id,
        number=item.number,
        label=_label(item, graph),
        lane=stage.lane,
        what=what,
        family_words=plain,
        operation=stage.operation,
        status=status,
        side=side,
        because=tuple(because) or (_done_reason(item),),
        amount_mm=amount,
        amount_deg=item.operation.achieved_deg if item.operation else None,
        amount_percent=round(100 * lengthening.amount_mm / lengthening.bone_mm, 1) if lengthening else None,
        amount_limits=tuple(_limit(item, lengthening.amount_mm) for item in lengthening.limits) if lengthening else (),
        spans=spans,
        physes=arrest.physes if is_arrest and arrest else item.operation.physes if item.operation else (),
        device=device,
        road=_road(item, graph),
        likely=any(rule.likely for rule, verdict in item.indicated if verdict.state == "holds"),
        window=pm.DateWindow(earliest=window[0], latest=window[1]) if window and item.done_on is None else None,
        last_by=_last_by(item, own_last, question) if item.done_on is None else "",
        past_usual=usual.past_usual if usual else passed,
        date=date,
        end_date=end if date else None,
        age_years=age,
        duration_months=in_months((end - date).days) if date and end else None,
        duration_range_months=_duration_range(stage.bone, amount, device, question.protocol),
        slack_days=slack,
        # What starts where another one ends has no room of its own: any delay makes the other one last longer.
        free_slack_days=(0 if graph.leader(item.id) else free_days(delay, date, own_last)) if delay and date else None,
        delay=delay_sentences(delay, item, graph, date, label, question.record, question.protocol, useful, own_last)
        if delay and date
        else (),
        preferred=wish_words(times.wishes.get(item.id) if times else None, label),
        gates=gates,
        after=after,
        stop_rules=tuple(_stop_words(rule) for rule in question.protocol.stop_rules if rule.stage == stage.id),
        sources=tuple(sorted(used)),
        recorded=_recorded(item, question),
    )


def _recorded(item: StageItem, question: Question) -> pm.Recorded | None:
    """Return what was entered of an operation that was done, beside the amount that was accepted for it."""
    done = item.operation
    if done is None:
        return None
    planned = next((one.amount_mm for one in question.earlier if one.stage == item.id and one.amount_mm > 0), None)
    return pm.Recorded(
        achieved_mm=done.achieved_mm,
        # A plan that was accepted after it has what was achieved for its amount.
        planned_mm=planned if planned != done.achieved_mm else None,
        device_off=done.device_removed if done.device_removed and done.device_removed <= question.on else None,
        complications=done.complications,
    )


def _span(span: Span, *, device_can: bool) -> pm.JointSpan:
    grounds = tuple(reason(*ground) for ground in span.grounds)
    return pm.JointSpan(joint=span.joint, need=span.need, device_can=device_can, because=grounds)


def _clinical(
    window: tuple[datetime.date, datetime.date | None] | None,
    item: StageItem,
    date: datetime.date | None,
    question: Question,
) -> tuple[tuple[datetime.date, datetime.date | None] | None, datetime.date | None]:
    """Return a window that ends at the clinical latest age, or where that has passed, without it and when it was."""
    rule = latest_useful(item, question.record.child.sex, question.protocol)
    if window is None or date is None or rule is None or rule.at_most_months is None:
        return window, None
    last = add_months(question.record.child.date_of_birth, rule.at_most_months)
    if last < date:
        return window, last if item.done_on is None else None
    return (window[0], last if window[1] is None else min(last, window[1])), None


def _last_by(item: StageItem, last: datetime.date | None, question: Question) -> pm.LastBy:
    """Return what ends the window of a stage on its last day, "" where nothing does."""
    if last is None:
        return ""
    if item.role in GROWTH_NEEDED:
        return "growth"
    rule = latest_useful(item, question.record.child.sex, question.protocol)
    months = None if rule is None else rule.at_most_months
    by_rule = months is not None and add_months(question.record.child.date_of_birth, months) == last
    return "rule_of_use" if by_rule else "limit"


def _road(item: StageItem, graph: ChildGraph) -> Literal["", "lengthening", "prosthetic"]:
    """Return the road that a stage belongs to alone, told where there are two."""
    standing = graph.standing
    if item.stage.road == "prosthetic":
        return "prosthetic"
    two = standing is not None and standing.stands is not None
    of_length = item.stage.bone is not None or item.role in (*FOLLOWING, "implant_removal", "growth_arrest")
    return "lengthening" if two and (of_length or item.stage.road == "lengthening") else ""


def _useful(
    arrest: Arrest | None, item: StageItem, date: datetime.date | None, born: datetime.date
) -> datetime.date | None:
    """Return the day until which a growth arrest to come is of use, as worked out: no border of the rules."""
    if arrest is None or item.id != arrest.stage or date is None or item.done_on is not None:
        return None
    return max(datetime.date.fromordinal(day_at_age(born, arrest.last_useful_age_years).toordinal()), date)


def _stop_words(rule: StopRule) -> str:
    return f"{rule.text} (local)" if rule.local else rule.text


def _label(item: StageItem, graph: ChildGraph) -> str:
    """The stage's name, numbered where the plan may hold more than one of its kind."""
    of_kind = graph.of_kind(item.kind)
    many = item.stage.bone is not None or len(of_kind) > 1
    return f"{item.stage.label} {item.number}" if many else item.stage.label


def _done_reason(item: StageItem) -> pm.Reason:
    text = f"done on {item.done_on}" if item.done_on else "in the protocol"
    return pm.Reason(
        rule=item.kind,
        text=text,
        sources=item.stage.sources,
        provenance=item.stage.provenance,
        strength=item.stage.strength,
        local=item.stage.local,
    )


def _status(
    item: StageItem, date: datetime.date | None, graph: ChildGraph, times: Timetable | None, on: datetime.date
) -> pm.StageStatus:
    if item.state == "done" or item.state == "under_way":
        return item.state
    if item.against:
        return "blocked"
    if date is None:
        # Without a timetable nothing can be dated: what is needed is blocked by the conflict, not optional.
        return "blocked" if item.state == "planned" and times is None else "optional"
    waiting = times is not None and any(
        edge.earlier in times.start
        and not graph.stage(edge.earlier).begun
        and not _of_a_day(graph.stage(edge.earlier).stage)
        and not (edge.rule.at_most_months == 0 and edge.earlier_point == "start")
        for edge in graph.edges_into(item.id)
    )
    look = max((gate.gate.look_again_months for gate in item.gates), default=3)
    if waiting or date > add_months(on, look + 1):
        return "later"
    settled = all(gate.state in ("holds", "waived") or gate.mended_by for gate in item.gates)
    return "ready" if settled else "blocked"


def _of_a_day(stage: Stage) -> bool:
    """Return whether a stage is a look that is done in a day: what comes after it need not wait."""
    return not stage.operation and stage.duration_months is None


def _mender(gate: GateState, graph: ChildGraph) -> str:
    """Return the name of the stage that mends a gate, as the plan has it in small letters; "" where none does."""
    return _label(graph.stage(gate.mended_by), graph).lower() if gate.mended_by else ""


def gate_state(gate: GateState, date: datetime.date | None, status: pm.StageStatus, mender: str = "") -> pm.GateState:
    """Return a judged gate as plan data, with the day from which it is looked at again; `mender` mends it."""
    verdict, rule = gate.verdict, gate.gate
    later = date is not None and "later" in (status, gate.state)
    return pm.GateState(
        id=rule.id,
        state=gate.state,
        why_unknown=verdict.why_unknown if gate.state == "unknown" else None,
        waived_because=gate.waived_because,
        mended_by=gate.mended_by,
        look_again_on=add_months(date, -rule.look_again_months) if later and date else None,
        finding=verdict.finding,
        value=verdict.value,
        measured_on=verdict.measured_on,
        requires=verdict.test,
        because=rule.because,
        indirect=rule.indirect,
        sentence=_gate_sentence(gate, mender),
        sources=rule.sources,
        provenance=rule.provenance,
        strength=rule.strength,
        local=rule.local,
        verdict=verdict,
    )


def _gate_sentence(gate: GateState, mender: str) -> str:
    text = f"{gate.verdict.sentence}; required: {gate.verdict.test}"
    if gate.state == "waived":
        return f"Waived ({gate.waived_because}): {text}"
    if gate.state == "later":
        return f"To be measured again before this stage; required: {gate.verdict.test}"
    if gate.mended_by:
        return f"Not met today ({mender} is planned to correct it): {text}"
    return f"{pm.GATE_WORDS[gate.state].capitalize()}: {text}"


def _after(item: StageItem, graph: ChildGraph, times: Timetable | None) -> tuple[pm.After, ...]:
    start = times.start if times else {}
    edges = []
    for edge in graph.edges_at(item.id):
        one, other, point = edge.earlier, edge.later, edge.earlier_point
        if edge.either_order and one in start and other in start and start[other] < start[one]:
            one, other, point = other, one, "end"
        on_road = "prosthetic" == item.stage.road == graph.stage(one).stage.road
        if other != item.id or not (one in start or on_road):
            continue
        edges.append(
            pm.After(
                stage=one,
                at_least_months=edge.rule.at_least_months,
                at_most_months=edge.rule.at_most_months,
                from_point=point,
                because=edge.rule.because,
                indirect=edge.rule.indirect,
                rule=edge.rule.id,
                sources=edge.rule.sources,
            )
        )
    return tuple(edges)


def _limit(item: LimitAt, amount_mm: float) -> pm.AmountNote:
    rule = item.rule
    return pm.AmountNote(
        rule=rule.id,
        limit_mm=round(item.limit_mm, 1),
        words=rule.because,
        indirect=rule.indirect,
        family_words=rule.family_words or "",
        binds=item.binds,
        warns=rule.warns,
        beyond=rule.warns and amount_mm > item.limit_mm,
        sources=rule.sources,
    )


def _duration_range(
    bone: str | None, amount: float | None, device: pm.PlanDevice | None, protocol: Protocol
) -> tuple[float, float] | None:
    if bone is None or amount is None:
        return None
    own = None if device is None else protocol.device(device.id).months_per_cm_range
    if own is not None:
        return own[0] * amount / 10, own[1] * amount / 10
    index = protocol.value(f"{bone}_days_per_cm")
    low, high = (in_months((days or index.value) * amount / 10) for days in (index.low, index.high))
    return low, high


def _after_examination(stage: pm.PlanStage, examinations: Mapping[str, pm.PlanStage]) -> pm.PlanStage:
    """Tie a stage to the examination before it, if it has one."""
    found = examinations.get(examination(stage.id))
    if found is None:
        return stage
    edge = pm.After(
        stage=found.id,
        at_least_months=0,
        because="What its gates require is measured again first.",
        rule=found.kind,
        sources=found.sources,
    )
    return stage.model_copy(update={"after": (*stage.after, edge)})


def _examinations(stages: Sequence[pm.PlanStage], question: Question) -> Iterable[pm.PlanStage]:
    kind, born = reexamination(question.protocol), question.record.child.date_of_birth
    later = [stage for stage in stages if stage.date and stage.status == "later" and stage.gates]
    for number, stage in enumerate(sorted(later, key=lambda s: s.date or question.on), start=1):
        days = [gate.look_again_on for gate in stage.gates if gate.look_again_on is not None]
        date = max(min(days), question.on) if days else question.on
        yield pm.PlanStage(
            id=examination(stage.id),
            kind=kind.id,
            number=number,
            label=f"{kind.label} before {lower_first(stage.label)}",
            lane=kind.lane,
            what=kind.what,
            family_words=kind.family_words,
            operation=False,
            status="later",
            side=question.record.affected_side,
            road=stage.road,
            because=(
                pm.Reason(
                    rule=kind.id,
                    text="To measure: " + "; ".join(dict.fromkeys(gate.requires for gate in stage.gates)) + ".",
                    sources=kind.sources,
                    provenance=kind.provenance,
                    strength=kind.strength,
                ),
            ),
            date=date,
            end_date=date,
            age_years=round(age_years(born, date), 3),
            duration_months=0.0,
            window=pm.DateWindow(earliest=date, latest=stage.date),
            sources=kind.sources,
        )
