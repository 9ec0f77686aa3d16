"""How long the lists of a registry of ten thousand children take, as commands of their own."""

from __future__ import annotations

import datetime
import subprocess
import sys
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.plan.make import make_plan
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from pathway.questions.due import plan_summary
from pathway.registry.exchange import import_record
from pathway.registry.journal.entry import StoredPlan
from pathway.registry.planning import protocol_digest
from pathway.registry.store import open_registry
from tests.examples import NAMES, ON, example

CHILDREN = 10_000
WHEN = datetime.datetime(2026, 11, 25, 8, 0, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A registry of copies of the examples, each with the plan of its example; filled in a minute."""
    file = tmp_path_factory.mktemp("clinic") / "many.db"
    protocol = load_protocol()
    digest, kept = protocol_digest(protocol), {}
    for name in NAMES:
        record = example(name)
        kept[name] = plan_summary(make_plan(Question(record, protocol, ON), compared=False), record, protocol)
    with open_registry(str(file), create=True) as store:
        plans = []
        for number in range(CHILDREN):
            name = NAMES[number % len(NAMES)]
            record = example(name)
            child = record.child.model_copy(update={"id": f"child-{number:05}"})
            taken = import_record(store, record.model_copy(update={"child": child}), who="a", when=WHEN)
            plans.append(StoredPlan(child.id, taken.head, protocol.version, digest, ON, kept[name]))
        store.store_plans(plans)
    return file


@pytest.mark.parametrize("words", [["list"], ["due", "--on", str(ON)]], ids=" ".join)
def test_a_list_of_ten_thousand_children(words: list[str], clinic: Path, benchmark: BenchmarkFixture) -> None:
    command = [sys.executable, "-m", "pathway", "registry", *words, "--registry", str(clinic)]
    said = benchmark(lambda: subprocess.run(command, capture_output=True, text=True, check=True))
    assert "child-00000" in said.stdout
