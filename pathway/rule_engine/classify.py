"""Published classifications applied to a child."""

from __future__ import annotations

from dataclasses import dataclass, replace

from pathway.protocol.model import Classification, Protocol, Type
from pathway.record import WhyUnknown
from pathway.rule_engine.conditions import ClassFact, Facts, judge
from pathway.rule_engine.verdict import Verdict

UNDETERMINED = "undetermined"


@dataclass(frozen=True, slots=True)
class Classified:
    """A scheme's answer: the type that holds with its verdict, or none and what would settle it.

    `open` are the types that are not ruled out, `judged` all types with their verdicts, `why` the kind of
    not-knowing that leaves the child undetermined.
    """

    scheme: Classification
    type: Type | None
    verdict: Verdict | None
    asks: frozenset[str]
    open: frozenset[str] = frozenset()
    judged: tuple[tuple[Type, Verdict], ...] = ()
    why: WhyUnknown = "never_measured"


def classify(facts: Facts, protocol: Protocol) -> tuple[Classified, ...]:
    """Return the answer of every scheme that applies to the diagnosis.

    Exactly one type must hold for a child to be classified. Where none holds yet some are unknown, the child
    is undetermined and `asks` names the findings of the types still open; where none can hold any more, the
    scheme has no type for this child and `asks` is empty.
    """
    results = []
    for scheme in protocol.classifications:
        if facts.diagnosis not in scheme.applies_to:
            continue
        judged = tuple((kind, judge(kind.when, facts, protocol)) for kind in scheme.types)
        holding = [(kind, verdict) for kind, verdict in judged if verdict.state == "holds"]
        possible = frozenset(kind.type for kind, verdict in judged if verdict.state != "fails")
        if len(holding) == 1:
            results.append(Classified(scheme, holding[0][0], holding[0][1], frozenset(), possible, judged))
            continue
        unknown = [verdict for _, verdict in judged if verdict.state == "unknown"]
        asks = frozenset(finding for verdict in unknown for finding in verdict.asks)
        why: WhyUnknown = next((verdict.why_unknown for verdict in unknown if verdict.why_unknown), "never_measured")
        results.append(Classified(scheme, None, None, asks, possible, judged, why))
    return tuple(results)


def with_classes(facts: Facts, classified: tuple[Classified, ...]) -> Facts:
    """Return `facts` with the types found, for conditions that ask for a type."""
    classes = {
        item.scheme.id: ClassFact(item.type.type if item.type else UNDETERMINED, item.asks, item.open, item.why)
        for item in classified
    }
    return replace(facts, classes=classes)
