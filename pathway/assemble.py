"""From the rooms' values to the plan's data: stages, gates, courses, growth, open questions."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence

import numpy as np

from pathway import plan_model as pm
from pathway.classify import UNDETERMINED, Classified
from pathway.conditions import Verdict
from pathway.course import Arrest, Course, Lengthening, LimitAt
from pathway.days import add_months, age_years, day_at_age
from pathway.findings import Findings, Unknown, current_discrepancy
from pathway.growth import Opinion, Outlook, Posterior, What
from pathway.network import Conflict
from pathway.protocol.model import Protocol, Rule
from pathway.record import Record
from pathway.staging import GateState, StageGraph, StageNeed
from pathway.timing import Timetable, device_days

LEVELS = (0.05, 0.25, 0.5, 0.75, 0.95)


def quantiles(draws: np.ndarray) -> pm.Quantiles:
    """Return the five quantiles of draws (m,), mm rounded to a tenth."""
    p05, p25, p50, p75, p95 = (round(float(q), 1) for q in np.quantile(draws, LEVELS))
    return pm.Quantiles(p05=p05, p25=p25, p50=p50, p75=p75, p95=p95)


def verdict_record(verdict: Verdict) -> pm.VerdictRecord:
    """Return a verdict tree as plan data."""
    return pm.VerdictRecord(
        state=verdict.state,
        sentence=verdict.sentence,
        test=verdict.test,
        finding=verdict.finding,
        value=verdict.value,
        sd=verdict.sd,
        measured_on=verdict.measured_on,
        method=verdict.method,
        margin=None if verdict.margin is None else round(verdict.margin, 3),
        why_unknown=verdict.why_unknown,
        asks=tuple(sorted(verdict.asks)),
        parts=tuple(verdict_record(part) for part in verdict.parts),
    )


def reason(rule: Rule, verdict: Verdict | None) -> pm.Reason:
    """Return a rule and its verdict as a reason."""
    return pm.Reason(
        rule=rule.id,
        text=rule.because,
        sources=rule.sources,
        provenance=rule.provenance,
        strength=rule.strength,
        local=rule.local,
        verdict=None if verdict is None else verdict_record(verdict),
    )


def classification(found: Iterable[Classified]) -> tuple[pm.ClassificationResult, ...]:
    """Return the schemes' answers as plan data."""
    results = []
    for item in found:
        type_label = item.type.label if item.type else _undetermined(item)
        results.append(
            pm.ClassificationResult(
                system=item.scheme.id,
                label=item.scheme.label,
                type=item.type.type if item.type else UNDETERMINED,
                type_label=type_label,
                because=(reason(item.type, item.verdict),) if item.type and item.verdict else (),
                asks=tuple(sorted(item.asks)),
                sources=item.scheme.sources,
            )
        )
    return tuple(results)


def _undetermined(item: Classified) -> str:
    if item.asks:
        return "cannot be told yet"
    return item.scheme.gap or "the published scheme has no type for these findings"


def growth_part(
    record: Record,
    protocol: Protocol,
    posterior: Posterior | None,
    natural: Outlook | None,
    with_plan: Outlook | None,
    central: Outlook | None,
    methods: Sequence[Opinion],
    mature_age_years: float,
) -> pm.GrowthPart:
    """Return the growth projection as plan data; without a posterior only what was measured."""
    born = record.child.date_of_birth
    measured = [(visit.date, current_discrepancy(visit, record)) for visit in record.visits]
    part = pm.GrowthPart(
        mature_age_years=round(mature_age_years, 2),
        maturity_date=day_at_age(born, mature_age_years),
        curve=posterior.curve.name if posterior else "",
        basis=" ".join(posterior.notes) if posterior else "No length was measured.",
        at_maturity=None,
        measured=tuple(
            pm.MeasuredPoint(age_years=round(age_years(born, day), 3), date=day, discrepancy_mm=round(mm, 1))
            for day, mm in measured
            if mm is not None
        ),
        methods=tuple(
            pm.MethodOpinion(
                name=item.name,
                discrepancy_at_maturity_mm=_rounded(item.discrepancy_at_maturity_mm),
                note=item.note,
                source="; ".join(protocol.source(source).citation for source in item.sources),
            )
            for item in methods
        ),
        notes=posterior.notes if posterior else (),
    )
    if posterior is None or natural is None or with_plan is None or central is None:
        return part
    return part.model_copy(
        update={
            "at_maturity": pm.Maturity(
                discrepancy_mm=quantiles(natural.at_maturity("discrepancy")),
                long_leg_mm=quantiles(natural.at_maturity("long_leg")),
                short_leg_mm=quantiles(natural.at_maturity("short_leg")),
            ),
            "by_age": _by_age(born, natural, with_plan, central),
        }
    )


