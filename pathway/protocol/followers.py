"""Stages that nobody starts by themselves: they begin when a lengthening ends (device removal, films after it)."""

from __future__ import annotations

from pathway.protocol.model import Protocol, Stage


def follows(kind: Stage, protocol: Protocol) -> Stage | None:
    """Return the lengthening whose end starts this stage (device removal, surveillance), or None."""
    for rule in protocol.intervals:
        if rule.at_most_months == 0 and rule.later_stage == kind.id and rule.earlier.endswith(".end"):
            earlier = protocol.stage(rule.earlier_stage)
            if earlier.bone is not None:
                return earlier
    return None
