"""What visits to come will teach: held against really fitting them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from pathway.days import age_years
from pathway.growth import Posterior, Step, fit_growth, narrowing, outlook
from pathway.growth.future_visits import estimates, learning
from pathway.protocol.load import load_protocol
from pathway.protocol.question import Question
from tests.growth.children import at, bones, child
from tests.growth.futures import day, film, future
from tests.growth.protocols import with_value

LENGTHENED = (Step("short", "femur", 8.0, adds_mm=50.0),)
DECISIONS = (6.0, 9.0, 13.0)
START = 5.0
PAIRS = 100


@cache
def posterior_of() -> Posterior:
    fitted = fit_growth(Question(child(bones(START, (152, 233, 170, 188))), load_protocol(), at(START)), seed=3)
    assert fitted is not None
    return fitted


def draws_of() -> np.ndarray:
    """Return some draws, each with its mirror image, so that chance moves their middle little."""
    half = posterior_of().draws // 2
    some = np.random.default_rng(12).choice(half, PAIRS, replace=False)
    return np.concatenate((some, some + half))


@cache
def refitted(steps: tuple[Step, ...]) -> np.ndarray:
    """Return how far the projection really fitted at each decision lies below the true end (m, n), mm."""
    protocol = load_protocol()
    few = with_value(protocol, "growth_draws", 2)
    record = child(bones(START, (152, 233, 170, 188)))
    rng = np.random.default_rng(11)
    gain_sd = protocol.number("lengthening_gain_error_sd_mm")
    found = []
    for draw in draws_of():
        truth = future(posterior_of(), int(draw))
        done = [Step(s.leg, s.bone, s.age_years, s.adds_mm + gain_sd * rng.standard_normal()) for s in steps]
        end = float(outlook(truth, done).at_maturity()[0])
        visits, row, age = list(record.visits), [], START
        for decision in DECISIONS:
            while age + 0.5 <= decision + 1e-6:
                age += 0.5
                when = day(record, age)
                visits.append(
                    film(truth, done, when, age_years(record.child.date_of_birth, when), record, protocol, rng)
                )
            past = tuple(step for step in steps if step.age_years < decision)
            later = [step for step in steps if step.age_years >= decision]
            seen = record.model_copy(update={"visits": tuple(visits)})
            fitted = fit_growth(Question(seen, few, at(decision)), known_steps=past)
            assert fitted is not None
            row.append(end - float(outlook(fitted.central(), later).at_maturity()[0]))
        found.append(row)
    return np.array(found)


@cache
def foreseen(steps: tuple[Step, ...]) -> np.ndarray:
    """Return the same as foreseen from the posterior alone, for the same true ends."""
    posterior, rng = posterior_of(), np.random.default_rng(5)
    learned = learning(posterior, load_protocol(), DECISIONS, steps)
    true = outlook(posterior, steps).at_maturity().astype(float)
    true -= learned.gain_error_sd_mm * rng.standard_normal((len(steps), len(true))).sum(axis=0)
    centre = float(outlook(posterior.central(), steps).at_maturity()[0])
    return true[:, None] - estimates(learned, true, centre, rng)


@pytest.mark.parametrize("steps", [(), LENGTHENED], ids=["never operated on", "lengthened at eight"])
def test_later_projections_are_as_near_the_truth_as_foreseen(steps: tuple[Step, ...]) -> None:
    assert foreseen(steps).std(axis=0) == pytest.approx(refitted(steps).std(axis=0), rel=0.25)


@pytest.mark.parametrize("steps", [(), LENGTHENED], ids=["never operated on", "lengthened at eight"])
def test_neither_lies_to_one_side(steps: tuple[Step, ...]) -> None:
    really = refitted(steps)
    error = 1.25 * really.std(axis=0) / np.sqrt(len(really))
    assert np.all(np.abs(np.median(really, axis=0) - np.median(foreseen(steps), axis=0)) < 3 * error)


def test_what_is_said_has_the_truth_as_its_middle_and_its_own_spread() -> None:
    """A martingale: what the projection still moves by has nothing to do with where it stands."""
    errors, learned = foreseen(()), learning(posterior_of(), load_protocol(), DECISIONS)
    said = outlook(posterior_of()).at_maturity()[:, None] - errors
    for k in range(len(DECISIONS)):
        assert abs(np.corrcoef(errors[:, k], said[:, k])[0, 1]) < 0.05
    whole = outlook(posterior_of()).at_maturity().std()
    assert errors.std(axis=0) == pytest.approx(whole * np.sqrt(learned.open_share), rel=0.05)


def test_one_visit_is_what_the_next_visit_is_said_to_bring() -> None:
    posterior = posterior_of()
    learned = learning(posterior, load_protocol(), [START + 0.5])
    next_visit = narrowing(posterior, 6)
    assert np.sqrt(learned.open_share[0]) == pytest.approx(next_visit.then_mm / next_visit.now_mm, rel=0.03)


def test_every_visit_narrows_and_a_decision_today_knows_what_is_known() -> None:
    learned = learning(posterior_of(), load_protocol(), [START, 5.2, 6.0, 9.0, 12.0, 15.0])
    assert learned.open_share[:2].tolist() == [1.0, 1.0]
    assert np.all(np.diff(learned.open_share[1:]) < 0)


def test_the_same_seed_says_the_same() -> None:
    learned = learning(posterior_of(), load_protocol(), DECISIONS)
    true = outlook(posterior_of()).at_maturity()
    one, other = (estimates(learned, true, 80.0, np.random.default_rng(4)) for _ in range(2))
    assert np.array_equal(one, other)


@pytest.mark.parametrize(
    ("ages", "every", "words"),
    [([9.0, 8.0], 6, "must not fall"), ([8.0], 0, "must lie apart")],
)
def test_what_cannot_be_is_said(ages: list[float], every: float, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        learning(posterior_of(), load_protocol(), ages, every_months=every)


def test_the_central_child_alone_learns_nothing() -> None:
    with pytest.raises(ValueError, match="only a posterior fitted"):
        learning(replace(posterior_of(), known=None), load_protocol(), [8.0])
