"""How much hangs on a rule that nobody read: the plans that would be others without it, or with another number."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

from pathway.plan.model import Plan
from pathway.protocol.model import Classification, Protocol, Rule, Stage, Value

UNREAD = ("memory", "judgement")
"""Provenances of what rests on nothing that was read."""
LEFT_OUT = ("indications", "gates", "contraindications", "intervals", "age_windows", "amount_limits")
"""Kinds of rules that are left out whole; values and durations of stages are moved instead."""
LESS, MORE = 0.8, 1.25
OTHER_DAYS = 31
OTHER_MM = 5.0
TABLE = "what_rules_change"


def unread(protocol: Protocol) -> tuple[Rule | Stage, ...]:
    """Return what rests on judgement or memory and may change a plan, in the order of the protocol."""
    found: list[Rule | Stage] = [kind for scheme in protocol.classifications for kind in scheme.types]
    for kind in (*LEFT_OUT, "values", "stages"):
        found += getattr(protocol, kind)
    return tuple(rule for rule in found if rule.provenance in UNREAD and not _without_number(rule))


def _without_number(rule: Rule | Stage) -> bool:
    return isinstance(rule, Stage) and not rule.duration_months


def otherwise(protocol: Protocol, rule: Rule | Stage) -> Iterator[Protocol]:
    """Yield the protocol as it might be as well: without the rule; a number at its ends, or a fifth less and more."""
    if isinstance(rule, Value):
        low, high = (rule.low, rule.high) if rule.low is not None and rule.high is not None else (None, None)
        ends = (rule.value * LESS, rule.value * MORE) if low is None or high is None else (low, high)
        for end in dict.fromkeys(end for end in ends if end != rule.value):
            yield _with(protocol, "values", rule.id, rule.model_copy(update={"value": end}))
    elif isinstance(rule, Stage):
        months = rule.duration_months or 0
        for other in (min(round(months * LESS), months - 1), max(round(months * MORE), months + 1)):
            if other > 0:
                yield _with(protocol, "stages", rule.id, rule.model_copy(update={"duration_months": other}))
    else:
        yield from _without(protocol, rule)


def _without(protocol: Protocol, rule: Rule) -> Iterator[Protocol]:
    for kind in LEFT_OUT:
        if rule in getattr(protocol, kind):
            yield _with(protocol, kind, rule.id, None)
            return
    schemes = tuple(_without_type(scheme, rule) for scheme in protocol.classifications)
    yield protocol.with_parts(classifications=schemes)


def _without_type(scheme: Classification, rule: Rule) -> Classification:
    return scheme.model_copy(update={"types": tuple(kind for kind in scheme.types if kind.id != rule.id)})


def _with(protocol: Protocol, kind: str, id: str, new: Rule | Stage | None) -> Protocol:
    items = [new if item.id == id else item for item in getattr(protocol, kind)]
    return protocol.with_parts(**{kind: tuple(item for item in items if item is not None)})


def differs(one: Plan, other: Plan) -> bool:
    """Return whether two plans of a child are others: stages, order, an age by a month, an amount by 5 mm."""
    if _stages(one) != _stages(other) or _reversed(one, other):
        return True
    new = {stage.id: stage for stage in other.stages}
    for stage in one.stages:
        after = new[stage.id]
        if stage.date is not None and after.date is not None and abs((stage.date - after.date).days) > OTHER_DAYS:
            return True
        if abs((stage.amount_mm or 0.0) - (after.amount_mm or 0.0)) >= OTHER_MM:
            return True
    return False


def _stages(plan: Plan) -> frozenset[tuple[str, str]]:
    """Every stage with what became of it; whether it can start now or later is not another plan."""
    return frozenset((stage.id, "" if stage.date is not None else stage.status) for stage in plan.stages)


def _reversed(one: Plan, other: Plan) -> bool:
    """Return whether some stage comes after another in one plan and before it in the other; a day shared is neither."""
    before, after = ({s.id: s.date for s in plan.stages if s.date is not None} for plan in (one, other))
    both = sorted(before.keys() & after.keys(), key=lambda id: before[id])
    pairs = itertools.combinations(both, 2)
    return any(before[first] < before[later] and after[first] > after[later] for first, later in pairs)


def ranked(protocol: Protocol) -> tuple[tuple[Rule | Stage, int, int], ...]:
    """Return what rests on judgement or memory with the plans that it changed, of how many, those with most first.

    As counted once by `.ci/what_rules_change.py` and kept as a table; empty where the protocol has no such table.
    """
    table = next((table for table in protocol.tables if table.id == TABLE), None)
    if table is None:
        return ()
    counts = {str(rule): (int(plans), int(of)) for rule, plans, of in table.rows}
    known = [(rule, *counts[rule.id]) for rule in unread(protocol) if rule.id in counts]
    return tuple(sorted(known, key=lambda item: (-item[1], item[0].id)))


def uncounted(protocol: Protocol) -> tuple[str, ...]:
    """Return the rules of judgement or memory that the count does not hold, or that cannot be left out."""
    counted = {rule.id for rule, _, _ in ranked(protocol)}
    return tuple(rule.id for rule in unread(protocol) if rule.id not in counted)
