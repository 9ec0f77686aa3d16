"""What the next visit would add."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pathway.growth import Posterior, fit_growth, growth_curve, narrowing, outlook
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.growth.children import at, bones, child


def fit(*ages: float) -> Posterior:
    curve = growth_curve(load_protocol(), "boy")
    visits = [bones(a, tuple(mm * float(curve.fraction(a)) for mm in (380, 470, 330, 370))) for a in ages]  # type: ignore[arg-type]
    fitted = fit_growth(Question(child(*visits), load_protocol(), at(ages[-1])))
    assert fitted is not None
    return fitted


@given(st.floats(0, 60), st.sampled_from([(3.0,), (6.0,), (4.0, 6.0, 8.0)]))
@settings(max_examples=20, deadline=None)
def test_a_visit_never_widens_the_band(months: float, ages: tuple[float, ...]) -> None:
    found = narrowing(fit(*ages), months)
    assert 0 < found.then_mm <= found.now_mm
    assert 0 <= found.share < 1


def test_the_width_now_is_that_of_the_draws() -> None:
    fitted = fit(5.0, 7.0)
    low, high = np.quantile(outlook(fitted).at_maturity(), [0.05, 0.95])
    assert narrowing(fitted, 6).now_mm == pytest.approx(high - low, rel=0.08)


def test_the_width_then_is_the_one_that_comes() -> None:
    promised = narrowing(fit(5.0, 7.0), 12).then_mm
    assert narrowing(fit(5.0, 7.0, 8.0), 0).now_mm == pytest.approx(promised, rel=0.1)


def test_a_later_visit_tells_more_than_an_early_one() -> None:
    fitted = fit(6.0)
    assert narrowing(fitted, 36).then_mm < narrowing(fitted, 3).then_mm


def test_it_is_said_in_one_sentence() -> None:
    found = narrowing(fit(6.0), 12)
    assert found.sentence == (
        f"A film in 12 months would narrow the 90 % band at maturity from {found.now_mm:.0f} to {found.then_mm:.0f} mm."
    )


def test_the_past_cannot_be_waited_for() -> None:
    with pytest.raises(ValueError, match="in the past"):
        narrowing(fit(6.0), -1)
