"""This clinic's osteotomies together: how far off they come, by implant, and the error of the next plan. Pure."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np

from pathway.protocol.model import Protocol
from pathway.questions.achieved import TURNS, Achieved, Difference
from pathway.record import Frozen

NAMES = (
    *TURNS,
    "neck_shaft_after_deg",
    "version_after_deg",
    "flexion_after_deg",
    "epiphyseal_after_deg",
    "length_gain_mm",
)
LEAST, PRIOR = "osteotomy_achieved_least_operations", "osteotomy_error_prior_operations"
FED: Mapping[str, str] = {"valgus_deg": "wire_front_deg", "extension_deg": "slot_deg", "rotation_deg": "rotation_deg"}
"""The error of the hand (`osteotomy_error_…`) that each turn tells of."""
GRID, GRID_DECADES = 401, 3
"""Steps on which a variance is worked out, and how many tenfolds below and above the assumed one they reach."""
TAIL = 0.05
"""What lies beyond either end of an interval of 90 of 100."""


class Pooled(Frozen):
    """One quantity over several osteotomies: mean difference from the plan and its SD, each with a 90 % interval.

    `implant_deg` is None for all implants together. Achieved less planned: above 0 is more than was planned.
    The SD holds the reading of the films too; `reading_sd` is that alone, None where the rules have none.
    """

    implant_deg: float | None
    name: str
    operations: int
    mean: float
    mean_low: float
    mean_high: float
    sd: float
    sd_low: float
    sd_high: float
    reading_sd: float | None


class NextError(Frozen):
    """The error of the hand in one step, as the next plan is to count it: `rule` is its value in the rules.

    `sd` joins the `assumed` one, which weighs as much as `prior` osteotomies, with `operations` of the clinic's own,
    whose films are read with an error too.
    """

    rule: str
    name: str
    assumed: float
    prior: float
    operations: int
    sd: float


class Corrections(Frozen):
    """All osteotomies whose sheet was kept, what they have in common, and the errors of the next plan.

    `least` is of how many at least a mean is told.
    """

    operations: tuple[Achieved, ...]
    least: int
    pooled: tuple[Pooled, ...]
    next_errors: tuple[NextError, ...]


def corrections(done: Sequence[Achieved], protocol: Protocol) -> Corrections:
    """Return what osteotomies have in common, those of each implant first; of fewer than the least nothing is told."""
    least = round(protocol.number(LEAST))
    implants = sorted({one.implant_deg for one in done})
    groups = [*((angle, [one for one in done if one.implant_deg == angle]) for angle in implants), (None, done)]
    return Corrections(
        operations=tuple(done),
        least=least,
        pooled=tuple(pooled for angle, some in groups for pooled in _pooled(angle, some, least)),
        next_errors=tuple(_next_errors(done, least, protocol)),
    )


def _pooled(implant_deg: float | None, done: Sequence[Achieved], least: int) -> Iterator[Pooled]:
    from scipy.special import chdtri, stdtrit  # noqa: PLC0415  (only lists of osteotomies need it)

    for name in NAMES:
        found = list(_told(done, name))
        count = len(found)
        if count < least:
            continue
        off = [one.difference or 0.0 for one in found]
        mean, sd = statistics.fmean(off), statistics.stdev(off)
        reach = float(stdtrit(count - 1, 1 - TAIL)) * sd / math.sqrt(count)
        low, high = (sd * math.sqrt((count - 1) / float(chdtri(count - 1, beyond))) for beyond in (TAIL, 1 - TAIL))
        yield Pooled(
            implant_deg=implant_deg,
            name=name,
            operations=count,
            mean=mean,
            mean_low=mean - reach,
            mean_high=mean + reach,
            sd=sd,
            sd_low=low,
            sd_high=high,
            reading_sd=found[0].reading_sd,
        )


def _next_errors(done: Sequence[Achieved], least: int, protocol: Protocol) -> Iterator[NextError]:
    prior = protocol.number(PRIOR)
    for name, step in FED.items():
        found = list(_told(done, name))
        if len(found) < least:
            continue
        rule = f"osteotomy_error_{step}"
        assumed = protocol.number(rule)
        sd = _hand_sd(found, assumed, prior)
        yield NextError(
            rule=rule,
            name=name,
            assumed=assumed,
            prior=prior,
            operations=len(found),
            sd=round(sd, 2),
        )


def _hand_sd(found: Sequence[Difference], assumed: float, prior: float) -> float:
    """Return the SD of the hand about the plan, given what films show, each read with its own error.

    About the plan, not about their own mean: what always goes one way is an error of the next plan too. Before any
    film the variance is scaled inverse chi-squared, of as many degrees of freedom as the assumed SD is worth.
    """
    variance = assumed**2 * np.logspace(-GRID_DECADES, GRID_DECADES, GRID)
    likely = -prior / 2 * (np.log(variance) + assumed**2 / variance)
    for one in found:
        whole = variance + (one.reading_sd or 0.0) ** 2
        likely -= (np.log(whole) + (one.difference or 0.0) ** 2 / whole) / 2
    weight = np.exp(likely - likely.max())
    # The mean of 1 / variance: read without error, films then add to the assumed squares as so many more osteotomies.
    return math.sqrt(float(weight.sum() / (weight / variance).sum()))


def _told(done: Iterable[Achieved], name: str) -> Iterator[Difference]:
    for one in done:
        item = one.of(name)
        if item is not None and item.achieved is not None:
            yield item
