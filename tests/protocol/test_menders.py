"""What mends a gate comes before what the gate guards: by an interval of the rules, so that dates obey it."""

from __future__ import annotations

from pathway.protocol.load import load_protocol


def test_whatever_mends_a_gate_has_an_interval_to_what_the_gate_guards() -> None:
    protocol = load_protocol()
    apart = {(rule.earlier_stage, rule.later_stage) for rule in protocol.intervals}
    mended = {(gate.otherwise, gate.guards): gate.id for gate in protocol.gates if gate.otherwise is not None}
    assert {gate for pair, gate in mended.items() if pair not in apart} == set()
