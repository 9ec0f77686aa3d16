"""What would change a stage: the smallest set of changed findings, found exactly from the plan's verdict trees.

Nothing is planned anew. Every rule that was considered stands in the plan as a tree of verdicts; each finding of
these trees gets the few values that can make a difference (a threshold, the next step beside it, each other
choice), and the trees are solved over these values. Sets are compared by their size first, then by the sum of
their distances in units of the measurement error. A finding worked out from others and a predicted value count
as findings of their own; a predicted value moves with its whole spread.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from pathway.plan.model import Considered, Plan, PlanStage, VerdictRecord
from pathway.protocol.model import Protocol
from pathway.questions.formula import Change, Node, Variables, all_of, any_of, negated, solve, state_of

Effect = Literal["add", "drop", "block", "unlock"]
SHOWN_SETS = 3


@dataclass(frozen=True, slots=True)
class WhatIf:
    """One smallest set of changes with its effect on a stage; `distance` is its sum in measurement errors."""

    effect: Effect
    changes: tuple[Change, ...]
    distance: float


@dataclass(frozen=True, slots=True)
class Deciding:
    """A finding that is not known: the judgements it can settle alone, those it settles whatever its value.

    `stages` are the kinds of stages and the schemes that these judgements are about.
    """

    finding: str
    label: str
    how: str
    could_settle: tuple[str, ...]
    always_settles: tuple[str, ...]
    stages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Near:
    """A reading that lies within its error of a threshold that matters for a stage."""

    finding: str
    label: str
    unit: str
    value: float
    threshold: float
    sd: float
    rule: str


def smallest_changes(plan: Plan, kind: str, protocol: Protocol, stage: PlanStage | None = None) -> tuple[WhatIf, ...]:
    """Return, for each effect that is possible, the smallest sets of changed findings that bring it about.

    `kind` is a kind of stage, whether in the plan or not; `stage` is the one of that kind in the plan. At most
    three sets of the smallest size are returned for each effect, the nearest first; none for a stage done.
    """
    if stage is not None and stage.status in ("done", "under_way"):
        return ()
    found: list[WhatIf] = []
    for effect, goal in _goals(_Trees(plan, protocol), kind, stage):
        variables = Variables(protocol, goal)
        for cube in solve(goal, variables)[:SHOWN_SETS]:
            changes = variables.changes(cube)
            if changes:
                found.append(WhatIf(effect, changes, round(sum(change.distance for change in changes), 3)))
    return tuple(found)


def deciding_measurements(plan: Plan, protocol: Protocol, kind: str | None = None) -> tuple[Deciding, ...]:
    """Return the findings that are not known, those that can settle most first.

    Counted are types, indications, contraindications and gates of the plan that read unknown; with `kind` only
    those of one kind of stage. What is worked out is counted under the findings that it is worked out from.
    """
    trees = _Trees(plan, protocol)
    could: dict[str, list[tuple[str, str]]] = {}
    always: dict[str, list[str]] = {}
    for rule, about, verdict in _unknown(plan, protocol):
        if kind is not None and about != kind:
            continue
        node = trees.node(verdict)
        variables = Variables(protocol, node)
        for finding in variables.unknown_findings():
            settles = variables.settled_by(finding, node)
            if settles:
                could.setdefault(finding, []).append((rule, about))
            if settles == "always":
                always.setdefault(finding, []).append(rule)
    found = [
        Deciding(
            finding,
            protocol.finding(finding).label,
            protocol.finding(finding).how,
            tuple(rule for rule, _ in items),
            tuple(always.get(finding, ())),
            tuple(dict.fromkeys(about for _, about in items)),
        )
        for finding, items in could.items()
    ]
    return tuple(sorted(found, key=lambda d: (-len(d.could_settle), -len(d.always_settles), d.finding)))


def near_thresholds(plan: Plan, stage: PlanStage, protocol: Protocol) -> tuple[Near, ...]:
    """Return the readings that decide about a stage and lie within one error of their threshold."""
    found: dict[tuple[str, float], Near] = {}
    judged = [(item.rule, item.verdict) for item in stage.because]
    judged += [(gate.id, gate.verdict) for gate in stage.gates if gate.state not in ("later", "waived")]
    judged += [(item.reason.rule, item.reason.verdict) for item in _counting(plan, stage.kind)]
    for rule, verdict in judged:
        for leaf in leaves(verdict) if verdict else ():
            if leaf.finding is None or leaf.margin is None or not leaf.sd or abs(leaf.margin) > leaf.sd:
                continue
            if isinstance(leaf.value, float) and isinstance(leaf.threshold, float):
                known = protocol.finding(leaf.finding)
                label = known.label if leaf.leg != "other" else f"{known.label} of the other leg"
                item = Near(leaf.finding, label, known.unit, leaf.value, leaf.threshold, leaf.sd, rule)
                found.setdefault((label, leaf.threshold), item)
    return tuple(found.values())


def leaves(verdict: VerdictRecord) -> Iterator[VerdictRecord]:
    """Yield the comparisons at the ends of a verdict tree, in reading order."""
    if not verdict.parts:
        yield verdict
    for part in verdict.parts:
        yield from leaves(part)


def _counting(plan: Plan, about: str) -> list[Considered]:
    return [item for item in plan.considered if item.about == about and not item.waived]


def _unknown(plan: Plan, protocol: Protocol) -> Iterator[tuple[str, str, VerdictRecord]]:
    shown_only = {scheme.id for scheme in protocol.classifications if not scheme.asks}
    for item in plan.considered:
        verdict = item.reason.verdict
        if verdict and verdict.state == "unknown" and not item.waived and item.about not in shown_only:
            yield item.reason.rule, item.about, verdict
    for stage in plan.stages:
        for gate in stage.gates:
            if gate.state == "unknown":
                yield gate.id, stage.kind, gate.verdict


class _Trees:
    """The plan's verdict trees as formulas: types and planned stages are replaced by what they hang on."""

    def __init__(self, plan: Plan, protocol: Protocol) -> None:
        self._protocol = protocol
        self._about: dict[tuple[str, str], list[Considered]] = {}
        for item in plan.considered:
            self._about.setdefault((item.kind, item.about), []).append(item)
        self._begun = {stage.kind for stage in plan.stages if stage.status in ("done", "under_way")}

    def rules(self, kind: str, about: str) -> list[Considered]:
        """Return the considered rules of a kind (indication, contraindication, type) about a stage or scheme."""
        return self._about.get((kind, about), [])

    def indications(self, stage: str, *, optional: bool | None = None, within: tuple[str, ...] = ()) -> list[Node]:
        """Return the formulas of a stage's indications: all, or only the optional or the required ones."""
        items = self.rules("indication", stage)
        chosen = [item for item in items if optional is None or item.optional is optional]
        return [self.node(item.reason.verdict, within) for item in chosen if item.reason.verdict]

    def node(self, verdict: VerdictRecord, within: tuple[str, ...] = ()) -> Node:
        """Return the formula of a verdict tree."""
        if verdict.form in ("all", "any"):
            parts = [self.node(part, within) for part in verdict.parts]
            return all_of(parts) if verdict.form == "all" else any_of(parts)
        if verdict.form == "not":
            return negated(self.node(verdict.parts[0], within))
        if verdict.form in ("finding", "quantity"):
            return Node("leaf", verdict=verdict)
        if verdict.form == "classification":
            return self._of_types(verdict, within)
        if verdict.form == "stage" and verdict.threshold in ("planned", "offered"):
            return self._of_stage(verdict, within)
        return Node("fixed", state=verdict.state)

    def _of_types(self, verdict: VerdictRecord, within: tuple[str, ...]) -> Node:
        wanted = verdict.threshold if isinstance(verdict.threshold, tuple) else ()
        types = [item for item in self.rules("type", str(verdict.subject)) if item.type in wanted]
        return _or_fixed(any_of([self.node(v, within) for item in types if (v := item.reason.verdict)]), verdict)

    def _of_stage(self, verdict: VerdictRecord, within: tuple[str, ...]) -> Node:
        stage = str(verdict.subject)
        over = any(item.waived for item in self.rules("indication", stage))
        if over or stage in within or stage in self._begun:
            return Node("fixed", state=verdict.state)
        # A lengthening is emitted on any ground; other stages are planned on a required one.
        optional = None if verdict.threshold == "offered" or self._protocol.stage(stage).bone else False
        return _or_fixed(any_of(self.indications(stage, optional=optional, within=(*within, stage))), verdict)


