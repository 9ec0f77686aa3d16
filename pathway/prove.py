"""Proof of a rule set: what must hold of the rules together."""

from __future__ import annotations

from pathway.faults import Fault
from pathway.protocol.check import faults_of
from pathway.protocol.model import Protocol


def prove(protocol: Protocol) -> tuple[Fault, ...]:
    """Return every fault of the rule set."""
    return faults_of(protocol)
