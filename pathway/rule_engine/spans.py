"""Across which joints the device of a lengthening is carried: by rules with their grounds, as data for whoever asks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pathway.protocol.model import Protocol, SpanRule
from pathway.rule_engine.conditions import Facts, judge
from pathway.rule_engine.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Span:
    """A joint that the device spans: `needed` where any ground says so, else `advised`; the grounds that say it."""

    joint: Literal["knee", "pelvis"]
    need: Literal["needed", "advised"]
    grounds: tuple[tuple[SpanRule, Verdict], ...]


def spans_of(facts: Facts, protocol: Protocol, stage_kind: str) -> tuple[Span, ...]:
    """Return the joints to be spanned in a kind of lengthening as far as is known on the day, needed ones first."""
    grounds: dict[Literal["knee", "pelvis"], list[tuple[SpanRule, Verdict]]] = {}
    for rule in protocol.spans:
        if rule.stage == stage_kind:
            verdict = judge(rule.when, facts, protocol)
            if verdict.state == "holds":
                grounds.setdefault(rule.joint, []).append((rule, verdict))
    found = [_span(joint, held) for joint, held in grounds.items()]
    return tuple(sorted(found, key=lambda span: (span.need != "needed", span.joint)))


def _span(joint: Literal["knee", "pelvis"], held: list[tuple[SpanRule, Verdict]]) -> Span:
    need: Literal["needed", "advised"] = "needed" if any(rule.need == "needed" for rule, _ in held) else "advised"
    return Span(joint, need, tuple(ground for ground in held if ground[0].need == need))
