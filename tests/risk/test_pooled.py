"""The pooled table: it comes out of the counts again, and what stands in it can be read back whole."""

from __future__ import annotations

import numpy as np
import pytest

from pathway.problems import Refused
from pathway.protocol.harm import OUTCOMES
from pathway.protocol.load import load_protocol
from pathway.risk.pooled import NAMES, TABLE, digest, in_step, pooled, quantiles
from pathway.risk.terms import COEFFICIENTS, SLOPE, behind
from tests.risk.scripts import run

PROTOCOL = load_protocol()
TABLE_ROWS = {str(row[0]): row for row in PROTOCOL.table(TABLE).rows}
AT = {name: at for at, name in enumerate(PROTOCOL.table(TABLE).columns)}


def cell(name: str, column: str) -> float:
    return float(TABLE_ROWS[name][AT[column]])


def test_the_table_comes_out_again() -> None:
    done = run("--check")
    assert done.returncode == 0, done.stderr


def test_the_table_was_made_from_the_counts_that_the_rules_have() -> None:
    assert in_step(PROTOCOL)
    assert digest(behind(PROTOCOL)[1:]) != digest(behind(PROTOCOL))


def test_the_covariances_are_those_of_something() -> None:
    table = pooled(PROTOCOL)
    assert np.allclose(table.covariance, table.covariance.T)
    assert np.linalg.eigvalsh(table.covariance).min() > 0
    assert np.sqrt(np.diag(table.covariance)) == pytest.approx([cell(n, "sd") for n in COEFFICIENTS], abs=2e-4)


def test_each_quantile_lies_in_order_around_the_middle() -> None:
    for name in NAMES:
        assert cell(name, "q05") < cell(name, "q50") < cell(name, "q95")
        assert cell(name, "q05") < cell(name, "mean") < cell(name, "q95")


@pytest.mark.parametrize("outcome", OUTCOMES)
def test_counts_and_series_of_an_outcome_are_counted(outcome: str) -> None:
    own = behind(PROTOCOL, outcome)
    assert (cell(f"rate:{outcome}", "rows"), cell(f"rate:{outcome}", "series")) == (
        len(own),
        len({item.series for item in own}),
    )


def test_a_slope_that_is_known_moves_what_hangs_together_with_it_and_has_no_spread() -> None:
    table = pooled(PROTOCOL)
    at = COEFFICIENTS.index(SLOPE)
    known = table.at_slope(0.6)
    assert known.mean[at] == 0.6
    assert not known.covariance[at].any() and not known.covariance[:, at].any()
    # Normal conditioning: no coefficient is less sure once another one is known.
    assert (np.diag(known.covariance) <= np.diag(table.covariance) + 1e-12).all()
    same = table.at_slope(float(table.mean[at]))
    assert same.mean == pytest.approx(table.mean)


def test_rules_without_the_table_or_with_another_one_are_refused() -> None:
    without = PROTOCOL.model_copy(update={"tables": tuple(t for t in PROTOCOL.tables if t.id != TABLE)})
    table = PROTOCOL.table(TABLE)
    other = PROTOCOL.model_copy(update={"tables": (table.model_copy(update={"rows": table.rows[1:]}),)})
    for protocol in (without, other):
        with pytest.raises(Refused, match=r"rules/harms/pooled.toml: found .*make it again"):
            pooled(protocol)


def test_the_quantiles_of_a_mixture_are_those_of_its_distribution() -> None:
    from scipy.stats import norm

    weights, means, sds = np.array([0.3, 0.7]), np.array([-1.0, 2.0]), np.array([0.5, 1.5])
    for wanted, value in zip((0.05, 0.5, 0.95), quantiles(weights, means, sds), strict=True):
        assert weights @ norm.cdf(value, means, sds) == pytest.approx(wanted, abs=1e-6)
