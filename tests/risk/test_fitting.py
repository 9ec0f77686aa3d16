"""The fit, held against integrals worked out without it, and against counts made up with known coefficients."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import binom, norm, poisson

from pathway.protocol.harm import Harm, Spread
from pathway.protocol.load import load_protocol
from pathway.risk.fitting import SLOPES, SPREADS_OUTCOME, SPREADS_SERIES, design_of, fit, percent_of, prior
from pathway.risk.terms import COEFFICIENTS, SLOPE, covariates, mix_of

PROTOCOL = load_protocol()
PLAIN = next(item for item in PROTOCOL.harms if item.id == "paley_1990.unplanned_operation")


def count(n: float, of: float, **changed: object) -> Harm:
    """Return a made-up count of femora in a frame at the percent where the slope does nothing."""
    plain = {
        "n": n,
        "of": of,
        "bone": "femur",
        "percent": Spread(mean=PROTOCOL.number("risk_percent_centre")),
        "percent_range": None,
        "amount_mm": None,
        "congenital_share": PROTOCOL.number("risk_share_when_mixed"),
    }
    return PLAIN.model_copy(update={**plain, **changed})


def by_integration(item: Harm) -> tuple[float, float]:
    """Return mean and SD of the rate's posterior given one count, summed over a fine grid of log m.

    The same model and the same grid of spreads, but no normal approximation.
    """
    before = prior(PROTOCOL)
    at = COEFFICIENTS.index(f"rate:{item.outcomes[0]}")
    m0, v0 = before.mean[at], before.sd[at] ** 2
    row = covariates(item.outcomes[0], mix_of(item, PROTOCOL), PROTOCOL)
    other = float((row**2) @ before.sd**2) - v0
    logs, firsts, seconds = [], [], []
    eta = np.linspace(-14, 6, 4001)
    m = np.exp(eta)
    likelihood = (
        binom.logpmf(item.n, item.of, -np.expm1(-m)) if item.kind == "share" else poisson.logpmf(item.n, item.of * m)
    )
    for series in SPREADS_SERIES:
        for outcome in SPREADS_OUTCOME:
            v = v0 + other + series**2 + outcome**2
            density = likelihood + norm.logpdf(eta, m0, np.sqrt(v))
            weight = logsumexp(density) + sum(-((s / before.spread) ** 2) / 2 + np.log(s) for s in (series, outcome))
            p = np.exp(density - logsumexp(density))
            mean = m0 + v0 / v * (p @ eta - m0)
            variance = v0 - v0**2 / v + (v0 / v) ** 2 * (p @ (eta - p @ eta) ** 2)
            logs.append(weight)
            firsts.append(mean)
            seconds.append(variance + mean**2)
    weights = np.exp(np.array(logs) - logsumexp(logs))
    mean = float(weights @ np.array(firsts))
    return mean, float(np.sqrt(weights @ np.array(seconds) - mean**2))


@pytest.mark.parametrize(
    ("kind", "n", "of"), [("count", 11, 60), ("count", 0, 36), ("count", 90, 60), ("share", 8, 45), ("share", 0, 14)]
)
def test_one_count_gives_what_summing_over_all_values_gives(kind: str, n: float, of: float) -> None:
    item = count(n, of, kind=kind)
    found = fit([item], PROTOCOL)
    at = COEFFICIENTS.index("rate:unplanned_operation")
    mean = float(found.weights @ found.means[:, at])
    variance = found.weights @ (found.covariances[:, at, at] + found.means[:, at] ** 2) - mean**2
    expected, sd = by_integration(item)
    assert mean == pytest.approx(expected, abs=0.01)
    assert np.sqrt(variance) == pytest.approx(sd, abs=0.01)


def made_up(slope: float, rng: np.random.Generator) -> Iterator[Harm]:
    """Yield counts of 13 series of 60 lengthenings each, whose events rise with the percent by a known slope."""
    for percent in range(12, 37, 2):
        factor = (percent - PROTOCOL.number("risk_percent_centre")) / PROTOCOL.number("risk_percent_unit")
        m = np.exp(-0.7 + slope * factor + 0.3 * rng.standard_normal())
        events = float(rng.poisson(60 * m))
        yield count(events, 60, series=f"made_up_{percent}", percent=Spread(mean=percent))


def test_a_slope_that_was_put_in_comes_out() -> None:
    at, rate = COEFFICIENTS.index(SLOPE), COEFFICIENTS.index("rate:unplanned_operation")
    middles = {}
    for slope in (0.0, 0.5):
        found = [fit(list(made_up(slope, np.random.default_rng(seed))), PROTOCOL) for seed in range(4)]
        means = [float(one.weights @ one.means[:, at]) for one in found]
        sds = [
            float(np.sqrt(one.weights @ one.means[:, at] ** 2 - mean**2))
            for one, mean in zip(found, means, strict=True)
        ]
        assert all(abs(mean - slope) < 2.6 * sd for mean, sd in zip(means, sds, strict=True))
        # Least squares on 13 points of SD 0.75 around a line with a scatter of about 0.35 leave about 0.13.
        assert 0.05 < np.mean(sds) < 0.25
        assert np.mean([one.weights @ one.means[:, rate] for one in found]) == pytest.approx(-0.7, abs=0.3)
        middles[slope] = float(np.mean(means))
    assert middles[0.0] == pytest.approx(0.0, abs=0.2)
    assert middles[0.5] - middles[0.0] > 0.25


def test_more_events_never_lower_the_rate() -> None:
    at = COEFFICIENTS.index("rate:unplanned_operation")
    rates = []
    for n in (0, 3, 12, 30, 80):
        found = fit([count(n, 40)], PROTOCOL)
        rates.append(float(found.weights @ found.means[:, at]))
    assert rates == sorted(rates)


def test_a_count_of_hip_or_knee_speaks_of_both_and_a_printed_percent_is_a_point() -> None:
    both = next(item for item in PROTOCOL.harms if item.what == "hip_or_knee_instability" and item.fit)
    design = design_of([both], PROTOCOL)
    assert [list(parts) for parts in design.rows.parts] == [[0, 1]]
    assert percent_of(count(1, 10), PROTOCOL) == (0.0, 0.0)
    middle, sd = percent_of(count(1, 10, percent=None, percent_range=(15.0, 35.0)), PROTOCOL)
    assert middle == pytest.approx(0.5)
    # Half the range is that many SD of a normal value: 1.6449 for 90 in 100 (any table of the normal distribution).
    assert sd == pytest.approx(1.0 / 1.6449, abs=1e-4)


def test_a_count_without_any_percent_is_not_fitted() -> None:
    with pytest.raises(ValueError, match="neither a percent nor a range"):
        fit([count(1, 10, percent=None)], PROTOCOL)


def test_the_grid_is_wide_enough_for_what_is_found() -> None:
    from pathway.protocol.model import Protocol
    from pathway.risk.pooled import TABLE

    def quantile(protocol: Protocol, name: str, column: str) -> float:
        table = protocol.table(TABLE)
        return float(next(row for row in table.rows if row[0] == name)[table.columns.index(column)])

    for name, grid in (("log_spread_series", SPREADS_SERIES), ("log_spread_outcome", SPREADS_OUTCOME)):
        assert np.log(grid[0]) < quantile(PROTOCOL, name, "q05")
        assert quantile(PROTOCOL, name, "q95") < np.log(grid[-1])
    width = SLOPES[-1] * PROTOCOL.number("risk_prior_slope_sd")
    assert -width < quantile(PROTOCOL, SLOPE, "q05") and quantile(PROTOCOL, SLOPE, "q95") < width
