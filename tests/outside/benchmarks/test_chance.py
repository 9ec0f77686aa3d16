"""How long it takes to say how every course of a child ends when its amounts are decided again."""

from __future__ import annotations

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.courses.course_outcome import chance_of
from pathway.courses.outcome import Chance
from pathway.courses.ranking import courses
from pathway.protocol.load import load_protocol
from tests.courses.childhood import plan
from tests.growth.protocols import with_value
from tests.sample import ON, five_year_old


def test_the_chances_of_every_course_from_4000_draws(benchmark: BenchmarkFixture) -> None:
    found = plan(five_year_old(), with_value(load_protocol(), "growth_draws", 4000), ON, seed=0)
    assert found is not None
    search = found[0]
    every = [course for course in courses(search) if not course.prosthetic]

    def run() -> list[Chance]:
        return [chance_of(course, search) for course in every]

    chances = benchmark(run)
    assert len(chances) >= 10
    assert all(len(one.residual_mm) == 4000 and np.isfinite(one.residual_mm).all() for one in chances)
