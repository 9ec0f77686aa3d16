"""How firm the first operation is, as plan data: the two between which it lies, why, what decides, what is shared."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from pathway.courses import first_call as fc
from pathway.courses.course import Course
from pathway.courses.policy.actions import ARREST, BOTH, LENGTHEN
from pathway.days import add_months, age_years, day_at_age
from pathway.growth import Posterior
from pathway.plan import model as pm
from pathway.plan.assemble.conflicts import stage_words
from pathway.plan.op_words import op_words
from pathway.plan.other_reading import PREDICTED
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.protocol.roles import role_of
from pathway.protocol.words import PREDICTED_LABELS, lower_first
from pathway.rule_engine.verdict import Verdict

_KINDS: dict[str, pm.FirstKind] = {
    LENGTHEN: "lengthening",
    ARREST: "growth_arrest",
    BOTH: "lengthening_with_growth_arrest",
}


@dataclass(frozen=True, slots=True)
class Firsts:
    """What a plan does first: the next operation of any kind with others of that day, and all to come by their ids."""

    next: pm.FirstOperation
    coming: frozenset[str]


def firsts(stages: Sequence[pm.PlanStage], course: Course | None, protocol: Protocol) -> Firsts:
    """Return what comes first by the stages of a plan and its course."""
    coming = [s for s in stages if s.operation and s.date is not None and not s.begun]
    day = min((stage.date for stage in coming if stage.date is not None), default=None)
    now = [stage for stage in coming if stage.date == day]
    if not now:
        return Firsts(_nothing(prosthetic=course is not None and course.prosthetic), frozenset())
    return Firsts(_of_stages(now, protocol), frozenset(stage.id for stage in coming))


def _nothing(*, prosthetic: bool) -> pm.FirstOperation:
    kind: pm.FirstKind = "prosthesis" if prosthetic else "nothing"
    label = "the prosthetic road" if prosthetic else "no operation for length"
    return pm.FirstOperation(kind=kind, stage="", label=label, age_years=None, amount_mm=None)


def _of_stages(now: Sequence[pm.PlanStage], protocol: Protocol) -> pm.FirstOperation:
    """Return the operation of a day: the first of its stages, a lengthening or growth arrest before any other."""
    by_role = {role_of(stage.kind, protocol): stage for stage in reversed(now)}
    lengthened, arrested = by_role.get("lengthening"), by_role.get("growth_arrest")
    stage = lengthened or arrested or now[0]
    kind: pm.FirstKind = "other_operation"
    if stage is lengthened:
        kind = "lengthening" if arrested is None else "lengthening_with_growth_arrest"
    elif stage is arrested:
        kind = "growth_arrest"
    others = [one for one in now if one is not stage and not (lengthened and one is arrested)]
    return pm.FirstOperation(
        kind=kind,
        stage=stage.id,
        label=stage.label,
        age_years=stage.age_years,
        amount_mm=stage.amount_mm,
        physes=arrested.physes if arrested is not None else (),
        family_words=stage.family_words,
        also=tuple(one.id for one in others),
        also_labels=tuple(one.label for one in others),
    )


def same_first(one: pm.FirstOperation, two: pm.FirstOperation, protocol: Protocol) -> bool:
    """Return whether two first operations are one choice: of one kind, near in age and, lengthened, in mm."""
    if (one.kind, one.stage, set(one.also)) != (two.kind, two.stage, set(two.also)):
        return False
    small = 1e-6
    near = abs((one.age_years or 0.0) - (two.age_years or 0.0)) <= protocol.number("same_choice_years") + small
    apart = abs((one.amount_mm or 0.0) - (two.amount_mm or 0.0))
    return near and (one.kind == "other_operation" or apart <= protocol.number("same_choice_mm") + small)


def first_firmness(
    call: fc.FirstCall | None,
    now: Firsts,
    otherwise: Sequence[tuple[Verdict, Firsts]],
    stages: Sequence[pm.PlanStage],
    question: Question,
    posterior: Posterior | None,
) -> pm.FirmnessPart:
    """Return how firm the first operation is.

    `otherwise` are the comparisons inside the error of their reading, with what would come first if they were read
    on the other side of their threshold.
    """
    protocol = question.protocol
    gap = None if call is None or call.gap is None else round(call.gap, 2)
    close = call is not None and call.gap is not None and call.gap < protocol.number("close_call_gap")
    turning = list(_turning(now, otherwise, protocol))
    if not close and not turning:
        weighs = gap is not None and gap < protocol.number("firm_gap")
        return pm.FirmnessPart(
            level="a matter of weighing" if weighs else "firm", gap=gap, firm_until=_date(now.next, stages, question)
        )
    between: tuple[pm.FirstOperation, ...]
    why: list[pm.CloseBecause] = []
    if close and call is not None and call.other is not None:
        between = _named(call.first, protocol), _named(call.other, protocol)
        why.append(_by_gap(call, protocol))
    else:
        _, *ops = turning[0]
        between = tuple(ops)
    why += [_by_threshold(leaf, one, two, protocol) for leaf, one, two in turning]
    days = [day for op in between if (day := _date(op, stages, question)) is not None]
    earliest = min(days, default=None)
    decides = _film(earliest, posterior, question) if close else _again(turning[0][0], earliest, stages, question)
    until = decides.on if decides is not None else earliest
    shared = tuple(
        stage.id
        for stage in stages
        if stage.operation
        and stage.date is not None
        and until is not None
        and stage.date <= until
        and not stage.begun
        and stage.id not in {op.stage for op in between}
    )
    part = pm.FirmnessPart(
        close_call=True,
        level="close call",
        gap=gap,
        between=between,
        why=tuple(why),
        decide_on=decides,
        firm_until=until,
        shared=shared,
        kept=call is not None and call.kept,
    )
    return part.model_copy(update={"sentence": " ".join(_sentences(part, stages))})


def _turning(
    now: Firsts, otherwise: Sequence[tuple[Verdict, Firsts]], protocol: Protocol
) -> Iterator[tuple[Verdict, pm.FirstOperation, pm.FirstOperation]]:
    """Yield the comparisons that bring another first operation, with what comes first now and then."""
    for leaf, then in otherwise:
        if not same_first(now.next, then.next, protocol):
            yield leaf, now.next, then.next


def _named(one: fc.FirstOperation, protocol: Protocol) -> pm.FirstOperation:
    if not one.stage:
        return _nothing(prosthetic=False)
    return pm.FirstOperation(
        kind=_KINDS[one.kind],
        stage=one.stage,
        label=stage_words(one.stage, protocol),
        family_words=_family_words(one.stage, protocol),
        age_years=round(one.age_years, 3),
        amount_mm=round(one.mm, 1),
        physes=one.physes,
    )


def _family_words(id: str, protocol: Protocol) -> str:
    kinds = {stage.id: stage for stage in protocol.stages}
    stage = kinds.get(id) or kinds.get(id.rpartition("_")[0])
    return stage.family_words if stage is not None else ""


def _by_gap(call: fc.FirstCall, protocol: Protocol) -> pm.CloseBecause:
    gap = call.gap or 0.0
    if call.kept:
        words = (
            "The first operation of the plan accepted before is kept: by today's figures the other is better by "
            f"{abs(gap):.2f} only (1 is a planned operation), less than the {protocol.number('kept_gap'):g} that the "
            "calculation can tell."
        )
        return pm.CloseBecause(what="kept", sentence=words)
    words = f"By the weights of the rules the second is only {gap:.2f} worse (1 is a planned operation)."
    return pm.CloseBecause(what="gap", sentence=words)


def _by_threshold(leaf: Verdict, one: pm.FirstOperation, two: pm.FirstOperation, protocol: Protocol) -> pm.CloseBecause:
    what, unit = _what(leaf, protocol)
    value = f"{leaf.value:.0f}" if leaf.subject in PREDICTED and isinstance(leaf.value, int | float) else leaf.value
    if isinstance(value, float):
        value = f"{value:g}"
    found = f"{what} {value}{unit}" if value is not None else what
    words = (
        f"{found[0].upper()}{found[1:]} is within its reading error of the threshold {_number(leaf.threshold)}{unit}: "
        f"read on the other side of it, {_then(one, two)}."
    )
    return pm.CloseBecause(what="threshold", id=str(leaf.finding or leaf.subject), sentence=words)


def _number(value: object) -> str:
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _then(one: pm.FirstOperation, two: pm.FirstOperation) -> str:
    """Return what another reading makes of the first operations: what is added to them, left out, or comes instead."""
    before, after = ({op.label, *op.also_labels} for op in (one, two))
    added, dropped = (" and ".join(sorted(x)) for x in (after - before, before - after))
    near = abs((one.age_years or 0.0) - (two.age_years or 0.0)) < 0.5
    if near and added and not dropped:
        return f"{lower_first(added)} is added"
    if near and dropped and not added:
        return f"{lower_first(dropped)} is left out"
    return f"{op_words(two)} comes first"


def _what(leaf: Verdict, protocol: Protocol) -> tuple[str, str]:
    if leaf.finding is None:
        return PREDICTED_LABELS[str(leaf.subject)], " mm"
    rule = protocol.finding(leaf.finding)
    return rule.label, f" {rule.unit}".rstrip()


def _date(op: pm.FirstOperation, stages: Sequence[pm.PlanStage], question: Question) -> datetime.date | None:
    """Return the day of an operation: the plan's own where it has that one, else that of its age."""
    if op.age_years is None:
        return None
    for stage in stages:
        if stage.id == op.stage and stage.date is not None and abs((stage.age_years or 0.0) - op.age_years) < 0.5:
            return stage.date
    return max(datetime.date.fromordinal(day_at_age(_born(question), op.age_years).toordinal()), question.on)


