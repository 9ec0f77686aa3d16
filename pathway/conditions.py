"""Judging a condition on facts: a tree of verdicts that keeps every value, and three truth values.

`all` and `any` are never short-circuited: failing and unknown branches keep their values, so that an
explanation is a by-product of the evaluation. "Unknown" stays unknown and says which kind.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
import numpy.typing as npt

from pathway.findings import NEVER, Findings, Unknown, WhyUnknown
from pathway.protocol.model import Condition, FindingRule, Protocol

State = Literal["holds", "fails", "unknown"]
Draws = npt.NDArray[np.float64]

PREDICTED_LABELS = {
    "predicted_discrepancy_at_maturity_mm": "predicted difference at maturity",
    "predicted_femur_discrepancy_at_maturity_mm": "predicted difference of the femora at maturity",
    "predicted_tibia_discrepancy_at_maturity_mm": "predicted difference of the tibiae at maturity",
}
LENGTHS_ASKED = frozenset({"femur_length_mm", "tibia_length_mm"})


@dataclass(frozen=True, slots=True)
class ClassFact:
    """A child's type in a scheme, or `undetermined` with the findings that would settle it.

    `open` holds the types that are not ruled out yet; None where that was not worked out.
    """

    type: str
    asks: frozenset[str] = frozenset()
    open: frozenset[str] | None = None


@dataclass(frozen=True, slots=True)
class Facts:
    """All that a condition may look at, as data. `predicted` holds draws of each predicted quantity (mm)."""

    age_years: float
    sex: str
    diagnosis: str
    findings: Findings
    predicted: Mapping[str, Draws]
    classes: Mapping[str, ClassFact] = field(default_factory=dict)
    done: Mapping[str, datetime.date] = field(default_factory=dict)
    planned: frozenset[str] = frozenset()
    offered: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Verdict:
    """A judged condition.

    `margin`: how far the value lies on the holding side, in its unit (below 0 where the condition fails); of a
    predicted quantity that of the draw on which the asked chance turns. `scope`: it tests the diagnosis only,
    which says for whom a rule is and is left out of joined sentences.
    """

    state: State
    sentence: str
    test: str
    finding: str | None = None
    value: float | str | bool | None = None
    sd: float | None = None
    measured_on: datetime.date | None = None
    method: str | None = None
    margin: float | None = None
    why_unknown: WhyUnknown | None = None
    asks: frozenset[str] = frozenset()
    parts: tuple[Verdict, ...] = ()
    scope: bool = False


def judge(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    """Return the verdict tree of `condition` on `facts`, every branch evaluated."""
    if condition.finding is not None:
        return _judge_finding(condition, facts, protocol)
    if condition.all is not None:
        return _combine("all", tuple(judge(part, facts, protocol) for part in condition.all))
    if condition.any is not None:
        return _combine("any", tuple(judge(part, facts, protocol) for part in condition.any))
    if condition.negate is not None:
        return _not(judge(condition.negate, facts, protocol))
    if condition.quantity is not None:
        return _judge_quantity(condition, facts)
    if condition.classification is not None:
        return _judge_class(condition, facts)
    if condition.stage is not None:
        return _judge_stage(condition, facts, protocol)
    holds = facts.diagnosis == condition.diagnosis
    theirs, asked = _diagnosis(facts.diagnosis, protocol), _diagnosis(str(condition.diagnosis), protocol)
    return Verdict(_state(holds), f"the diagnosis is {theirs}", f"diagnosis {asked}", scope=True)


def _diagnosis(id: str, protocol: Protocol) -> str:
    return next((item.label for item in protocol.diagnoses if item.id == id), id)


def test_words(condition: Condition, unit: str = "") -> str:
    """Return the comparison of one leaf in words: `at least 90 deg`."""
    tail = f" {unit}" if unit else ""
    for bound, word in (
        (condition.at_least, "at least"),
        (condition.above, "more than"),
        (condition.at_most, "at most"),
        (condition.below, "less than"),
    ):
        if bound is not None:
            return f"{word} {bound:g}{tail}"
    if condition.known:
        return "known"
    if condition.equals is not None:
        return _words(condition.equals)
    return " or ".join(_words(choice) for choice in condition.one_of or ())


def value_words(value: float | str | bool, unit: str = "") -> str:
    """Return a value as it is read aloud: `84 deg`, `yes`, `mobile pseudarthrosis`."""
    if isinstance(value, bool | str):
        return _words(value)
    number = f"{value:.2f}" if unit == "ratio" else f"{value:g}"
    return f"{number} {unit}" if unit and unit not in ("ratio", "count") else number


def _words(value: bool | str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.replace("_", " ")


def _state(holds: bool) -> State:
    return "holds" if holds else "fails"


def _combine(kind: Literal["all", "any"], parts: tuple[Verdict, ...]) -> Verdict:
    states = [part.state for part in parts]
    deciding: State = "fails" if kind == "all" else "holds"
    neutral: State = "holds" if kind == "all" else "fails"
    state: State = deciding if deciding in states else "unknown" if "unknown" in states else neutral
    shown = [part for part in parts if part.state == state] or list(parts)
    spoken = [part for part in shown if not part.scope] or shown
    joint = " and " if (kind == "all") == (state == "holds") else "; "
    asks = frozenset().union(*(part.asks for part in parts)) if state == "unknown" else frozenset()
    why = next((part.why_unknown for part in parts if part.why_unknown is not None), None)
    joined = (" and " if kind == "all" else " or ").join(_bracket(part) for part in parts)
    first = next((part for part in shown if part.finding is not None), None)
    return Verdict(
        state,
        joint.join(part.sentence for part in spoken),
        joined,
        finding=first.finding if first else None,
        value=first.value if first else None,
        sd=first.sd if first else None,
        measured_on=first.measured_on if first else None,
        method=first.method if first else None,
        margin=_combined_margin(kind, parts),
        why_unknown=why if state == "unknown" else None,
        asks=asks,
        parts=parts,
        scope=all(part.scope for part in parts),
    )


def _bracket(part: Verdict) -> str:
    return f"({part.test})" if part.parts else part.test


def _combined_margin(kind: Literal["all", "any"], parts: tuple[Verdict, ...]) -> float | None:
    # Only comparable when every part tests the same finding (a range); otherwise units would mix.
    parts = tuple(part for part in parts if not part.scope)
    margins = [part.margin for part in parts]
    findings = {part.finding for part in parts}
    known = [margin for margin in margins if margin is not None]
    if len(findings) != 1 or len(known) != len(margins) or not known:
        return None
    return min(known) if kind == "all" else max(known)


def _not(part: Verdict) -> Verdict:
    flipped: State = {"holds": "fails", "fails": "holds", "unknown": "unknown"}[part.state]  # type: ignore[assignment]
    return Verdict(
        flipped,
        part.sentence,
        f"not ({part.test})",
        finding=part.finding,
        value=part.value,
        sd=part.sd,
        measured_on=part.measured_on,
        method=part.method,
        margin=None if part.margin is None else -part.margin,
        why_unknown=part.why_unknown,
        asks=part.asks,
        parts=(part,),
        scope=part.scope,
    )


def _compare(value: float, condition: Condition) -> tuple[bool, float]:
    if condition.at_least is not None:
        return value >= condition.at_least, value - condition.at_least
    if condition.above is not None:
        return value > condition.above, value - condition.above
    if condition.at_most is not None:
        return value <= condition.at_most, condition.at_most - value
    bound = _compare_bound(condition)
    return value < bound, bound - value


def _share_holding(draws: Draws, condition: Condition) -> float:
    if condition.at_least is not None:
        return float(np.mean(draws >= condition.at_least))
    if condition.above is not None:
        return float(np.mean(draws > condition.above))
    if condition.at_most is not None:
        return float(np.mean(draws <= condition.at_most))
    return float(np.mean(draws < _compare_bound(condition)))


def _compare_bound(condition: Condition) -> float:
    if condition.below is None:
        raise ValueError(f"a number is compared with at_least, above, at_most or below: {condition}")
    return condition.below


def _judge_finding(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    rule = protocol.finding(str(condition.finding))
    fact = facts.findings.get((rule.id, condition.leg), NEVER)
    label = rule.label if condition.leg == "affected" else f"{rule.label} of the other leg"
    test = f"{label} {test_words(condition, rule.unit if rule.unit not in ('count', 'ratio') else '')}"
    if isinstance(fact, Unknown):
        return _unknown_finding(fact, rule, label, test)
    margin: float | None = None
    if condition.known:
        holds = True
    elif condition.equals is not None or condition.one_of is not None:
        wanted = (condition.equals,) if condition.equals is not None else condition.one_of
        holds = fact.value in (wanted or ())
    else:
        holds, margin = _compare(float(fact.value), condition)
    sentence = f"{label} {value_words(fact.value, rule.unit)} on {fact.measured_on}"
    if margin is not None and fact.sd and abs(margin) <= fact.sd:
        sentence += f", within the reading error of ±{fact.sd:g}: repeat"
    return Verdict(_state(holds), sentence, test, rule.id, fact.value, fact.sd, fact.measured_on, fact.method, margin)


def _unknown_finding(fact: Unknown, rule: FindingRule, label: str, test: str) -> Verdict:
    words = {
        "never_measured": "was never measured",
        "out_of_date": "is out of date",
        "not_measurable": "could not be measured",
        "declined": "was declined",
    }[fact.why]
    tail = f" ({fact.because})" if fact.because else ""
    last = fact.last
    return Verdict(
        "unknown",
        f"{label} {words}{tail}",
        test,
        rule.id,
        last.value if last else None,
        last.sd if last else None,
        last.measured_on if last else None,
        last.method if last else None,
        why_unknown=fact.why,
        asks=frozenset({rule.id}),
    )


def _judge_quantity(condition: Condition, facts: Facts) -> Verdict:
    name = str(condition.quantity)
    if name == "age_years":
        holds, margin = _compare(facts.age_years, condition)
        test = f"age {test_words(condition, 'years')}"
        return Verdict(_state(holds), f"age {facts.age_years:.1f} years", test, margin=margin, value=facts.age_years)
    label = PREDICTED_LABELS[name]
    chance_asked = 0.5 if condition.chance is None else condition.chance
    test = f"{label} {test_words(condition, 'mm')} with a chance of at least {round(100 * chance_asked)} of 100"
    draws = facts.predicted.get(name)
    if draws is None:
        return Verdict(
            "unknown",
            f"{label} cannot be told: no lengths measured",
            test,
            why_unknown="never_measured",
            asks=LENGTHS_ASKED,
        )
    chance = _share_holding(draws, condition)
    ordered = np.sort(draws)
    low, median, high = (_quantile(ordered, share) for share in (0.05, 0.5, 0.95))
    sentence = (
        f"{label} {median:.0f} mm (about 90 of 100 between {low:.0f} and {high:.0f}); "
        f"chance of {test_words(condition, 'mm')}: {round(100 * chance)} of 100"
    )
    return Verdict(
        _state(chance >= chance_asked),
        sentence,
        test,
        value=round(median, 1),
        margin=_compare(_at_chance(ordered, condition, chance_asked), condition)[1],
    )


def _quantile(ordered: Draws, share: float) -> float:
    """Return a quantile of sorted draws, between neighbours on a straight line as numpy has it, many times faster."""
    below, part = divmod(share * (len(ordered) - 1), 1)
    low = float(ordered[int(below)])
    return low + part * (float(ordered[min(int(below) + 1, len(ordered) - 1)]) - low)


def _at_chance(ordered: Draws, condition: Condition, chance: float) -> float:
    """Return the draw on which the asked chance turns: the condition holds exactly when it holds there."""
    upward = condition.at_least is not None or condition.above is not None
    number = max(math.ceil(chance * len(ordered) - 1e-9), 1)
    return float(ordered[-number] if upward else ordered[number - 1])


def _judge_class(condition: Condition, facts: Facts) -> Verdict:
    scheme = str(condition.classification)
    fact = facts.classes.get(scheme)
    types = condition.one_of or ()
    test = f"type {' or '.join(types)} of {scheme.replace('_', ' ')}"
    if fact is None:
        return Verdict("fails", f"{scheme.replace('_', ' ')} does not apply", test)
    if fact.type == "undetermined" and fact.open is not None and not fact.open & set(types):
        return Verdict("fails", f"{scheme.replace('_', ' ')} undetermined, yet none of these types", test)
    if fact.type == "undetermined":
        why: WhyUnknown = "never_measured"
        return Verdict("unknown", f"{scheme.replace('_', ' ')} undetermined", test, why_unknown=why, asks=fact.asks)
    return Verdict(_state(fact.type in types), f"type {fact.type}", test, value=fact.type)


def _judge_stage(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    stage = protocol.stage(str(condition.stage))
    done = stage.id in facts.done
    planned = done or stage.id in facts.planned
    offered = planned or stage.id in facts.offered
    wanted = condition.equals
    holds = {"done": done, "not_done": not done, "planned": planned, "offered": offered}[str(wanted)]
    state = "done" if done else "planned" if planned else "offered" if offered else "neither done nor planned"
    return Verdict(_state(holds), f"{stage.label.lower()} is {state}", f"{stage.label.lower()} {_words(str(wanted))}")
