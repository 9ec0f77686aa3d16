"""What is missing, what it decides and by when."""

from __future__ import annotations

import datetime
from collections.abc import Sequence

from pathway import plan_model as pm
from pathway.classify import Classified
from pathway.findings import Findings, Unknown
from pathway.growth import Posterior
from pathway.protocol.model import Protocol
from pathway.staging import StageGraph


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
        for finding in item.asks if item.scheme.asks else ():
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
