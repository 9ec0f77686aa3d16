"""How long a policy takes: an invented child of 4 years, by half-years and quarter-years. Nothing asserts a time."""

from __future__ import annotations

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.courses.policy.induction import solve
from pathway.courses.policy.outcome import outcome
from pathway.courses.policy.policy import best_policy
from tests.courses.policy.realistic import realistic


@pytest.mark.parametrize("quarters", [False, True])
@pytest.mark.parametrize("precision", [np.float32, np.float64])
def test_backward(precision: type[np.floating], quarters: bool, benchmark: BenchmarkFixture) -> None:
    programme = realistic(quarters=quarters)
    assert benchmark(solve, programme, precision=precision).value > 0


@pytest.mark.parametrize("quarters", [False, True])
def test_forward(quarters: bool, benchmark: BenchmarkFixture) -> None:
    solved = solve(realistic(quarters=quarters), precision=np.float32)
    assert benchmark(outcome, solved).cost > 0


@pytest.mark.parametrize("quarters", [False, True])
def test_all_of_it(quarters: bool, benchmark: BenchmarkFixture) -> None:
    assert benchmark(best_policy, realistic(quarters=quarters)).value > 0