def _born(question: Question) -> datetime.date:
    return question.record.child.date_of_birth


def _film(before: datetime.date | None, posterior: Posterior | None, question: Question) -> pm.DecidesOn | None:
    """Return the last film of the visits to come before a day: of all before it the one that tells most.

    None once growth has ended: no film tells more then.
    """
    if posterior is None or posterior.age_years >= posterior.mature_age_years:
        return None
    every = int(question.protocol.number("next_visit_months"))
    last = max((visit.date for visit in question.record.visits), default=question.on)
    first = max(add_months(last, every), question.on)
    if before is None or first >= before:
        return pm.DecidesOn(what="film", label="film of both legs", on=before or first)
    days = [first]
    while (day := add_months(first, every * len(days))) <= before:
        if age_years(_born(question), day) >= posterior.mature_age_years:
            break
        days.append(day)
    return pm.DecidesOn(what="film", label="film of both legs", on=days[-1])


def _again(
    leaf: Verdict, before: datetime.date | None, stages: Sequence[pm.PlanStage], question: Question
) -> pm.DecidesOn:
    """Return the reading that is repeated: when its gate looks again, else at the next visit."""
    every = int(question.protocol.number("next_visit_months"))
    last = max((visit.date for visit in question.record.visits), default=question.on)
    gates = (gate for stage in stages for gate in stage.gates if gate.finding == leaf.finding and leaf.finding)
    looks = min((gate.look_again_on for gate in gates if gate.look_again_on is not None), default=None)
    day = max(looks or add_months(last, every), question.on)
    day = day if before is None else max(min(day, before), question.on)
    if leaf.finding is None:
        return pm.DecidesOn(what="film", label="film of both legs", on=day)
    return pm.DecidesOn(what="finding", finding=leaf.finding, label=_what(leaf, question.protocol)[0], on=day)


def _sentences(part: pm.FirmnessPart, stages: Sequence[pm.PlanStage]) -> Iterator[str]:
    one, two = (op_words(op) for op in part.between)
    until = "family and team decide; no film tells more"
    if part.decide_on is not None:
        day = part.decide_on.on
        film = part.decide_on.what == "film"
        until = f"until the film of {day}" if film else f"until {part.decide_on.label} is read again by {day}"
    joined = until if until.startswith("until") else f"({until})"
    yield f"The first operation is a close call: undecided between {one} and {two} {joined}."
    yield from (item.sentence for item in part.why)
    labels = {stage.id: f"{lower_first(stage.label)} on {stage.date}" for stage in stages}
    if part.shared:
        yield f"Both share, and firm until then: {', '.join(labels[id] for id in part.shared)}."
    by_weights = any(item.what != "threshold" for item in part.why)
    shown = "`limb-pathway programme` shows both; family" if by_weights else "Family"
    yield f"{shown} and team choose."
