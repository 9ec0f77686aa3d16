"""Two thousand made-up children with operations and missing visits: the 90 % band holds nine in ten."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.growth import fit_growth, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.growth.children import at
from tests.growth.protocols import with_value
from tests.growth.simulated import make

CHILDREN = 2000


@pytest.fixture(scope="module")
def inside() -> np.ndarray:
    """Return per child: whether the band held, visits, lengthenings, arrests, and how many surprises were named."""
    protocol = with_value(load_protocol(), "growth_draws", 1000)
    rng = np.random.default_rng(1954)
    rows = []
    for _ in range(CHILDREN):
        made = make(protocol, rng)
        # The film was taken on the day; the projection is made the week after.
        fitted = fit_growth(Question(made.record, protocol, at(made.age + 0.02)), known_steps=made.steps)
        assert fitted is not None
        low, high = np.quantile(outlook(fitted).at_maturity(), [0.05, 0.95])
        adds = sum(bool(step.adds_mm) for step in made.steps)
        stops = sum(bool(step.stops) for step in made.steps)
        held = low <= made.discrepancy_mm <= high
        rows.append((held, len(made.record.visits), adds, stops, len(fitted.surprises)))
    return np.array(rows, float)


def test_the_band_holds_nine_in_ten(inside: np.ndarray) -> None:
    assert 0.88 <= inside[:, 0].mean() <= 0.92


@pytest.mark.parametrize("column", [2, 3], ids=["lengthened", "growth arrested"])
def test_it_does_so_after_operations_too(inside: np.ndarray, column: int) -> None:
    held = inside[inside[:, column] > 0, 0]
    assert len(held) > 100
    assert held.mean() == pytest.approx(0.9, abs=0.06)


def test_honest_values_are_seldom_called_surprising(inside: np.ndarray) -> None:
    values = 4 * inside[:, 1].sum()
    assert inside[:, 4].sum() / values < 0.01
