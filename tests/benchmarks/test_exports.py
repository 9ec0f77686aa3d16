"""How long a calendar and a record document take, planning not counted. Nothing is asserted on time."""

from __future__ import annotations

from pytest_benchmark.fixture import BenchmarkFixture

from pathway import cli_exports
from pathway.exports.fhir_bundle import document
from pathway.exports.fhir_checked import checked
from pathway.exports.fhir_read import read_observations
from pathway.exports.fhir_rules import rules_bundle
from tests.examples import FILES, ON, example, example_plan
from tests.exports.made import STAMP, bundle, entries_of, file_of, rules, turning


def test_calendar_with_the_days_of_a_lengthening(benchmark: BenchmarkFixture) -> None:
    plan, record = example_plan("rowan-02"), example("rowan-02")
    days = turning("rowan-02", "femoral_lengthening_1")
    assert benchmark(lambda: file_of((*entries_of(plan, record), *days)))


def test_record_document_checked(benchmark: BenchmarkFixture) -> None:
    plan, record = example_plan("hazel-08"), example("hazel-08")
    assert benchmark(lambda: checked(document(plan, record, rules(), STAMP, "0.1.0")))


def test_rules_as_plan_definitions(benchmark: BenchmarkFixture) -> None:
    assert benchmark(lambda: checked(rules_bundle(rules())))


def test_lengths_read_back(benchmark: BenchmarkFixture) -> None:
    made = bundle("hazel-08")
    assert benchmark(read_observations, made)


def test_eight_children_planned_and_streamed(benchmark: BenchmarkFixture) -> None:
    lines = benchmark.pedantic(lambda: list(cli_exports._lines(FILES, rules(), ON, STAMP, [])), rounds=2)
    assert len(lines) == len(FILES)
