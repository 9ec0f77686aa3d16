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

from pathway.plan.model import Considered, Plan, PlanStage
from pathway.protocol.model import Protocol
from pathway.questions.formula import FAILS, HOLDS, NOT_FAILS, NOT_HOLDS, Change, Goal, Variables, solve, state_of
from pathway.rule_engine.verdict import OPPOSITE, State, Verdict

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
    three sets of the smallest size are returned for each effect, the nearest first; none for a stage done, and none
    for a child with two short legs, whose stages hang on the findings of both.
    """
    if plan.child.affected_side == "both":
        return ()
    if stage is not None and stage.status in ("done", "under_way"):
        return ()
    found: list[WhatIf] = []
    for effect, goal in _goals(_Trees(plan, protocol), kind, stage):
        variables = Variables(protocol, (verdict for wish in goal for verdict, _ in wish))
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
        opened = trees.opened(verdict)
        variables = Variables(protocol, (opened,))
        for finding in variables.unknown_findings():
            settles = variables.settled_by(finding, opened)
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
        for leaf in verdict.leaves() if verdict else ():
            if leaf.finding is None or leaf.margin is None or not leaf.sd or abs(leaf.margin) > leaf.sd:
                continue
            if isinstance(leaf.value, float) and isinstance(leaf.threshold, float):
                known = protocol.finding(leaf.finding)
                label = known.label if leaf.leg != "other" else f"{known.label} of the other leg"
                item = Near(leaf.finding, label, known.unit, leaf.value, leaf.threshold, leaf.sd, rule)
                found.setdefault((label, leaf.threshold), item)
    return tuple(found.values())


def _counting(plan: Plan, about: str) -> list[Considered]:
    return [item for item in plan.considered if item.about == about and not item.waived]


def _unknown(plan: Plan, protocol: Protocol) -> Iterator[tuple[str, str, Verdict]]:
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
    """The plan's verdict trees, in which types and planned stages are opened to the verdicts that they hang on."""

    def __init__(self, plan: Plan, protocol: Protocol) -> None:
        self._protocol = protocol
        self._about: dict[tuple[str, str], list[Considered]] = {}
        for item in plan.considered:
            self._about.setdefault((item.kind, item.about), []).append(item)
        self._begun = {stage.kind for stage in plan.stages if stage.status in ("done", "under_way")}

    def opposed(self, kind: str) -> list[Verdict]:
        """Return what speaks against a stage and leaves it in the plan, opened."""
        return self._against(kind, impossible=False)

    def impossible(self, kind: str) -> list[Verdict]:
        """Return what leaves nothing to operate on, so that the stage is not in the plan at all, opened."""
        return self._against(kind, impossible=True)

    def _against(self, kind: str, *, impossible: bool) -> list[Verdict]:
        out = {rule.id for rule in self._protocol.contraindications_of(kind) if rule.impossible}
        return [
            self.opened(item.reason.verdict)
            for item in self.rules("contraindication", kind)
            if item.reason.verdict and not item.waived and (item.reason.rule in out) == impossible
        ]

    def rules(self, kind: str, about: str) -> list[Considered]:
        """Return the considered rules of a kind (indication, contraindication, type) about a stage or scheme."""
        return self._about.get((kind, about), [])

    def indications(self, stage: str, *, optional: bool | None = None, within: tuple[str, ...] = ()) -> list[Verdict]:
        """Return the verdicts of a stage's indications: all, or only the optional or the required ones."""
        items = self.rules("indication", stage)
        chosen = [item for item in items if optional is None or item.optional is optional]
        return [self.opened(item.reason.verdict, within) for item in chosen if item.reason.verdict]

    def opened(self, verdict: Verdict, within: tuple[str, ...] = ()) -> Verdict:
        """Return a verdict tree whose types and stages have for parts the verdicts of which one must hold."""
        if verdict.form == "classification":
            return _hanging_on(self._types(verdict, within), verdict)
        if verdict.form == "stage" and verdict.threshold in ("planned", "offered"):
            return _hanging_on(self._grounds(verdict, within), verdict)
        parts = tuple(self.opened(part, within) for part in verdict.parts)
        if all(opened is part for opened, part in zip(parts, verdict.parts, strict=True)):
            return verdict
        return verdict.model_copy(update={"parts": parts})

    def _types(self, verdict: Verdict, within: tuple[str, ...]) -> list[Verdict]:
        wanted = verdict.threshold if isinstance(verdict.threshold, tuple) else ()
        types = [item for item in self.rules("type", str(verdict.subject)) if item.type in wanted]
        return [self.opened(item.reason.verdict, within) for item in types if item.reason.verdict]

    def _grounds(self, verdict: Verdict, within: tuple[str, ...]) -> list[Verdict]:
        stage = str(verdict.subject)
        over = any(item.waived for item in self.rules("indication", stage))
        gone = any(contra.state == "holds" for contra in self.impossible(stage))
        if over or gone or stage in within or stage in self._begun:
            return []
        # A lengthening is emitted on any ground; other stages are planned on a required one.
        optional = None if verdict.threshold == "offered" or self._protocol.stage(stage).bone else False
        return self.indications(stage, optional=optional, within=(*within, stage))


