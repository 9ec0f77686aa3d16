"""The plan as Goals, ServiceRequests and a CarePlan: all drafts and proposals, for a surgeon decides."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from pathway.exports.fhir.codes import FINDINGS, STAGES, Json, coding, concept, quantity
from pathway.exports.fhir.parts import Addresses, told
from pathway.plan.model import GATE_WORDS, Plan, PlanStage
from pathway.protocol.guidance import Goal
from pathway.protocol.model import Condition, Protocol
from pathway.views.words import roads

STATUS = {
    "done": "completed",
    "under_way": "active",
    "ready": "draft",
    "later": "draft",
    "blocked": "draft",
    "optional": "draft",
}
"""What the standard calls the state of a stage: nothing to come is more than a draft."""


def goals(plan: Plan, protocol: Protocol, at: Addresses) -> Iterator[Json]:
    """Yield the goals of the protocol that belong to this plan: those of the whole and those of its dated stages."""
    kinds = {stage.kind for stage in plan.stages if stage.date is not None and stage.status != "done"}
    for goal in protocol.goals:
        if goal.stage is None or goal.stage in kinds:
            target = _target(goal, protocol)
            yield {
                "resourceType": "Goal",
                "id": at.id("goal", goal.id),
                "lifecycleStatus": "proposed",
                "description": concept(goal.target),
                "subject": at.subject,
                "addresses": [at.reference("condition")],
                "note": [{"text": f"Assessed {goal.when}. {goal.because}"}],
                **({"target": [target]} if target else {}),
            }


def _target(goal: Goal, protocol: Protocol) -> Json | None:
    """Return the goal as a measure where it bounds one number; None where only words can say it."""
    if goal.requires is None or goal.requires.any is not None or goal.requires.negate is not None:
        return None
    leaves = goal.requires.leaves()
    names = {leaf.finding for leaf in leaves}
    name = names.pop() if len(names) == 1 else None
    if name is None or protocol.finding(name).kind != "number":
        return None
    rule = protocol.finding(name)
    measure = concept(rule.label, coding(FINDINGS, rule.id))
    low = [leaf.at_least for leaf in leaves if leaf.at_least is not None]
    high = [leaf.at_most for leaf in leaves if leaf.at_most is not None]
    if len(leaves) == 1:
        return {"measure": measure, "detailQuantity": _bound(leaves[0], rule.unit)}
    if len(low) == len(high) == 1 and len(leaves) == 2:
        return {
            "measure": measure,
            "detailRange": {"low": quantity(low[0], rule.unit), "high": quantity(high[0], rule.unit)},
        }
    return None


def _bound(leaf: Condition, unit: str) -> Json:
    for value, comparator in ((leaf.at_least, ">="), (leaf.above, ">"), (leaf.at_most, "<="), (leaf.below, "<")):
        if value is not None:
            return {**quantity(value, unit), "comparator": comparator}
    raise ValueError("a goal that bounds a number compares it")


def requests(plan: Plan, at: Addresses) -> Iterator[Json]:
    """Yield the stages of the plan as requests: done, under way, planned, or optional and without a day.

    Not those of the prosthetic road: nobody asked for them, and a program requests no amputation (see `care_plan`).
    """
    for stage in roads.other_stages(plan):
        amount = _amount(stage)
        period = {} if stage.date is None else {"start": stage.date.isoformat()}
        if stage.date is not None and stage.end_date is not None:
            period["end"] = stage.end_date.isoformat()
        yield {
            "resourceType": "ServiceRequest",
            "id": at.id("stage", stage.id),
            "identifier": [{"system": STAGES, "value": stage.id}],
            "basedOn": [at.reference("plan")],
            "status": STATUS[stage.status],
            "intent": "option" if stage.status == "optional" else "plan",
            "code": concept(stage.label, coding(STAGES, stage.kind)),
            **({"quantityQuantity": amount} if amount else {}),
            "subject": at.subject,
            **({"occurrencePeriod": period} if period else {}),
            "reasonReference": [at.reference("condition")],
            "bodySite": [concept(f"{stage.side} leg")],
            "note": [{"text": text} for text in (stage.what, *_notes(stage))],
            **({"patientInstruction": stage.family_words} if stage.family_words else {}),
        }


def _amount(stage: PlanStage) -> Json | None:
    if stage.amount_mm is not None:
        return quantity(stage.amount_mm, "mm")
    return None if stage.amount_deg is None else quantity(stage.amount_deg, "deg")


def _notes(stage: PlanStage) -> Iterator[str]:
    if stage.status == "blocked":
        yield "Cannot start yet."
    if stage.window is not None:
        latest = "" if stage.window.latest is None else f" and not after {stage.window.latest}"
        yield f"Under the rules not before {stage.window.earliest}{latest}."
    yield from (f"Gate, {GATE_WORDS[gate.state]}: {gate.requires}." for gate in stage.gates)
    yield from stage.stop_rules


def care_plan(plan: Plan, at: Addresses, goals: Sequence[Json], findings: Sequence[Json]) -> Json:
    """Return the plan that holds it all together; `goals` and `findings` are the resources it points to."""
    days = [day for stage in plan.stages for day in (stage.date, stage.end_date) if day is not None]
    made = {
        "resourceType": "CarePlan",
        "id": at.id("plan"),
        "status": "draft",
        "intent": "plan",
        "title": f"Planned treatment, as of {plan.on}",
        "description": f"Made with {plan.protocol.name} {plan.protocol.version}.",
        "subject": at.subject,
        "created": plan.on.isoformat(),
        "author": at.reference("device"),
        "addresses": [at.reference("condition")],
        "note": [
            {"text": text}
            for text in (*told(plan), *(item.explanation for item in plan.conflicts), *plan.notices, *_roads(plan))
        ],
    }
    if days:
        made["period"] = {"start": min(days).isoformat(), "end": max(days).isoformat()}
    if goals:
        made["goal"] = [{"reference": f"urn:uuid:{goal['id']}"} for goal in goals]
    if findings:
        made["supportingInfo"] = [{"reference": f"urn:uuid:{finding['id']}"} for finding in findings]
    stages = roads.other_stages(plan)
    if stages:
        made["activity"] = [{"reference": at.reference("stage", s.id, display=s.label)} for s in stages]
    return made


def _roads(plan: Plan) -> Iterator[str]:
    """Yield in words how the roads stand, the prosthetic road with its usual ages, and what is not planned."""
    if plan.roads is not None:
        yield " ".join((plan.roads.sentence, *(item.text for item in plan.roads.because)))
    for stage in roads.prosthetic_stages(plan):
        yield f"Prosthetic road, not requested: {stage.label}, {roads.usual_words(plan, stage)}."
    for text in roads.not_planned(plan):
        yield f"Not planned here: {text}"
