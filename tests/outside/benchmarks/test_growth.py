"""How long growth takes, and that a general sampler gives the same answer more slowly.

Run with `python -m pytest tests/outside/benchmarks --benchmark-enable`; without, each runs once as a test.
"""

from __future__ import annotations

import datetime
import time

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from pathway.growth import Outlook, Step, fit_growth, growth_curve, outlook
from pathway.growth.bones.evidence import Terms, basis_of, terms
from pathway.growth.bones.measured import readings
from pathway.growth.surgery import BONES
from pathway.protocol.load import load_protocol
from pathway.protocol.model import Protocol
from pathway.protocol.question import Question
from pathway.record import Record
from tests.growth.children import at, bones, child
from tests.growth.protocols import with_value
from tests.growth.simulated import make

LAST = 9.0


def ten_visits(seed: int = 0) -> Record:
    rng, curve = np.random.default_rng(seed), growth_curve(load_protocol(), "boy")
    parts = curve.fraction(np.linspace(2.0, LAST, 10))
    visits = []
    for age, part in zip(np.linspace(2.0, LAST, 10), parts, strict=True):
        a, b, c, d = (float(part * mm + 2.3 * rng.standard_normal()) for mm in (330, 470, 330, 375))
        visits.append(bones(float(age), (a, b, c, d)))
    return child(*visits)


@pytest.fixture
def many_draws() -> Protocol:
    return with_value(load_protocol(), "growth_draws", 4000)


def projected(record: Record, protocol: Protocol, on: datetime.date, ages: np.ndarray) -> Outlook:
    fitted = fit_growth(Question(record, protocol, on))
    assert fitted is not None
    return outlook(fitted, (), ages)


def test_posterior_from_ten_visits_and_five_bands_at_200_ages(
    benchmark: BenchmarkFixture, many_draws: Protocol
) -> None:
    record, ages = ten_visits(), np.linspace(LAST, 18.0, 200)
    bands = benchmark(lambda: projected(record, many_draws, at(LAST), ages).bands([0.05, 0.25, 0.5, 0.75, 0.95]))
    assert bands.shape == (5, 200)
    assert np.all(np.diff(bands, axis=0) > 0)


def test_posterior_from_sixty_visits(benchmark: BenchmarkFixture) -> None:
    rng, curve = np.random.default_rng(6), growth_curve(load_protocol(), "boy")
    visits = []
    for age in np.linspace(1.0, 15.0, 60):
        part = float(curve.fraction(age))
        a, b, c, d = (part * mm + 2.3 * float(rng.standard_normal()) for mm in (330, 470, 330, 375))
        visits.append(bones(float(age), (a, b, c, d)))
    question = Question(child(*visits), load_protocol(), at(15.0))
    assert benchmark(lambda: fit_growth(question)) is not None


def test_posterior_from_ten_visits_after_two_lengthenings_and_an_arrest(benchmark: BenchmarkFixture) -> None:
    done = (
        Step("short", "femur", 4.5, adds_mm=50),
        Step("short", "femur", 7.5, adds_mm=50),
        Step("long", "femur", 8.0, stops=("distal_femur",)),
        Step("long", "tibia", 8.0, stops=("proximal_tibia",)),
    )
    question = Question(ten_visits(), load_protocol(), at(LAST))
    assert benchmark(lambda: fit_growth(question, known_steps=done)) is not None


def test_a_thousand_children(benchmark: BenchmarkFixture) -> None:
    protocol, rng = load_protocol(), np.random.default_rng(1)
    # Once as a test a tenth of them will do.
    many = [make(protocol, rng) for _ in range(1000 if benchmark.enabled else 100)]

    def run() -> list[float]:
        centres = []
        for one in many:
            fitted = fit_growth(Question(one.record, protocol, at(one.age + 0.02)), known_steps=one.steps)
            assert fitted is not None
            centres.append(float(np.median(outlook(fitted).at_maturity())))
        return centres

    centres = benchmark.pedantic(run, rounds=1, iterations=1)
    assert np.isfinite(centres).all()


