"""What visits to come will teach: held against really fitting them."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from pathway.days import age_years
from pathway.growth import Step, fit_growth, outlook
from pathway.growth.learning import estimates, learning
from pathway.protocol.load import load_protocol
from pathway.record import Record
from tests.growth.children import at, bones, child
from tests.growth.futures import day, film, future
from tests.growth.protocols import with_value

LENGTHENED = (Step("short", "femur", 8.0, adds_mm=50.0),)
DECISIONS = (6.0, 8.0, 11.0, 13.0)
LENGTHS = {4.0: (135, 205, 150, 165), 5.0: (152, 233, 170, 188)}
FUTURES = 150


def record_at(*ages: float) -> Record:
    return child(*(bones(age, LENGTHS[age]) for age in ages))  # type: ignore[arg-type]


@cache
def refitted(ages: tuple[float, ...], steps: tuple[Step, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Return the true ends (m,) and what really fitting every visit says at the decisions (m, n), mm."""
    protocol = load_protocol()
    few = with_value(protocol, "growth_draws", 2)
    record = record_at(*ages)
    posterior = fit_growth(record, protocol, at(ages[-1]), seed=3)
    assert posterior is not None
    rng = np.random.default_rng(11)
    gain_sd = protocol.number("lengthening_gain_error_sd_mm")
    truths, said = [], []
    for draw in rng.choice(posterior.draws, FUTURES, replace=False):
        truth = future(posterior, int(draw))
        done = [Step(s.leg, s.bone, s.age_years, s.adds_mm + gain_sd * rng.standard_normal()) for s in steps]
        truths.append(float(outlook(truth, done).at_maturity()[0]) + sum(s.adds_mm for s in steps))
        visits, row, age = list(record.visits), [], ages[-1]
        for decision in DECISIONS:
            while age + 0.5 <= decision + 1e-6:
                age += 0.5
                when = day(record, age)
                visits.append(
                    film(truth, done, when, age_years(record.child.date_of_birth, when), record, protocol, rng)
                )
            past = tuple(step for step in steps if step.age_years < decision)
            fitted = fit_growth(
                record.model_copy(update={"visits": tuple(visits)}), few, at(decision), known_steps=past
            )
            assert fitted is not None
            to_come = [step for step in steps if step.age_years >= decision]
            end = float(outlook(fitted.central(), to_come).at_maturity()[0])
            row.append(end + sum(s.adds_mm for s in steps))
        said.append(row)
    return np.array(truths), np.array(said)


@cache
def foreseen(ages: tuple[float, ...], steps: tuple[Step, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Return the same as foreseen from the posterior alone."""
    protocol = load_protocol()
    posterior = fit_growth(record_at(*ages), protocol, at(ages[-1]), seed=3)
    assert posterior is not None
    learned = learning(posterior, protocol, DECISIONS, steps)
    rng = np.random.default_rng(5)
    natural = outlook(posterior).at_maturity()
    loss = outlook(posterior, steps).at_maturity() + sum(s.adds_mm for s in steps) - natural
    gains = learned.gain_error_sd_mm * rng.standard_normal((posterior.draws, len(steps))).sum(axis=1)
    centre = float(outlook(posterior.central()).at_maturity()[0])
    return natural - gains + loss, estimates(learned, natural - gains, centre, rng, loss_mm=loss)


CASES = [((4.0, 5.0), ()), ((5.0,), ()), ((5.0,), LENGTHENED)]


@pytest.mark.parametrize(("ages", "steps"), CASES, ids=["two visits", "one visit", "lengthened between"])
def test_the_error_of_each_later_projection_is_the_one_that_comes(
    ages: tuple[float, ...], steps: tuple[Step, ...]
) -> None:
    truth, said = refitted(ages, steps)
    expected_truth, expected = foreseen(ages, steps)
    real = (truth[:, None] - said).std(axis=0)
    promised = (expected_truth[:, None] - expected).std(axis=0)
    print(real, promised, (truth[:, None] - said).mean(axis=0), (expected_truth[:, None] - expected).mean(axis=0))
    assert promised == pytest.approx(real, rel=0.2)