def _rounded(mm: float | None) -> float | None:
    return None if mm is None else round(mm, 1)


def _by_age(born: datetime.date, natural: Outlook, with_plan: Outlook, central: Outlook) -> tuple[pm.AgePoint, ...]:
    without, planned = natural.bands(LEVELS), with_plan.bands(LEVELS)
    names: tuple[What, ...] = ("long_leg", "short_leg", "short_femur", "short_tibia")
    lengths = {name: central.lengths(name)[0] for name in names}

    def spread(bands: np.ndarray, k: int) -> pm.Quantiles:
        p05, p25, p50, p75, p95 = (round(float(q), 1) for q in bands[:, k])
        return pm.Quantiles(p05=p05, p25=p25, p50=p50, p75=p75, p95=p95)

    return tuple(
        pm.AgePoint(
            age_years=round(float(age), 3),
            date=day_at_age(born, float(age)),
            discrepancy_mm=spread(without, k),
            with_plan_mm=spread(planned, k),
            long_leg_mm=round(float(lengths["long_leg"][k]), 1),
            short_leg_mm=round(float(lengths["short_leg"][k]), 1),
            short_femur_mm=round(float(lengths["short_femur"][k]), 1),
            short_tibia_mm=round(float(lengths["short_tibia"][k]), 1),
        )
        for k, age in enumerate(natural.age_years)
    )


def plan_stages(
    graph: StageGraph,
    course: Course | None,
    times: Timetable | None,
    record: Record,
    protocol: Protocol,
    on: datetime.date,
) -> tuple[pm.PlanStage, ...]:
    """Return the stages of the plan in date order, examinations before later stages included.

    Stages that the recommended course does not use stand at the end without a date, as optional or blocked.
    """
    lengthenings = {item.stage: item for item in course.lengthenings} if course else {}
    arrest = course.arrest if course else None
    placed = times.start if times else {}
    shown = []
    for need in graph.needs:
        if need.id in placed or _worth_showing(need, graph):
            shown.append(_stage(need, graph, lengthenings.get(need.id), arrest, times, record, protocol, on))
    shown.extend(_examinations(shown, protocol, record, on))
    far = datetime.date.max
    return tuple(sorted(shown, key=lambda s: (s.date or far, protocol.stage(s.kind).rank, s.number)))


def _worth_showing(need: StageNeed, graph: StageGraph) -> bool:
    """A stage without a date is shown when someone may ask for it: not the surplus that the strategy dropped."""
    if need.need == "unknown":
        return need.stage.operation
    if need.need == "possible":
        first = min(other.number for other in graph.of_kind(need.stage.id) if other.need == "possible")
        return bool(need.against) and need.stage.bone is not None and need.number == first
    return True