def _or_fixed(node: Node, verdict: VerdictRecord) -> Node:
    """Return the formula, or today's state where something else than findings decides (a decision, an overlap)."""
    return node if node.parts and state_of(node) == verdict.state else Node("fixed", state=verdict.state)


def _goals(trees: _Trees, kind: str, stage: PlanStage | None) -> Iterator[tuple[Effect, Node]]:
    """Yield each effect that is not there today, as a formula that must hold."""
    grounds = trees.indications(kind)
    over = any(item.waived for item in trees.rules("indication", kind))
    required = trees.indications(kind, optional=False) or grounds
    if not grounds:
        return
    if stage is None:
        if not over:
            yield "add", any_of(required)
        return
    indicated = any(reason.verdict and reason.verdict.state == "holds" for reason in stage.because)
    wanted = not indicated or (stage.status == "optional" and bool(trees.indications(kind, optional=False)))
    if wanted and not over:
        yield "add", any_of(required)
    gone = all_of([negated(ground) for ground in grounds])
    yield "drop", gone
    opposed = [item for item in trees.rules("contraindication", kind) if not item.waived]
    contras = [trees.node(item.reason.verdict) for item in opposed if item.reason.verdict]
    gates = [trees.node(gate.verdict) for gate in stage.gates if gate.state in ("holds", "fails", "unknown")]
    stopped = any(gate.state in ("fails", "unknown") for gate in stage.gates)
    stopped |= any(item.against for item in stage.because)
    stays = Node("not_true", parts=(gone,))
    if stopped:
        yield "unlock", all_of([stays, *gates, *(Node("not_true", parts=(contra,)) for contra in contras)])
    elif indicated and (contras or gates):
        yield "block", all_of([stays, any_of([*contras, *(negated(gate) for gate in gates)])])


__all__ = [
    "Change",
    "Deciding",
    "Near",
    "WhatIf",
    "deciding_measurements",
    "near_thresholds",
    "smallest_changes",
]
