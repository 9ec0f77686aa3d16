"""How long a calendar and a record document take, planning not counted. Nothing is asserted on time."""

from __future__ import annotations

from itertools import count
from pathlib import Path

import pytest
from click.testing import CliRunner
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.cli import exports as cli_exports
from pathway.cli.main import main
from pathway.exports.fhir.bundle import document
from pathway.exports.fhir.checked import checked
from pathway.exports.fhir.read import read_lengths
from pathway.exports.fhir.rules import rules_bundle
from pathway.registry.exchange import import_record
from pathway.registry.store import open_registry
from tests.examples import FILES, NAMES, ON, example, example_plan
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
    assert benchmark(read_lengths, made).visits


def test_eight_children_planned_and_streamed(benchmark: BenchmarkFixture) -> None:
    lines = benchmark.pedantic(lambda: list(cli_exports._lines(FILES, rules(), ON, STAMP, [])), rounds=2)
    assert len(lines) == len(FILES)


@pytest.mark.parametrize("form", [(), ("--history",)])
def test_a_hundred_children_written_from_the_registry(
    form: tuple[str, ...], tmp_path: Path, benchmark: BenchmarkFixture
) -> None:
    place, number = str(tmp_path / "registry.db"), count()
    with open_registry(place, create=True) as store:
        for n in range(100):
            record = example(NAMES[n % len(NAMES)])
            child = record.child.model_copy(update={"id": f"tree-{n:03d}"})
            import_record(store, record.model_copy(update={"child": child}), who="a nurse", when=STAMP)

    def written() -> Path:
        folder = tmp_path / f"out-{next(number)}"
        arguments = ["registry", "export", "--all", "-o", str(folder), "--registry", place, *form]
        assert CliRunner().invoke(main, arguments).exit_code == 0
        return folder

    assert len(list(benchmark.pedantic(written, rounds=2).iterdir())) == 100
