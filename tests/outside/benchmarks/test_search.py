"""How long the search of all courses takes, and how that compares with a general solver. Nothing asserts a time."""

from __future__ import annotations

import datetime
import statistics
import time
from collections.abc import Callable

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.courses.grid_search import Solution, cheapest
from pathway.courses.problem import course_problems
from pathway.courses.search import CourseSearch
from pathway.growth import fit_growth, outlook
from pathway.network import Conflict
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.rule_engine.classify import classify, with_classes
from pathway.rule_engine.facts import facts_on, known_steps
from pathway.rule_engine.staging import stage
from pathway.timing.windows import stage_windows
from tests.examples import example
from tests.growth.protocols import with_value
from tests.outside.solvers.problems import random_problem
from tests.outside.solvers.solvers import by_cp_sat, by_highs
from tests.outside.solvers.test_exact import random_score

ON = datetime.date(2026, 11, 25)
CHILDREN = ("alder-06", "birch-04", "cedar-05", "hazel-08", "oak-12", "rowan-02", "willow-03")
INSTANCES = 24


def every_course(name: str, protocol: Protocol) -> Callable[[], int]:
    """Return the whole search of one child, everything before it done: all numbers, with and without arrest."""
    record = example(name)
    posterior = fit_growth(Question(record, protocol, ON), known_steps=known_steps(Question(record, protocol, ON)))
    assert posterior is not None
    facts = facts_on(Question(record, protocol, ON), outlook(posterior))
    graph = stage(with_classes(facts, classify(facts, protocol)), Question(record, protocol, ON))
    timeline = stage_windows(graph, Question(record, protocol, ON), mature_age_years=posterior.mature_age_years)
    assert not isinstance(timeline, Conflict)

    def run() -> int:
        search = CourseSearch(course_problems(graph, timeline, posterior, Question(record, protocol, ON)))
        return sum(
            search.best(femoral, tibial, arrested=arrested) is not None
            for femoral in search.numbers("femur")
            for tibial in search.numbers("tibia")
            for arrested in (False, True)
        )

    return run


@pytest.mark.parametrize("months", [3, 1])
@pytest.mark.parametrize("name", CHILDREN)
def test_all_courses_of_one_child(name: str, months: int, protocol: Protocol, benchmark: BenchmarkFixture) -> None:
    assert benchmark(every_course(name, with_value(protocol, "age_grid_months", months))) >= 1


def test_against_general_solvers_on_the_same_instances(benchmark: BenchmarkFixture) -> None:
    """The same random problems (24 ages, two lengthenings, 20 gains) by our search, by CP-SAT and by HiGHS.

    All three must find the same optimum; the medians and the median ratios go to `extra_info`.
    """
    problems = [random_problem(seed, columns=24, numbers=(2, 0), gains=(20, 0), most=8) for seed in range(INSTANCES)]
    scores = [random_score(problem, seed) for seed, problem in enumerate(problems)]

    def ours() -> list[int | None]:
        found = [cheapest(Solution(p), (2, 0), score) for p, score in zip(problems, scores, strict=True)]
        return [None if one is None else one[0] for one in found]

    best = benchmark(ours)
    times: dict[str, list[float]] = {"ours": [], "cp_sat": [], "highs": []}
    for problem, score, optimum in zip(problems, scores, best, strict=True):
        for name, solve in (
            ("ours", lambda p, s: getattr(cheapest(Solution(p), (2, 0), s), "__getitem__", lambda _: None)(0)),
            ("cp_sat", lambda p, s: by_cp_sat(p, (2, 0), s)),
            ("highs", lambda p, s: by_highs(p, 2, s)),
        ):
            start = time.perf_counter()
            assert solve(problem, score) == optimum
            times[name].append(time.perf_counter() - start)
    for name, took in times.items():
        benchmark.extra_info[f"{name}_median_ms"] = round(1000 * statistics.median(took), 2)
    for name in ("cp_sat", "highs"):
        ratios = [other / own for own, other in zip(times["ours"], times[name], strict=True)]
        benchmark.extra_info[f"{name}_ratio_median"] = round(statistics.median(ratios), 1)