def _hanging_on(grounds: list[Verdict], verdict: Verdict) -> Verdict:
    """Return the verdict with its grounds, or as it is where something else decides (a decision, an overlap)."""
    opened = verdict.model_copy(update={"form": "any", "parts": tuple(grounds)})
    measured = not any(leaf.state == "unknown" and leaf.form == "quantity" for leaf in opened.leaves())
    if measured and verdict.form == "stage" and verdict.state == "fails" and state_of(opened) == "unknown":
        # What is not known yet plans nothing: a stage is planned only on a ground that holds.
        opened = opened.model_copy(update={"parts": tuple(_settled(ground, "fails") for ground in grounds)})
    return opened if grounds and state_of(opened) == verdict.state else verdict


def _settled(verdict: Verdict, unknown: State) -> Verdict:
    """Return a verdict tree in which each comparison that is not known counts against what hangs on it."""
    if not verdict.parts:
        return verdict.model_copy(update={"state": unknown}) if verdict.state == "unknown" else verdict
    inner: State = OPPOSITE[unknown] if verdict.form == "not" else unknown
    return verdict.model_copy(update={"parts": tuple(_settled(part, inner) for part in verdict.parts)})


def _goals(trees: _Trees, kind: str, stage: PlanStage | None) -> Iterator[tuple[Effect, Goal]]:
    """Yield each effect that is not there today, with what must come true for it."""
    grounds = trees.indications(kind)
    over = any(item.waived for item in trees.rules("indication", kind))
    required = trees.indications(kind, optional=False) or grounds
    if not grounds:
        return
    impossible = trees.impossible(kind)
    added = [[(ground, HOLDS) for ground in required], *([(contra, NOT_HOLDS)] for contra in impossible)]
    if stage is None:
        if not over:
            yield "add", added
        return
    indicated = any(reason.verdict and reason.verdict.state == "holds" for reason in stage.because)
    wanted = not indicated or (stage.status == "optional" and bool(trees.indications(kind, optional=False)))
    if wanted and not over:
        yield "add", added
    # That a joint or bone might be absent is no reading to take again: it is not told as a way to drop a stage.
    yield "drop", [[(ground, FAILS)] for ground in grounds]
    contras = trees.opposed(kind)
    gates = [trees.opened(gate.verdict) for gate in stage.gates if gate.state in ("holds", "fails", "unknown")]
    stopped = any(gate.state in ("fails", "unknown") for gate in stage.gates)
    stopped |= any(item.against for item in stage.because)
    stays = [(ground, NOT_FAILS) for ground in grounds]
    there = [[(contra, NOT_HOLDS)] for contra in impossible]
    if stopped:
        free = [*([(gate, HOLDS)] for gate in gates), *([(contra, NOT_HOLDS)] for contra in contras)]
        yield "unlock", [stays, *there, *free]
    elif indicated and (contras or gates):
        # What is planned today stays planned only on a ground that still holds.
        stays = [(ground, HOLDS) for ground in grounds]
        yield "block", [stays, *there, [*((contra, HOLDS) for contra in contras), *((gate, FAILS) for gate in gates)]]


__all__ = [
    "Change",
    "Deciding",
    "Near",
    "WhatIf",
    "deciding_measurements",
    "near_thresholds",
    "smallest_changes",
]
