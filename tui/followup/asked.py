"""What a follow-up asks of a child: the findings that the next stages wait for first. No screen in here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pathway.casefile.fragments import SKELETAL_AGE
from pathway.plan.model import Plan, PlanStage
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.question import Question
from pathway.record import Leg, Side
from pathway.rule_engine.findings import Findings, Known, Unknown, findings_on
from pathway.rule_engine.verdict import Verdict
from pathway.views.words.paragraphs import in_date_order

LENGTHS = ("femur_length_mm", "tibia_length_mm")
OPEN = ("fails", "unknown", "later")
GAPS = {"not_measurable": "could not be measured", "declined": "was declined"}
"""What became of an attempt that gave no value; of what was never tried nothing is said here."""
OPERATIONS_AHEAD = 2
"""How many operations to come are asked for: what later ones wait for is measured at later visits."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A finding to enter: `name` as in `left.femur_length_mm`, its rule, the last value, why it is asked for.

    `gap` says why the latest attempt gave no value, "" where it gave one: `last` is then of a visit before.
    """

    name: str
    label: str
    rule: FindingRule
    last: Known | None = None
    why: str = ""
    gap: str = ""

    @property
    def words(self) -> str:
        """Return all that a search looks through."""
        return f"{self.label} {self.rule.id}".replace("_", " ").lower()


def asked_next(question: Question, plan: Plan) -> tuple[Asked, ...]:
    """Return the findings that matter next: lengths, what is missing or fails before the next operations, what is old.

    Each stands once, with the first reason why it is asked for.
    """
    findings = findings_on(question)
    found: dict[str, Asked] = {}
    for (finding, leg), why in _reasons(plan, findings, question.protocol):
        for entered in question.protocol.finding(finding).derived_from or (finding,):
            item = _asked(entered, leg, why, question, findings)
            if item is not None:
                found.setdefault(item.name, item)
    return tuple(found.values())


def all_findings(question: Question) -> tuple[Asked, ...]:
    """Return every finding that can be entered, of both legs and of the child, in the order of the catalogue."""
    findings = findings_on(question)
    legs: tuple[Leg, ...] = ("affected", "other")
    items = (_asked(rule.id, leg, "", question, findings) for rule in question.protocol.findings for leg in legs)
    return tuple({item.name: item for item in items if item is not None}.values())


def _reasons(plan: Plan, findings: Findings, protocol: Protocol) -> Iterator[tuple[tuple[str, Leg], str]]:
    legs: tuple[Leg, ...] = ("affected", "other")
    for finding in LENGTHS:
        for leg in legs:
            yield (finding, leg), "the growth of both legs is calculated from it"
    for question in plan.open_questions:
        by = f", by {question.by}" if question.by else ""
        yield (question.finding, "affected"), f"not known; needed for: {', '.join(question.needed_for)}{by}"
    for stage in _coming(plan):
        for gate in stage.gates:
            if gate.state in OPEN:
                for key in _leaves(gate.verdict):
                    yield key, f"{stage.label} requires: {gate.requires}"
    for (finding, leg), fact in findings.items():
        if isinstance(fact, Unknown) and fact.why == "out_of_date" and not protocol.finding(finding).derived:
            yield (finding, leg), f"out of date: {fact.because}"


def _coming(plan: Plan) -> Iterator[PlanStage]:
    """Yield the stages to come, by date, up to the last operation that is asked for."""
    left = OPERATIONS_AHEAD
    for stage in in_date_order(plan):
        if stage.status in ("ready", "later", "blocked", "under_way"):
            yield stage
            left -= stage.operation and stage.status != "under_way"
            if not left:
                return


def _leaves(verdict: Verdict) -> Iterator[tuple[str, Leg]]:
    if verdict.finding is not None:
        yield verdict.finding, verdict.leg or "affected"
    for part in verdict.parts:
        yield from _leaves(part)


def _asked(finding: str, leg: Leg, why: str, question: Question, findings: Findings) -> Asked | None:
    record, rule = question.record, question.protocol.finding(finding)
    fact = findings.get((finding, leg if rule.of == "limb" else "affected"))
    last = fact.last if isinstance(fact, Unknown) else fact
    gap = GAPS.get(fact.why, "") if isinstance(fact, Unknown) else ""
    if gap:
        last = _measured_before(finding, leg if rule.of == "limb" else "affected", question)
    label = rule.label[0].upper() + rule.label[1:]
    if finding == SKELETAL_AGE:
        return Asked(SKELETAL_AGE, label, rule, last, why, gap)
    if rule.derived:
        return None
    if rule.of == "child":
        return Asked(f"child.{finding}", label, rule, last, why, gap)
    side: Side = record.affected_side if leg == "affected" else record.other_side
    return Asked(f"{side}.{finding}", f"{label}, {side}", rule, last, why, gap)


def _measured_before(finding: str, leg: Leg, question: Question) -> Known | None:
    """Return the value of the visits before, where the latest attempt gave none: the bone was measured all the same."""
    visits = tuple(visit.model_copy(update={"missing": ()}) for visit in question.record.visits)
    fact = findings_on(question.about(question.record.model_copy(update={"visits": visits}))).get((finding, leg))
    return fact.last if isinstance(fact, Unknown) else fact