def log_density(model: Terms, x: np.ndarray) -> np.ndarray:
    """Return the log of the posterior density (w,) at unknowns (w, n); no operations."""
    expected = np.zeros((len(x), len(model.seen.mm)))
    for bone, view in model.views.items():
        long, short = legs(model, x, bone, view.base, view.design, view.start)
        expected += long @ model.seen.long[bone].T + short @ model.seen.short[bone].T
    left = model.seen.mm - expected
    prior = -0.5 * np.einsum("wi,ij,wj->w", x, model.prior.precision, x) + x @ model.prior.information
    # Each combination of ways is Gaussian; their sum is not.
    special = x[:, None, model.frame.layout.special]
    each = -0.5 * (((special - model.ways.mean) / model.ways.sd) ** 2).sum(axis=2)
    prior += np.log(np.exp(each) @ (model.ways.chance / model.ways.sd.prod(axis=1)))
    return np.asarray(prior - 0.5 * np.einsum("wi,ij,wj->w", left, np.linalg.inv(model.seen.noise), left))


def legs(
    model: Terms, x: np.ndarray, bone: str, base: np.ndarray, design: np.ndarray, start: int
) -> tuple[np.ndarray, np.ndarray]:
    layout = model.frame.layout
    alone = np.exp(base + x @ design.T)
    share, drift = x[:, layout.share(bone)], x[:, layout.drift(bone)]  # type: ignore[arg-type]
    grown = alone - alone[:, start : start + 1]
    return alone, (share * alone[:, start])[:, None] + (share + drift)[:, None] * grown


def mature_discrepancy(model: Terms, x: np.ndarray) -> np.ndarray:
    total = np.zeros(len(x))
    for bone in BONES:
        view = model.views[bone]
        base, design = np.append(view.base, 0.0), np.vstack((view.design, np.zeros(view.design.shape[1])))
        design[-1, model.frame.layout.size(bone)] = 1.0
        long, short = legs(model, x, bone, base, design, view.start)
        total += long[:, -1] - short[:, -1]
    return total


def test_a_general_sampler_gives_the_same_answer_more_slowly(benchmark: BenchmarkFixture, many_draws: Protocol) -> None:
    emcee = pytest.importorskip("emcee")
    record = ten_visits()
    fitted = benchmark(lambda: fit_growth(Question(record, many_draws, at(LAST))))
    assert fitted is not None
    begun = time.perf_counter()
    draws = outlook(fit_growth(Question(record, many_draws, at(LAST))) or fitted).at_maturity()  # type: ignore[arg-type]
    ours = time.perf_counter() - begun
    basis = basis_of(Question(record, many_draws, at(LAST)), readings(Question(record, many_draws, at(LAST))), ())
    model = terms(basis)
    assert fitted.known is not None
    # Ours serves it as place to begin and as scale; a sampler left to itself would need far longer.
    rng, root = np.random.default_rng(5), np.linalg.inv(np.linalg.cholesky(fitted.known.precision)).T
    width, walkers, length = len(root), 4 * len(root), 5000 if benchmark.enabled else 2500
    begun = time.perf_counter()
    sampler = emcee.EnsembleSampler(
        walkers, width, lambda z: log_density(model, fitted.known.mean + z @ root.T), vectorize=True
    )
    sampler.random_state = np.random.RandomState(5).get_state()
    sampler.run_mcmc(rng.standard_normal((walkers, width)), length)
    theirs = time.perf_counter() - begun
    chain = sampler.get_chain(discard=length // 5, thin=10, flat=True)
    sampled = mature_discrepancy(model, fitted.known.mean + chain @ root.T)
    benchmark.extra_info["times as fast as emcee"] = round(theirs / ours)
    assert draws.mean() == pytest.approx(sampled.mean(), abs=1.0)
    assert draws.std() == pytest.approx(sampled.std(), rel=0.05)
