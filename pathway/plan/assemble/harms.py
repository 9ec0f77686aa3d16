"""What may go wrong at a stage of the plan, and how often: by pooled counts, by one published count, or not known."""

from __future__ import annotations

import math
from collections.abc import Iterator

from pathway.courses.policy.risks import LASTING, hip_cover, joint_before, lasting_harm_of, lengthening_of
from pathway.plan import model as pm
from pathway.protocol.harm import StageHarm
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.risk.fitting import interval_z
from pathway.risk.rates import HUNDRED, rate
from pathway.risk.step_risks import Level, step_risks
from pathway.risk.steps import Step

NOT_COUNTED = "no count of it is carried in the rules"
NO_AMOUNT = "it depends on the amount, which is not decided"
OF_SUCH = "such lengthenings"


def stage_harms(stage: pm.PlanStage, question: Question) -> tuple[pm.StageHarm, ...]:
    """Return what may go wrong at a stage that is still to come, in the order of the rules; none for what is begun."""
    if stage.begun:
        return ()
    return tuple(_harms(stage, question))


def _harms(stage: pm.PlanStage, question: Question) -> Iterator[pm.StageHarm]:
    protocol = question.protocol
    step = _step(stage, question)
    for rule in protocol.stage_harms:
        if stage.kind not in rule.stages and not (rule.operations and stage.operation):
            continue
        bare = pm.StageHarm(
            id=rule.id,
            label=rule.label,
            family_words=rule.family_words,
            why_not=NOT_COUNTED,
            sources=rule.sources,
            provenance=rule.provenance,
            local=rule.local,
        )
        if rule.outcome is not None:
            yield _pooled(bare, rule.outcome, step, protocol)
        else:
            yield _counted(bare, rule, protocol)


def _pooled(bare: pm.StageHarm, outcome: str, step: Step | None, protocol: Protocol) -> pm.StageHarm:
    """Return how many of 100 such lengthenings have the outcome at least once, with the range of a new team."""
    if step is None:
        return bare.model_copy(update={"why_not": NO_AMOUNT})
    found = rate(protocol, outcome, step)
    sources = tuple(dict.fromkeys(source for count in found.counts for source in count.sources)) or bare.sources
    if found.centre is None or found.low is None or found.high is None:
        return bare.model_copy(update={"why_not": found.why_not, "sources": sources})
    often, low, high = (at_least_once(events) for events in (found.centre, found.low, found.high))
    if outcome == LASTING:  # in the words of the rules a loose joint is one, too: counted as in the whole plan
        often, low, high = (_lasting(step, protocol, level) for level in ("centre", "low", "high"))
    told = {"per_100": often, "low": low, "high": high, "of": OF_SUCH, "why_not": "", "sources": sources}
    return bare.model_copy(update=told)


def _lasting(step: Step, protocol: Protocol, level: Level) -> float:
    """Return of how many of 100 such lengthenings some harm stays, that share of the joints that slip with it."""
    risks = step_risks(protocol, step, level=level)
    return round(HUNDRED * float(lasting_harm_of(risks, protocol.number("slip_lasting_share"))), 1)


def at_least_once(events_per_hundred: float) -> float:
    """Return how many of a hundred have at least one of events that know nothing of each other."""
    return round(-HUNDRED * math.expm1(-events_per_hundred / HUNDRED), 1)


def _counted(bare: pm.StageHarm, rule: StageHarm, protocol: Protocol) -> pm.StageHarm:
    """Return what one series counted, with what chance alone leaves open."""
    if rule.of_100 is not None and rule.cases is not None:
        of_100, cases, of = rule.of_100, float(rule.cases), f"{rule.cases} cases of one series"
    elif rule.count is not None:
        count = next(item for item in protocol.harms if item.id == rule.count)
        if count.of is None:
            return bare
        of_100, cases, of = HUNDRED * count.n / count.of, count.of, count.population
    else:
        return bare
    low, high = _between(of_100 / HUNDRED, cases, interval_z(protocol))
    return bare.model_copy(
        update={"per_100": round(of_100, 1), "low": round(low, 1), "high": round(high, 1), "of": of, "why_not": ""}
    )


def _between(share: float, cases: float, z: float) -> tuple[float, float]:
    """Return the score interval of a share, of 100 (Wilson EB. J Am Stat Assoc 1927;22:209-212)."""
    whole = 1 + z**2 / cases
    middle = (share + z**2 / (2 * cases)) / whole
    half = z / whole * math.sqrt(share * (1 - share) / cases + z**2 / (4 * cases**2))
    return HUNDRED * max(middle - half, 0.0), HUNDRED * min(middle + half, 1.0)


def _step(stage: pm.PlanStage, question: Question) -> Step | None:
    """Return the lengthening that a stage is, as the published counts see it; None for no such, or without amount."""
    bone = question.protocol.stage(stage.kind).bone
    if bone is None or stage.amount_mm is None or stage.amount_percent is None or stage.age_years is None:
        return None
    device = None if stage.device is None else question.protocol.device(stage.device.id)
    return lengthening_of(
        question,
        bone,
        stage.amount_mm,
        stage.amount_percent,
        stage.age_years,
        hip_cover(question),
        device,
        joints=joint_before(question),
    )