def _stage(
    need: StageNeed,
    graph: StageGraph,
    lengthening: Lengthening | None,
    arrest: Arrest | None,
    times: Timetable | None,
    record: Record,
    protocol: Protocol,
    on: datetime.date,
) -> pm.PlanStage:
    born, stage = record.child.date_of_birth, need.stage
    date = times.start.get(need.id) if times else need.done_on
    date = date or need.done_on
    end = times.end.get(need.id) if times else need.ended_on
    window = times.window.get(need.id) if times else None
    status = _status(need, date, graph, times, on)
    gates = tuple(gate_state(gate, date, status) for gate in need.gates)
    is_arrest = arrest is not None and need.id == arrest.stage and date is not None
    side = record.other_side if stage.lane == "other_leg" else record.affected_side
    amount = lengthening.amount_mm if lengthening else None
    if need.operation is not None and need.operation.achieved_mm is not None:
        amount = need.operation.achieved_mm
    if is_arrest and arrest is not None:
        amount = round(arrest.effect_mm, 1)
    because = [reason(rule, verdict) for rule, verdict in need.indicated]
    because += [reason(rule, verdict) for rule, verdict in need.against]
    after = _after(need, graph, times)
    used = {source for item in because for source in item.sources} | set(stage.sources)
    used |= {source for gate in gates for source in gate.sources}
    return pm.PlanStage(
        id=need.id,
        kind=stage.id,
        number=need.number,
        label=f"{stage.label} {need.number}" if stage.most > 1 and stage.bone else stage.label,
        lane=stage.lane,
        what=stage.what,
        family_words=stage.family_words,
        operation=stage.operation,
        status=status,
        side=side,
        because=tuple(because) or (_done_reason(need),),
        amount_mm=amount,
        amount_deg=need.operation.achieved_deg if need.operation else None,
        amount_percent=round(100 * lengthening.amount_mm / lengthening.bone_mm, 1) if lengthening else None,
        amount_limits=tuple(_limit(item) for item in lengthening.limits) if lengthening else (),
        physes=arrest.physes if is_arrest and arrest else need.operation.physes if need.operation else (),
        window=pm.DateWindow(earliest=window[0], latest=window[1]) if window and need.done_on is None else None,
        date=date,
        end_date=end if date else None,
        age_years=round(age_years(born, date), 3) if date else None,
        duration_months=round((end - date).days / 30.4375, 1) if date and end else None,
        duration_range_months=_duration_range(stage.bone, amount, protocol),
        slack_days=(window[1] - date).days if window and window[1] and date and need.done_on is None else None,
        gates=gates,
        after=after,
        stop_rules=tuple(rule.text for rule in protocol.stop_rules if rule.stage == stage.id),
        sources=tuple(sorted(used)),
    )


def _done_reason(need: StageNeed) -> pm.Reason:
    text = f"done on {need.done_on}" if need.done_on else "in the protocol"
    return pm.Reason(
        rule=need.stage.id,
        text=text,
        sources=need.stage.sources,
        provenance=need.stage.provenance,
        strength=need.stage.strength,
    )


def _status(
    need: StageNeed, date: datetime.date | None, graph: StageGraph, times: Timetable | None, on: datetime.date
) -> pm.StageStatus:
    if need.need in ("done", "under_way"):
        return need.need
    if need.against:
        return "blocked"
    if date is None:
        # Without a timetable nothing can be dated: what is needed is blocked by the conflict, not optional.
        return "blocked" if need.need == "planned" and times is None else "optional"
    waiting = [
        edge.earlier
        for edge in graph.edges
        if edge.later == need.id
        and times is not None
        and edge.earlier in times.start
        and graph.need(edge.earlier).need not in ("done", "under_way")
        and not (edge.rule.at_most_months == 0 and edge.earlier_point == "start")
    ]
    look = max((gate.gate.look_again_months for gate in need.gates), default=3)
    if waiting or date > add_months(on, look + 1):
        return "later"
    settled = all(gate.state in ("holds", "waived") or gate.mended_by for gate in need.gates)
    return "ready" if settled else "blocked"


def gate_state(gate: GateState, date: datetime.date | None, status: pm.StageStatus) -> pm.GateState:
    """Return a judged gate as plan data, with the day from which it is looked at again."""
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
        sentence=_gate_sentence(gate),
        sources=rule.sources,
        provenance=rule.provenance,
        strength=rule.strength,
        verdict=verdict_record(verdict),
    )


