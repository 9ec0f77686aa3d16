"""What is missing, what it decides and by when."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, field

from pathway.growth import Posterior
from pathway.plan import model as pm
from pathway.protocol.model import Contraindication, Protocol
from pathway.rule_engine.classify import Classified
from pathway.rule_engine.findings import Findings, Known, Unknown
from pathway.rule_engine.graph import ChildGraph

PROJECTION = "the growth projection"


@dataclass(slots=True)
class _Asked:
    """What hangs on one finding while it is gathered: by when for what, which rules, which stages it holds up."""

    needed: dict[str, datetime.date] = field(default_factory=dict)
    rules: set[str] = field(default_factory=set)
    blocks: set[str] = field(default_factory=set)


def open_questions(
    graph: ChildGraph,
    classified: Sequence[Classified],
    findings: Findings,
    stages: Sequence[pm.PlanStage],
    posterior: Posterior | None,
    protocol: Protocol,
    on: datetime.date,
) -> tuple[pm.OpenQuestion, ...]:
    """Return what is missing, what each finding decides, and by when.

    In the one order of every list: by the day it is needed, then by name; of one day first what the whole projection
    waits for.
    """
    asked: dict[str, _Asked] = {}

    def ask(finding: str, what: str, by: datetime.date, rule: str, *, blocks: bool = False) -> None:
        for entered in protocol.finding(finding).derived_from or (finding,):
            uses = asked.setdefault(entered, _Asked())
            uses.needed[what] = min(by, uses.needed.get(what, by))
            uses.rules.add(rule)
            if blocks:
                uses.blocks.add(what)

    for item in classified:
        for kind, verdict in item.judged:
            for finding in verdict.asks if item.type is None and item.scheme.asks else ():
                ask(finding, item.scheme.label, on, kind.id)
    in_graph = {item.kind: item for item in graph.stages}
    for considered in graph.considered:
        about = in_graph.get(considered.rule.stage)
        undecided = about is not None and about.state == "unknown"
        opposed = about is not None and isinstance(considered.rule, Contraindication) and not considered.waived
        if about is not None and (undecided or opposed):
            for finding in considered.verdict.asks:
                ask(finding, about.stage.label, on, considered.rule.id)
    for stage in stages:
        for gate in stage.gates if stage.date or stage.status == "blocked" else ():
            if gate.state == "unknown":
                for finding in gate.verdict.asks:
                    by = max(gate.look_again_on or on, on)
                    ask(finding, stage.label, by, gate.id, blocks=stage.status == "blocked")
        # For a lengthening that comes later its device is judged again before it, with its gates.
        if stage.device is not None and stage.status != "later":
            for finding in stage.device.asks:
                ask(finding, stage.label, on, stage.device.id)
    if posterior is None:
        for finding in ("femur_length_mm", "tibia_length_mm"):
            ask(finding, PROJECTION, on, PROJECTION, blocks=True)
    questions = []
    for finding, uses in asked.items():
        rule = protocol.finding(finding)
        fact = findings.get((finding, "affected"))
        if isinstance(fact, Known):
            continue  # what is worked out from it is missing, and measuring it again would not tell
        questions.append(
            pm.OpenQuestion(
                finding=finding,
                label=rule.label,
                family_words=rule.family_words or rule.label,
                how=rule.how,
                why_unknown=fact.why if isinstance(fact, Unknown) else "never_measured",
                needed_for=tuple(sorted(uses.needed)),
                by=min(uses.needed.values()),
                decides=len(uses.rules),
                blocks=tuple(sorted(uses.blocks)),
            )
        )
    return tuple(sorted(questions, key=lambda q: (q.by or on, PROJECTION not in q.blocks, q.label, q.finding)))
