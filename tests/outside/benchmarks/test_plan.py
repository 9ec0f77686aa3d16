"""How long planning takes. Run with `pytest tests/outside/benchmarks --benchmark-enable`; nothing asserts a time."""

from __future__ import annotations

import datetime
import subprocess
import sys

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.casefile import read_case
from pathway.courses.ranking import courses
from pathway.growth import fit_growth
from pathway.plan.make import make_plan, problems_of
from pathway.protocol.load import read_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from pathway.rule_engine.facts import known_steps
from pathway.shipped import EXAMPLES, RULES, shipped
from tests.examples import example

ON = datetime.date(2026, 11, 25)
CHILDREN = ("alder-06", "birch-04", "cedar-05", "elm-01", "hazel-08", "oak-12", "rowan-02", "willow-03")


@pytest.mark.parametrize("name", CHILDREN)
def test_planning_one_child(name: str, protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    text = shipped(EXAMPLES).joinpath(f"{name}.toml").read_text(encoding="utf-8")
    record = read_case(text, name, protocol, ON)
    assert isinstance(record, Record)
    plan = benchmark(make_plan, Question(record, protocol, ON))
    assert plan.child.id == name


def test_loading_the_rules(benchmark: BenchmarkFixture) -> None:
    protocol = benchmark(read_protocol, shipped(RULES))
    assert protocol.stages


def test_the_command_from_a_fresh_process(benchmark: BenchmarkFixture) -> None:
    command = [sys.executable, "-m", "pathway", "plan", "rowan-02", "--on", "2026-11-25"]
    done = benchmark.pedantic(
        subprocess.run, args=(command,), kwargs={"capture_output": True, "check": True}, rounds=5, warmup_rounds=1
    )
    assert b"rowan-02" in done.stdout


@pytest.mark.parametrize("name", ["birch-04", "cedar-05", "hazel-08", "lark-01", "willow-03"])
def test_all_programmes_of_a_child(name: str, protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    """The courses with all that they are compared with, the programmes of print among them; growth is fitted before."""
    question = Question(example(name), protocol, ON).as_known()
    posterior = fit_growth(question, known_steps=known_steps(question))
    assert posterior is not None
    problems = problems_of(question, posterior)
    assert isinstance(problems, tuple)
    assert len(benchmark(courses, problems, question)) > 1
