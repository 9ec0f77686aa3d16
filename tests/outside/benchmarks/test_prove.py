"""How long the proofs of the rules take. Run with `pytest tests/outside/benchmarks --benchmark-enable`."""

from __future__ import annotations

from pytest_benchmark.fixture import BenchmarkFixture

from pathway.protocol.model import Protocol
from pathway.protocol.prove import prove
from tests.protocol.prove.changed import with_changed


def test_proving_the_shipped_rules(protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    assert benchmark(prove, protocol) == ()


def test_proving_rules_with_a_contradiction_in_time(benchmark: BenchmarkFixture) -> None:
    protocol = with_changed("intervals", "lengthening.bones_apart", at_least_months=60)
    assert benchmark(prove, protocol)
