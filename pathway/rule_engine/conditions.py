"""Judging a condition on facts: a tree of verdicts that keeps every value, and three truth values.

`all` and `any` are never short-circuited: failing and unknown branches keep their values, so that an
explanation is a by-product of the evaluation. "Unknown" stays unknown and says which kind.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from pathway.days import age_words
from pathway.protocol.model import Condition, FindingRule, Protocol
from pathway.protocol.words import (
    PREDICTED_LABELS,
    chance_asked,
    diagnosis_words,
    finding_label,
    joined,
    leaf_words,
    plain_words,
    test_words,
    value_words,
)
from pathway.record import WhyUnknown
from pathway.rule_engine.findings import NEVER_MEASURED, Findings, Unknown
from pathway.rule_engine.verdict import (
    COMPARISONS,
    OPERATORS,
    Comparison,
    State,
    Threshold,
    Verdict,
    combined_state,
    on_side,
    operator_of,
    outward,
)

Draws = npt.NDArray[np.float64]

LENGTHS_ASKED = ("femur_length_mm", "tibia_length_mm")


@dataclass(frozen=True, slots=True)
class ClassFact:
    """A child's type in a scheme, or `undetermined` with the findings that would settle it.

    `open` holds the types that are not ruled out yet; None where that was not worked out. `why` is the kind of
    not-knowing that leaves the child undetermined.
    """

    type: str
    asks: frozenset[str] = frozenset()
    open: frozenset[str] | None = None
    why: WhyUnknown = "never_measured"


@dataclass(frozen=True, slots=True)
class Spread:
    """The draws of a predicted quantity in ascending order (mm), with their 5, 50 and 95 % points and SD."""

    draws: Draws
    ordered: Draws
    low: float
    median: float
    high: float
    sd: float

    def share_holding(self, comparison: Comparison | None, bound: float) -> float:
        """Return the share of the draws (0 to 1) that are on the holding side of a bound."""
        side: Literal["left", "right"] = "left" if comparison in ("at_least", "below") else "right"
        operator_of(comparison)
        below = int(np.searchsorted(self.ordered, bound, side=side))
        upward = comparison in ("at_least", "above")
        return (len(self.ordered) - below if upward else below) / len(self.ordered)

    def at_chance(self, comparison: Comparison | None, chance: float) -> float:
        """Return the draw on which a chance turns: the condition holds exactly when it holds there."""
        at = max(math.ceil(chance * len(self.ordered) - 1e-9), 1)
        return float(self.ordered[-at] if comparison in ("at_least", "above") else self.ordered[at - 1])


@dataclass(slots=True)
class Kept:
    """Verdicts by the key of their condition, and what they were judged on: other facts begin anew."""

    findings: Findings | None = None
    predicted: Mapping[str, Draws] | None = None
    classes: Mapping[str, ClassFact] | None = None
    rest: tuple[float, str] | None = None
    protocol: Protocol | None = None
    verdicts: dict[int, Verdict] = field(default_factory=dict)

    def of(self, facts: Facts, protocol: Protocol) -> dict[int, Verdict]:
        """Return the verdicts on these facts, none yet where they are not the ones judged before.

        What is planned, done and wished counts for nothing here: conditions that ask for a stage are not kept.
        """
        if not (
            facts.findings is self.findings
            and facts.classes is self.classes
            and facts.predicted is self.predicted
            and protocol is self.protocol
            and self.rest == (facts.age_years, facts.diagnosis)
        ):
            self.findings, self.predicted, self.classes = facts.findings, facts.predicted, facts.classes
            self.rest, self.protocol, self.verdicts = (facts.age_years, facts.diagnosis), protocol, {}
        return self.verdicts


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
    wished: frozenset[str] = frozenset()
    spreads: dict[str, Spread] = field(default_factory=dict, compare=False, repr=False)
    """What was worked out from the draws of `predicted`, kept because many rules ask for the same quantity."""
    kept: Kept = field(default_factory=lambda: Kept(), compare=False, repr=False)
    """What was judged, kept because many rules share a part."""


def judge(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    """Return the verdict tree of `condition` on `facts`, every branch evaluated."""
    key = protocol.key_of(condition)
    if key is None:
        return _judged(condition, facts, protocol)
    verdicts = facts.kept.of(facts, protocol)
    known = verdicts.get(key)
    if known is None:
        known = verdicts[key] = _judged(condition, facts, protocol)
    return known


def _judged(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    if condition.stage is not None:
        return _judge_stage(condition, facts, protocol)
    if condition.finding is not None:
        return _judge_finding(condition, facts, protocol)
    if condition.all is not None:
        return _combine("all", tuple(judge(part, facts, protocol) for part in condition.all))
    if condition.any is not None:
        return _combine("any", tuple(judge(part, facts, protocol) for part in condition.any))
    if condition.negate is not None:
        return _not(judge(condition.negate, facts, protocol))
    if condition.quantity is not None:
        return _judge_quantity(condition, facts, protocol)
    if condition.classification is not None:
        return _judge_class(condition, facts, protocol)
    holds = facts.diagnosis == condition.diagnosis
    return Verdict(
        state=_state(holds),
        sentence=f"the diagnosis is {diagnosis_words(facts.diagnosis, protocol)}",
        test=leaf_words(condition, protocol),
        form="diagnosis",
        value=facts.diagnosis,
        comparison="equals",
        threshold=condition.diagnosis,
    )


def compared(condition: Condition) -> tuple[Comparison | None, Threshold]:
    """Return how a leaf compares and with what: the bound, the choice or choices, True for `known`."""
    for name in COMPARISONS:
        bound = getattr(condition, name)
        if bound is not None:
            return name, bound
    return None, None


def _state(holds: bool) -> State:
    return "holds" if holds else "fails"


def _combine(kind: Literal["all", "any"], parts: tuple[Verdict, ...]) -> Verdict:
    state = combined_state(kind, (part.state for part in parts))
    shown = [part for part in parts if part.state == state] or list(parts)
    spoken = [part for part in shown if not part.scope] or shown
    joint = " and " if (kind == "all") == (state == "holds") else "; "
    asks = {finding for part in parts for finding in part.asks} if state == "unknown" else ()
    why = next((part.why_unknown for part in parts if part.why_unknown is not None), None)
    first = next((part for part in shown if part.finding is not None), None)
    return Verdict(
        state=state,
        sentence=joint.join(part.sentence for part in spoken),
        test=joined(kind, [_bracket(part) for part in parts]),
        form=kind,
        finding=first.finding if first else None,
        value=first.value if first else None,
        sd=first.sd if first else None,
        measured_on=first.measured_on if first else None,
        method=first.method if first else None,
        margin=_combined_margin(kind, parts),
        threshold=first.threshold if first else None,
        why_unknown=why if state == "unknown" else None,
        asks=tuple(sorted(asks)),
        parts=parts,
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
    return Verdict(
        state=combined_state("not", (part.state,)),
        sentence=part.sentence,
        test=f"not ({part.test})",
        form="not",
        finding=part.finding,
        value=part.value,
        sd=part.sd,
        measured_on=part.measured_on,
        method=part.method,
        margin=None if part.margin is None else -part.margin,
        threshold=part.threshold,
        why_unknown=part.why_unknown,
        asks=part.asks,
        parts=(part,),
    )


def _compare(value: float, condition: Condition) -> tuple[bool, float]:
    comparison, bound = compared(condition)
    if comparison is None or not isinstance(bound, int | float):
        raise ValueError(f"a number is compared with {', '.join(OPERATORS)}: {condition}")
    return on_side(comparison, value, bound)


def _judge_finding(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    rule = protocol.finding(str(condition.finding))
    fact = facts.findings.get((rule.id, condition.leg), NEVER_MEASURED)
    label, test = finding_label(condition, protocol), leaf_words(condition, protocol)
    if isinstance(fact, Unknown) and condition.known == "once" and fact.last is not None:
        fact = fact.last
    if isinstance(fact, Unknown):
        verdict = _unknown_finding(fact, condition, rule, label, test)
        if condition.missing == "fails":
            # An old value counts for nothing here, so that it is not kept as if it did.
            return verdict.model_copy(update={"state": "fails", "asks": (), "why_unknown": None, **_NOT_MEASURED})
        return verdict
    comparison, threshold = compared(condition)
    margin: float | None = None
    if comparison == "known":
        holds = True
    elif comparison == "equals":
        holds = fact.value == threshold
    elif comparison == "one_of":
        holds = fact.value in (condition.one_of or ())
    else:
        holds, margin = _compare(float(fact.value), condition)
    sentence = f"{label} {value_words(fact.value, rule.unit)} on {fact.measured_on}"
    if margin is not None and fact.sd and abs(margin) <= fact.sd:
        sentence += f", within the measurement error of ±{fact.sd:g}: repeat the measurement"
    return Verdict(
        state=_state(holds),
        sentence=sentence,
        test=test,
        form="finding",
        finding=rule.id,
        value=fact.value,
        sd=fact.sd,
        measured_on=fact.measured_on,
        method=fact.method,
        margin=None if margin is None else outward(margin),
        comparison=comparison,
        threshold=threshold,
        leg=condition.leg,
    )


_NOT_MEASURED = dict.fromkeys(("value", "sd", "measured_on", "method"))


def _unknown_finding(fact: Unknown, condition: Condition, rule: FindingRule, label: str, test: str) -> Verdict:
    words = {
        "never_measured": "was never measured",
        "out_of_date": "is out of date",
        "not_measurable": "could not be measured",
        "declined": "was declined",
    }[fact.why]
    if fact.why == "never_measured" and fact.because:
        words = "cannot be worked out yet"
    tail = f" ({fact.because})" if fact.because else ""
    last = fact.last
    comparison, threshold = compared(condition)
    return Verdict(
        state="unknown",
        sentence=f"{label} {words}{tail}",
        test=test,
        form="finding",
        finding=rule.id,
        value=last.value if last else None,
        sd=last.sd if last else None,
        measured_on=last.measured_on if last else None,
        method=last.method if last else None,
        comparison=comparison,
        threshold=threshold,
        leg=condition.leg,
        why_unknown=fact.why,
        asks=(rule.id,),
    )


def _judge_quantity(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    name = str(condition.quantity)
    comparison, threshold = compared(condition)
    test = leaf_words(condition, protocol)
    if name == "age_years":
        holds, margin = _compare(facts.age_years, condition)
        return Verdict(
            state=_state(holds),
            sentence=f"age {age_words(facts.age_years)}",
            test=test,
            form="quantity",
            value=facts.age_years,
            margin=outward(margin),
            comparison=comparison,
            threshold=threshold,
            subject=name,
        )
    label = PREDICTED_LABELS[name]
    asked = chance_asked(condition)
    draws = facts.predicted.get(name)
    if draws is None:
        return Verdict(
            state="unknown",
            sentence=f"{label} cannot be determined: no lengths measured",
            test=test,
            form="quantity",
            comparison=comparison,
            threshold=threshold,
            subject=name,
            chance=asked,
            why_unknown=_why_no_lengths(facts),
            asks=LENGTHS_ASKED,
        )
    spread = _spread(name, facts)
    chance = spread.share_holding(comparison, float(threshold))  # type: ignore[arg-type]
    low, median, high = spread.low, spread.median, spread.high
    sentence = (
        f"{label} {median:.0f} mm (about 90 of 100 between {low:.0f} and {high:.0f}); "
        f"chance of {test_words(condition, 'mm')}: {round(100 * chance)} of 100"
    )
    return Verdict(
        state=_state(chance >= asked),
        sentence=sentence,
        test=test,
        form="quantity",
        value=round(median, 1),
        sd=round(spread.sd, 1),
        margin=outward(_compare(spread.at_chance(comparison, asked), condition)[1]),
        comparison=comparison,
        threshold=threshold,
        subject=name,
        chance=asked,
    )


def _spread(name: str, facts: Facts) -> Spread:
    draws = facts.predicted[name]
    known = facts.spreads.get(name)
    # Facts copied with other draws share the dictionary: what was kept counts only for the same draws.
    if known is None or known.draws is not draws:
        ordered = np.sort(draws)
        low, median, high = (_quantile(ordered, share) for share in (0.05, 0.5, 0.95))
        known = Spread(draws, ordered, low, median, high, float(np.std(draws)))
        facts.spreads[name] = known
    return known


def _quantile(ordered: Draws, share: float) -> float:
    """Return a quantile of sorted draws, between neighbours on a straight line as numpy has it, many times faster."""
    below, part = divmod(share * (len(ordered) - 1), 1)
    low = float(ordered[int(below)])
    return low + part * (float(ordered[min(int(below) + 1, len(ordered) - 1)]) - low)


def _why_no_lengths(facts: Facts) -> WhyUnknown:
    """Return why no growth can be told: the kind in which the lengths are not known."""
    for name in LENGTHS_ASKED:
        fact = facts.findings.get((name, "affected"))
        if isinstance(fact, Unknown) and fact.why != "never_measured":
            return fact.why
    return "never_measured"


def _judge_class(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    scheme = str(condition.classification)
    name = plain_words(scheme)
    fact = facts.classes.get(scheme)
    types = condition.one_of or ()

    def verdict(state: State, sentence: str, **more: Any) -> Verdict:
        test = leaf_words(condition, protocol)
        asked: dict[str, Any] = {"comparison": "one_of", "threshold": types, "subject": scheme}
        return Verdict(state=state, sentence=sentence, test=test, form="classification", **asked, **more)

    if fact is None:
        return verdict("fails", f"{name} does not apply")
    if fact.type == "undetermined" and fact.open is not None and not fact.open & set(types):
        return verdict("fails", f"{name} undetermined, but none of these types", value=fact.type)
    if fact.type == "undetermined":
        asks = tuple(sorted(fact.asks))
        return verdict("unknown", f"{name} undetermined", value=fact.type, why_unknown=fact.why, asks=asks)
    return verdict(_state(fact.type in types), f"type {fact.type}", value=fact.type)


def _judge_stage(condition: Condition, facts: Facts, protocol: Protocol) -> Verdict:
    stage = protocol.stage(str(condition.stage))
    done = stage.id in facts.done
    planned = done or stage.id in facts.planned
    offered = planned or stage.id in facts.offered
    wanted = str(condition.equals)
    if wanted == "wished":
        return _judge_wish(condition, stage.label.lower(), stage.id in facts.wished, protocol)
    holds = {"done": done, "not_done": not done, "planned": planned, "offered": offered}[wanted]
    state = "done" if done else "planned" if planned else "offered" if offered else "neither done nor planned"
    return Verdict(
        state=_state(holds),
        sentence=f"{stage.label.lower()} is {state}",
        test=leaf_words(condition, protocol),
        form="stage",
        value=state,
        comparison="equals",
        threshold=wanted,
        subject=stage.id,
    )


def _judge_wish(condition: Condition, label: str, wished: bool, protocol: Protocol) -> Verdict:
    return Verdict(
        state=_state(wished),
        sentence=f"{label} was {'' if wished else 'not '}asked for by family or team",
        test=leaf_words(condition, protocol),
        form="stage",
        value="wished" if wished else "not wished",
        comparison="equals",
        threshold="wished",
        subject=condition.stage,
    )