def _gate_sentence(gate: GateState) -> str:
    text = f"{gate.verdict.sentence}; must hold: {gate.verdict.test}"
    if gate.state == "waived":
        return f"waived ({gate.waived_because}): {text}"
    if gate.state == "later":
        return f"to be measured again before this stage; must hold: {gate.verdict.test}"
    if gate.mended_by:
        return f"fails today, to be mended by {gate.mended_by.replace('_', ' ')}: {text}"
    return f"{gate.state}: {text}"


def _after(need: StageNeed, graph: StageGraph, times: Timetable | None) -> tuple[pm.After, ...]:
    start = times.start if times else {}
    edges = []
    for edge in graph.edges:
        one, other, point = edge.earlier, edge.later, edge.earlier_point
        if edge.rule.either_order and one in start and other in start and start[other] < start[one]:
            one, other, point = other, one, "end"
        if other != need.id or one not in start:
            continue
        edges.append(
            pm.After(
                stage=one,
                at_least_months=edge.rule.at_least_months,
                at_most_months=edge.rule.at_most_months,
                from_point=point,
                because=edge.rule.because,
                rule=edge.rule.id,
                sources=edge.rule.sources,
            )
        )
    return tuple(edges)


def _limit(item: LimitAt) -> pm.AmountNote:
    rule = item.rule
    return pm.AmountNote(
        rule=rule.id,
        limit_mm=round(item.limit_mm, 1),
        words=rule.because,
        binds=item.binds,
        warns=rule.warns,
        sources=rule.sources,
    )


def _duration_range(bone: str | None, amount: float | None, protocol: Protocol) -> tuple[float, float] | None:
    if bone is None or amount is None:
        return None
    index = protocol.value(f"{bone}_days_per_cm")
    low, high = (round((days or index.value) * amount / 10 / 30.4375, 1) for days in (index.low, index.high))
    return low, high


