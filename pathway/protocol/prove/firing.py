"""Rules that decide: each can hold and can fail, and each stage can be asked for and started by some child."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.protocol.model import Condition, Protocol
from pathway.protocol.prove.complaint import Complaint
from pathway.protocol.prove.space import DONE, STATES_OF, Space, Wanted, states_of


def firing_faults(protocol: Protocol, space: Space) -> Iterator[Complaint]:
    """Yield rules that never hold or always hold, and stages that nobody can come to."""
    yield from _one_sided(protocol, space)
    yield from _asked_too_early(protocol)
    yield from _stages_never_indicated(protocol)
    yield from _stages_never_started(protocol, space)
    yield from _menders(protocol)
    yield from _measured_anew(protocol)


def _deciding(protocol: Protocol) -> Iterator[tuple[str, str, Condition]]:
    yield from ((rule.id, "an indication", rule.when) for rule in protocol.indications)
    yield from ((rule.id, "a gate", rule.requires) for rule in protocol.gates)
    yield from ((rule.id, "a contraindication", rule.when) for rule in protocol.contraindications)
    yield from ((rule.id, "a device", rule.tested) for rule in protocol.devices if rule.tested is not None)
    yield from ((goal.id, "a goal", goal.requires) for goal in protocol.goals if goal.requires is not None)
    yield from ((visit.id, "a follow-up", visit.when) for visit in protocol.follow_ups if visit.when is not None)
    yield from ((rule.id, "a way on both sides", rule.when) for rule in protocol.both_sided if rule.when is not None)
    yield from (
        (rule.id, "a limit of an amount", rule.when) for rule in protocol.amount_limits if rule.when is not None
    )
    yield from ((rule.id, "a span of a joint", rule.when) for rule in protocol.spans)
    yield from ((rule.id, "a caution", rule.when) for rule in protocol.cautions if rule.when is not None)


def _one_sided(protocol: Protocol, space: Space) -> Iterator[Complaint]:
    for name, kind, condition in _deciding(protocol):
        if (child := space.example((condition, True))) is None:
            tests = ", ".join(dict.fromkeys(_subject(leaf) for leaf in condition.leaves()))
            yield Complaint(name, f"{kind} that holds for no values of {tests}", "one that can hold", "correct it")
        elif space.example((condition, False)) is None:
            found = f"{kind} that holds whatever is found, as for {child.words}"
            yield Complaint(name, found, "one that can fail", "correct it or drop it")


def _subject(leaf: Condition) -> str:
    return str(leaf.finding or leaf.quantity or leaf.classification or leaf.stage or "the diagnosis")


def _asked_too_early(protocol: Protocol) -> Iterator[Complaint]:
    # Stages are judged in the order of their ranks: what is planned later cannot be known yet.
    place = {stage.id: at for at, stage in enumerate(sorted(protocol.stages, key=lambda stage: stage.rank))}
    for rule in protocol.indications:
        for leaf in rule.when.leaves():
            if leaf.stage is None or leaf.equals in ("done", "not_done", "wished"):
                continue
            if place[leaf.stage] >= place[rule.stage]:
                found = f"a test whether {leaf.stage} is {leaf.equals}, which is judged after {rule.stage}"
                yield Complaint(rule.id, found, "a stage of a lower rank", "give the stages other ranks")
            elif not states_of(protocol.stage(leaf.stage), protocol) & STATES_OF[str(leaf.equals)] - {DONE}:
                found = f"a test whether {leaf.stage} is {leaf.equals}, which no indication makes it"
                yield Complaint(rule.id, found, "an indication of that stage", "add it or correct the test")


def _stages_never_indicated(protocol: Protocol) -> Iterator[Complaint]:
    indicated = {rule.stage for rule in protocol.indications}
    for stage in protocol.stages:
        if stage.operation and stage.id not in indicated:
            yield Complaint(stage.id, "an operation that no rule indicates", "an indication", "add one or drop it")


def _stages_never_started(protocol: Protocol, space: Space) -> Iterator[Complaint]:
    for stage in protocol.stages:
        reasons = tuple(rule.when for rule in protocol.indications if rule.stage == stage.id)
        gates: list[Wanted] = [(gate.requires, True) for gate in protocol.gates if gate.guards == stage.id]
        against: list[Wanted] = [(rule.when, False) for rule in protocol.contraindications if rule.stage == stage.id]
        rules = [gate.id for gate in protocol.gates if gate.guards == stage.id]
        rules += [rule.id for rule in protocol.contraindications if rule.stage == stage.id]
        if rules and space.example(*gates, *against) is None:
            found = f"no child for whom all of {', '.join(rules)} let it start"
            yield Complaint(stage.id, found, "gates and contraindications that agree", "correct one of them")
        elif reasons and against and space.example((Condition(any=reasons), True), *against) is None:
            found = "a contraindication for every child who needs it"
            yield Complaint(stage.id, found, "a child who needs it and may have it", "correct one of the rules")


def _menders(protocol: Protocol) -> Iterator[Complaint]:
    indicated = {rule.stage for rule in protocol.indications}
    for gate in protocol.gates:
        if gate.otherwise is None:
            continue
        mender = protocol.stage(gate.otherwise)
        asked = {leaf.finding for leaf in gate.requires.leaves() if leaf.finding is not None}
        if not asked & set(mender.mends):
            found = f"{mender.id} as what mends a failure, which mends none of {', '.join(sorted(asked))}"
            yield Complaint(gate.id, found, "a stage that mends what is asked", "correct `otherwise` or its `mends`")
        if mender.id not in indicated:
            found = f"{mender.id}, which no rule indicates"
            yield Complaint(gate.id, found, "an indicated stage", "add an indication")
    for rule in protocol.contraindications:
        if rule.instead is not None and rule.instead not in indicated:
            found = f"{rule.instead}, which no rule indicates"
            yield Complaint(rule.id, found, "an indicated stage", "add an indication")


def _measured_anew(protocol: Protocol) -> Iterator[Complaint]:
    for stage in protocol.stages:
        if kept := [name for name in stage.mends if name not in stage.alters]:
            found = f"{', '.join(kept)} mended and not altered: the old value would go on counting"
            yield Complaint(stage.id, found, "every mended finding among `alters`", "add it to `alters`")
