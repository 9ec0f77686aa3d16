"""The rules as PlanDefinitions (FHIR R4): one for the order of stages, one for each stage with what decides it."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Iterator

from pathway.exports.fhir.codes import STAGES, Json, coding, concept, quantity
from pathway.exports.names import HOME
from pathway.protocol.model import Condition, Interval, Protocol, Rule, Sourced, Stage
from pathway.protocol.model import Goal as GoalRule
from pathway.protocol.words import condition_words

BASE = f"{HOME}/PlanDefinition"
EXTENSIONS = f"{HOME}/StructureDefinition"
START = {"applicability": "Asked for by", "start": "Before it starts"}
_SPACE = uuid.uuid5(uuid.NAMESPACE_URL, BASE)


def rules_bundle(protocol: Protocol) -> Json:
    """Return the protocol as a collection of PlanDefinitions, plain data; drafts, for a clinic reviews its rules."""
    made = [_order(protocol), *(_stage(stage, protocol) for stage in protocol.stages)]
    return {
        "resourceType": "Bundle",
        "id": _id(protocol, "bundle"),
        "type": "collection",
        "entry": [{"fullUrl": f"urn:uuid:{item['id']}", "resource": item} for item in made],
    }


def _key(name: str) -> str:
    """Return a name as the standard wants an id: letters, digits, dashes."""
    return name.replace("_", "-")


def _id(protocol: Protocol, name: str) -> str:
    return str(uuid.uuid5(_SPACE, f"{protocol.name}/{protocol.version}/{name}"))


def _head(protocol: Protocol, name: str, title: str, words: str) -> Json:
    head = next((item.text for item in protocol.cautions if item.head), "")
    return {
        "resourceType": "PlanDefinition",
        "id": _id(protocol, name),
        "url": f"{BASE}/{_key(name)}",
        "version": protocol.version,
        "name": "".join(word.capitalize() for word in name.split("_")),
        "title": title,
        "status": "draft",
        "experimental": True,
        "description": words,
        "usage": head,
    }


def _order(protocol: Protocol) -> Json:
    """Return which stages there are and what comes how long after what."""
    actions = []
    for stage in protocol.stages:
        related = [link for rule in protocol.intervals if rule.later_stage == stage.id for link in _after(rule)]
        actions.append(
            {
                "id": _key(stage.id),
                "title": stage.label,
                "description": stage.what,
                "code": [concept(stage.label, coding(STAGES, stage.id))],
                **({"relatedAction": related} if related else {}),
                "definitionCanonical": f"{BASE}/{_key(stage.id)}|{protocol.version}",
            }
        )
    words = f"{protocol.name} {protocol.version}: the stages and the intervals between them."
    cited = _cited(protocol, protocol.intervals)
    return {
        **_head(protocol, "order_of_stages", "Order of stages", words),
        **({"relatedArtifact": cited} if cited else {}),
        "action": actions,
    }


def _after(rule: Interval) -> Iterator[Json]:
    """Yield an interval between two stages; one that a stage has to itself or to its end stays in words only."""
    if rule.earlier_stage == rule.later_stage or not rule.later.endswith(".start"):
        return
    offset = {}
    if rule.at_least_months is not None:
        offset["low"] = quantity(rule.at_least_months, "months")
    if rule.at_most_months is not None:
        offset["high"] = quantity(rule.at_most_months, "months")
    relationship = "after-end" if rule.earlier.endswith(".end") else "after-start"
    yield {
        "actionId": _key(rule.earlier_stage),
        "relationship": relationship,
        **({"offsetRange": offset} if offset else {}),
    }


def _stage(stage: Stage, protocol: Protocol) -> Json:
    """Return one stage: goals, what asks for it, what must hold before it, what speaks against it, when to stop."""
    judged = list(_judged(stage, protocol))
    conditions = [_condition(kind, rule, when, protocol) for kind, rule, when in judged]
    goals = [_goal(goal) for goal in protocol.goals if goal.stage == stage.id]
    words = [f"{START[kind]}: {condition_words(when, protocol)}." for kind, _, when in judged]
    words += _words(stage, protocol)
    action = {
        "id": _key(stage.id),
        "title": stage.label,
        "description": stage.what,
        **({"textEquivalent": "\n".join(words)} if words else {}),
        "code": [concept(stage.label, coding(STAGES, stage.id))],
        **({"condition": conditions} if conditions else {}),
        **({"goalId": [goal["id"] for goal in goals]} if goals else {}),
    }
    cited = _cited(protocol, (stage, *_about(stage, protocol)))
    return {
        **_head(protocol, stage.id, stage.label, stage.what),
        **({"relatedArtifact": cited} if cited else {}),
        **({"goal": goals} if goals else {}),
        "action": [action],
    }


def _judged(stage: Stage, protocol: Protocol) -> Iterator[tuple[str, Rule, Condition]]:
    """Yield what is judged of a stage: what asks for it, what must hold before it, what must not."""
    for indication in protocol.indications:
        if indication.stage == stage.id:
            yield "applicability", indication, indication.when
    for gate in protocol.gates:
        if gate.guards == stage.id:
            yield "start", gate, gate.requires
    for against in protocol.contraindications:
        if against.stage == stage.id:
            yield "start", against, Condition.model_validate({"not": against.when})


def _condition(kind: str, rule: Rule, when: Condition, protocol: Protocol) -> Json:
    """Return a condition as extensions: the standard's expressions are in languages that our rules are not in."""
    said = when.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    told = {
        "rule": rule.id,
        "words": f"{condition_words(when, protocol)}. {rule.because}",
        "condition": json.dumps(said, ensure_ascii=False),
    }
    return {
        "extension": [{"url": f"{EXTENSIONS}/{name}", "valueString": text} for name, text in told.items()],
        "kind": kind,
    }