def _examinations(
    stages: Sequence[pm.PlanStage], protocol: Protocol, record: Record, on: datetime.date
) -> Iterable[pm.PlanStage]:
    kind, born = protocol.stage("examination"), record.child.date_of_birth
    later = [stage for stage in stages if stage.date and stage.status == "later" and stage.gates]
    for number, stage in enumerate(sorted(later, key=lambda s: s.date or on), start=1):
        days = [gate.look_again_on for gate in stage.gates if gate.look_again_on is not None]
        date = max(min(days), on) if days else on
        yield pm.PlanStage(
            id=f"examination_before_{stage.id}",
            kind=kind.id,
            number=number,
            label=f"{kind.label} before {stage.label[0].lower()}{stage.label[1:]}",
            lane=kind.lane,
            what=kind.what,
            family_words=kind.family_words,
            operation=False,
            status="later",
            side=record.affected_side,
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


def plan_course(course: Course, record: Record, protocol: Protocol) -> pm.Course:
    """Return a course as plan data, ages as chosen on the planning grid."""
    residual = quantiles(course.draws_mm)
    chance = {mm: float(np.mean(np.abs(course.draws_mm) <= mm)) for mm in (10, 20)}
    chosen = [
        pm.CourseStage(
            id=item.stage,
            kind=item.stage.rpartition("_")[0],
            age_years=round(item.age_years, 3),
            amount_mm=item.amount_mm,
        )
        for item in course.lengthenings
    ]
    if course.arrest is not None:
        chosen.append(
            pm.CourseStage(
                id=course.arrest.stage,
                kind=course.arrest.stage,
                amount_mm=course.arrest.effect_mm,
                age_years=round(course.arrest.age_years, 3),
                physes=course.arrest.physes,
            )
        )
    return pm.Course(
        id=course.id,
        summary=course.summary,
        recommended=course.recommended,
        within_protocol=course.within_protocol,
        stages=tuple(sorted(chosen, key=lambda item: item.age_years)),
        burden=pm.Burden(
            operations=course.operations,
            device_months=course.device_months,
            months_over_25_mm=course.months_over,
            school_years_touched=_school_years(course, record, protocol),
            adult_height_lost_mm=round(course.height_lost_mm, 1),
        ),
        predicted_mm=round(course.predicted_mm, 1),
        corrections_mm=round(course.corrections_mm, 1),
        median_residual_mm=round(course.residual_mm, 1),
        residual_mm=None if course.prosthetic else residual,
        chance_within_10_mm=None if course.prosthetic else round(chance[10], 3),
        chance_within_20_mm=None if course.prosthetic else round(chance[20], 3),
        lost_because=course.lost_because,
    )


def _school_years(course: Course, record: Record, protocol: Protocol) -> int:
    born = record.child.date_of_birth
    school_starts = add_months(born, round(12 * protocol.number("school_from_years")))
    first_month = int(protocol.number("school_year_start_month"))
    touched: set[int] = set()
    for item in course.lengthenings:
        start = day_at_age(born, item.age_years)
        end = start.add(days=device_days(protocol, item.bone, item.amount_mm))
        if end >= school_starts:
            start = max(start, school_starts)
            years = (day.year if day.month >= first_month else day.year - 1 for day in (start, end))
            touched.update(range(next(years), next(years) + 1))
    return len(touched)


def open_questions(
    graph: StageGraph,
    classified: Sequence[Classified],
    findings: Findings,
    stages: Sequence[pm.PlanStage],
    posterior: Posterior | None,
    protocol: Protocol,
    on: datetime.date,
) -> tuple[pm.OpenQuestion, ...]:
    """Return what is missing, what each finding decides, and by when; most urgent and most deciding first."""
    needed: dict[str, dict[str, datetime.date]] = {}

    def ask(finding: str, what: str, by: datetime.date) -> None:
        for entered in protocol.finding(finding).derived_from or (finding,):
            known = needed.setdefault(entered, {})
            known[what] = min(by, known.get(what, by))

    for item in classified:
        for finding in item.asks:
            ask(finding, item.scheme.label, on)
    for need in graph.needs:
        if need.need == "unknown":
            for _, verdict in need.indicated:
                for finding in verdict.asks:
                    ask(finding, need.stage.label, on)
    for stage in stages:
        for gate in stage.gates if stage.date or stage.status == "blocked" else ():
            if gate.state == "unknown":
                for finding in gate.verdict.asks:
                    ask(finding, stage.label, max(gate.look_again_on or on, on))
    if posterior is None:
        for finding in ("femur_length_mm", "tibia_length_mm"):
            ask(finding, "the growth projection", on)
    questions = []
    for finding, uses in needed.items():
        rule = protocol.finding(finding)
        fact = findings.get((finding, "affected"))
        questions.append(
            pm.OpenQuestion(
                finding=finding,
                label=rule.label,
                how=rule.how,
                why_unknown=fact.why if isinstance(fact, Unknown) else "never_measured",
                needed_for=tuple(sorted(uses)),
                by=min(uses.values()),
            )
        )
    return tuple(sorted(questions, key=lambda q: (q.by or on, -len(q.needed_for), q.finding)))


def conflict(found: Conflict, protocol: Protocol) -> pm.PlanConflict:
    """Return a conflict of the temporal network in words."""
    words = {rule.id: rule.because for rule in protocol.rules()}
    parts = [words.get(rule, rule) for rule in found.rules]
    text = "These cannot all hold, they miss by " + f"{found.short_by_days} days: " + " / ".join(parts)
    return pm.PlanConflict(rules=found.rules, explanation=text)


def not_planned(protocol: Protocol) -> pm.PlanConflict:
    """Return why a child affected on both sides is not planned, in the words of the protocol."""
    rules = [rule for rule in protocol.cautions if rule.bilateral]
    return pm.PlanConflict(rules=tuple(rule.id for rule in rules), explanation=" ".join(rule.text for rule in rules))
