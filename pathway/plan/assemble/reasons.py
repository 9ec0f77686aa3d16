"""Rules, verdicts and classes as plan data."""

from __future__ import annotations

from collections.abc import Iterable

from pathway.plan import model as pm
from pathway.protocol.model import Contraindication, Indication, Protocol, Rule
from pathway.protocol.references import local_ids
from pathway.rule_engine.classify import UNDETERMINED, Classified
from pathway.rule_engine.graph import ChildGraph
from pathway.rule_engine.verdict import Verdict


def reason(rule: Rule, verdict: Verdict | None, *, against: bool = False) -> pm.Reason:
    """Return a rule and its verdict as a reason for a stage, or against it."""
    return pm.Reason(
        rule=rule.id,
        text=rule.because,
        indirect=rule.indirect,
        sources=rule.sources,
        provenance=rule.provenance,
        strength=rule.strength,
        local=rule.local,
        against=against,
        verdict=verdict,
    )


def considered(graph: ChildGraph, found: Iterable[Classified]) -> tuple[pm.Considered, ...]:
    """Return every indication, contraindication and type as judged on the day."""
    rules = [
        pm.Considered(
            kind="indication" if isinstance(item.rule, Indication) else "contraindication",
            about=item.rule.stage,
            optional=isinstance(item.rule, Indication) and item.rule.optional,
            waived=item.waived,
            reason=reason(item.rule, item.verdict, against=isinstance(item.rule, Contraindication)),
        )
        for item in graph.considered
    ]
    types = [
        pm.Considered(kind="type", about=item.scheme.id, type=kind.type, reason=reason(kind, verdict))
        for item in found
        for kind, verdict in item.judged
    ]
    return (*rules, *types)


def local_part(protocol: Protocol) -> pm.PlanProtocol:
    """Return the protocol's card, with what the clinic changed, added or switched off."""
    return pm.PlanProtocol(
        name=protocol.name,
        version=protocol.version,
        local_rules=local_ids(protocol),
        switched_off=tuple(pm.SwitchedOff(id=item.id, because=item.because) for item in protocol.switched_off),
    )


def classification(found: Iterable[Classified]) -> tuple[pm.ClassificationResult, ...]:
    """Return the schemes' answers as plan data; a scheme that asks for nothing is there only with an answer."""
    results = []
    for item in found:
        if item.type is None and not item.scheme.asks:
            continue
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
        return "cannot be determined yet"
    return item.scheme.gap or "the published scheme has no type for these findings"