def _goal(goal: GoalRule) -> Json:
    return {"id": _key(goal.id), "description": concept(f"{goal.target} ({goal.when})")}


def _words(stage: Stage, protocol: Protocol) -> Iterator[str]:
    """Yield what no field of the standard holds: limits of amount, ages, stop rules, follow-up."""
    for limit in protocol.amount_limits:
        if limit.stage == stage.id:
            most = (
                f"{limit.most_mm:g} mm" if limit.most_mm is not None else f"{limit.most_percent or 0:g} % of the bone"
            )
            yield f"At most {most} from age {limit.from_age_years:g} to {limit.to_age_years:g}: {limit.because}"
    for window in protocol.age_windows:
        if window.stage == stage.id:
            low = "" if window.at_least_months is None else f" from {window.at_least_months} months"
            high = "" if window.at_most_months is None else f" to {window.at_most_months} months"
            yield f"{'Only' if window.hard else 'Preferably'} at ages{low}{high}: {window.because}"
    yield from (rule.text for rule in protocol.stop_rules if rule.stage == stage.id)
    yield from (rule.text for rule in protocol.follow_ups if rule.stage == stage.id)


def _about(stage: Stage, protocol: Protocol) -> Iterator[Sourced]:
    yield from (rule for _, rule, _ in _judged(stage, protocol))
    yield from (rule for rule in protocol.amount_limits if rule.stage == stage.id)
    yield from (rule for rule in protocol.age_windows if rule.stage == stage.id)
    yield from (rule for rule in protocol.stop_rules if rule.stage == stage.id)
    yield from (rule for rule in protocol.goals if rule.stage == stage.id)
    yield from (rule for rule in protocol.follow_ups if rule.stage == stage.id)


def _cited(protocol: Protocol, rules: Iterable[Sourced]) -> list[Json]:
    ids = dict.fromkeys(id for rule in rules for id in rule.sources)
    known = {source.id: source for source in protocol.sources}
    return [
        {"type": "citation", "citation": known[id].citation, **({"url": url} if (url := known[id].found_at) else {})}
        for id in ids
        if id in known
    ]
