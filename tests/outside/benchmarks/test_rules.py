"""How long judging and explaining take. Run with `--benchmark-enable`; nothing is asserted on time."""

from __future__ import annotations

from functools import cache

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.casefile import read_case
from pathway.plan.make import make_plan
from pathway.plan.model import Plan
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.overlay import Entry, Overlay, laid_over
from pathway.protocol.question import Question
from pathway.questions.smallest_change import deciding_measurements
from pathway.questions.why import why
from pathway.questions.why_changes import changes, why_not
from pathway.record import Record
from pathway.rule_engine.conditions import Facts
from pathway.shipped import EXAMPLES, shipped
from pathway.views.rules.catalogue import catalogue
from tests.outside.benchmarks.test_plan import CHILDREN, ON
from tests.questions.changed import graph_of, todays_facts


@cache
def child(name: str) -> tuple[Record, Facts, Plan]:
    text = shipped(EXAMPLES).joinpath(f"{name}.toml").read_text(encoding="utf-8")
    record = read_case(text, name, load_protocol(), ON)
    assert isinstance(record, Record)
    return record, todays_facts(record, load_protocol(), ON), make_plan(Question(record, load_protocol(), ON))


@pytest.mark.parametrize("name", CHILDREN)
def test_judging_the_whole_protocol_for_one_child(name: str, protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    """Types of every scheme, indications, contraindications, gates, and the stage graph from them."""
    record, facts, _ = child(name)
    graph = benchmark(graph_of, facts, record, protocol, ON)
    assert graph.considered


@pytest.mark.parametrize("name", CHILDREN)
def test_explaining_every_stage_of_a_plan(name: str, protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    """Why it is there and what would change it, for all stages of the plan together."""
    _, _, plan = child(name)
    lines = benchmark(lambda: [(*why(plan, item), *changes(plan, item, protocol)) for item in plan.stages])
    assert len(lines) == len(plan.stages)


@pytest.mark.parametrize("name", ["elm-01", "rowan-02"])
def test_explaining_the_slowest_stage(name: str, protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    _, _, plan = child(name)
    item = next(item for item in plan.stages if item.kind == "femoral_lengthening")
    assert benchmark(lambda: (*why(plan, item), *changes(plan, item, protocol)))


def test_explaining_a_stage_that_is_not_in_the_plan(protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    assert benchmark(why_not, child("rowan-02")[2], "prosthetic_road", protocol)


def test_finding_the_measurement_that_decides_most(protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    assert benchmark(deciding_measurements, child("elm-01")[2], protocol)


def test_laying_a_clinics_rules_over_ours(protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    off = Entry("gates", "femoral_lengthening.therapy_ready", {"off": True, "because": "Always."}, "own.toml")
    assert isinstance(benchmark(laid_over, protocol, Overlay("", "", (off,))), Protocol)


def test_writing_the_catalogue(protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    assert benchmark(catalogue, protocol)
