"""The model of risk by amount, fitted again with a clinic's own lengthenings beside print, as one more series.

A single lengthening tells of its own share of the bone, where print tells of a mean. The clinic is one series: its
team may be better or worse than others as a whole, which the spread between series takes up. Of each child the first
lengthening counts: the others of the same child would be taken for witnesses of their own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from pathway.protocol.harm import OUTCOMES, Harm, Spread
from pathway.protocol.model import Protocol
from pathway.record import Frozen
from pathway.results.figures import terms_of
from pathway.results.lengthenings import Lengthening
from pathway.risk.fitting import fit
from pathway.risk.pooled import NAMES, SUMMARY, TABLE, summary
from pathway.risk.terms import SLOPE, behind

SERIES = "own_lengthenings"
STRATUM, FOLLOWED = "results_stratum_percent", "results_followed_months"


class Coefficient(Frozen):
    """One coefficient of the model: mean with 5 and 95 of 100, as published counts have it and with one's own."""

    name: str
    published: float
    published_low: float
    published_high: float
    with_own: float
    with_own_low: float
    with_own_high: float


class Refitted(Frozen):
    """The model with so many own lengthenings, one a child; `coefficients` are empty where they are too few to be told.

    `left_out` are lengthenings without a share of the bone, not followed long enough, or later ones of the same child.
    Rates are at `at_percent` of the bone, the slope is for `step_percent` more of it.
    """

    lengthenings: int
    left_out: int
    least: int
    at_percent: float
    step_percent: float
    coefficients: tuple[Coefficient, ...]


def own_counts(own: Sequence[Lengthening], protocol: Protocol) -> tuple[Harm, ...]:
    """Return a clinic's lengthenings as counts like those of print, of what its complications can tell.

    An outcome that no recorded complication tells of is not counted: nobody knows of it.
    """
    told = {
        rule.outcome: rule.complications
        for rule in protocol.stage_harms
        if rule.outcome is not None and rule.complications
    }
    width = protocol.number(STRATUM)
    strata: dict[tuple[object, ...], list[Lengthening]] = defaultdict(list)
    for one in usable(own, protocol):
        share = int((one.percent or 0.0) // width)
        cover = one.hip_cover if one.hip_cover in ("good", "poor", "prepared") else None
        strata[one.bone, one.device.kind, one.device.rod, one.congenital, cover, share].append(one)
    return tuple(
        _count(outcome, complications, some, number, protocol)
        for number, some in enumerate(strata.values())
        for outcome, complications in told.items()
        if outcome != "hip" or some[0].bone == "femur"
    )


def usable(own: Sequence[Lengthening], protocol: Protocol) -> tuple[Lengthening, ...]:
    """Return the lengthenings whose share of the bone is known and that were followed long enough."""
    months = protocol.number(FOLLOWED)
    return tuple(one for one in own if one.percent is not None and (one.followed_months or 0.0) >= months)


def _count(
    outcome: str, complications: Sequence[str], some: Sequence[Lengthening], number: int, protocol: Protocol
) -> Harm:
    first = some[0]
    percents = [one.percent or 0.0 for one in some]
    cover = first.hip_cover if first.hip_cover in ("good", "poor", "prepared") else None
    return Harm(
        id=f"{SERIES}.{outcome}.{number}",
        what=OUTCOMES[outcome][0],
        treatment="lengthening",
        series=SERIES,
        stratum=str(number),
        kind="share",
        n=sum(any(event in complications for event in one.events) for one in some),
        of=len(some),
        population="own lengthenings",
        diagnosis="congenital" if first.congenital else "mixed",
        congenital_share=float(first.congenital),
        bone=first.bone,
        device=first.device.kind,
        rod_share=float(first.device.rod),
        hip_cover=cover,
        percent=Spread(mean=sum(percents) / len(percents)),
        family_words="Counted here.",
        directness="direct",
        indirect="",
        fit=True,
        sources=("own_judgement",),
        provenance="computed",
    )


def refitted(of_children: Sequence[Sequence[Lengthening]], protocol: Protocol) -> Refitted:
    """Return the model fitted with the lengthenings of a clinic's children beside print; takes seconds.

    Raises NoFit, and Refused where the rules have no pooled table.
    """
    used = [some[0] for own in of_children if (some := usable(own, protocol))]
    least = terms_of(protocol).least
    left_out = sum(map(len, of_children)) - len(used)
    bare = Refitted(
        lengthenings=len(used),
        left_out=left_out,
        least=least,
        at_percent=protocol.number("risk_percent_centre"),
        step_percent=protocol.number("risk_percent_unit"),
        coefficients=(),
    )
    if len(used) < least:
        return bare
    both = (*behind(protocol), *own_counts(used, protocol))
    before = {str(row[0]): row[1:] for row in protocol.table(TABLE).rows}
    after = {str(row[0]): row[1:] for row in summary(fit(both, protocol), both)[1]}
    told = [SLOPE, *(name for name in NAMES if name.startswith("rate:") and _counted(name, both))]
    coefficients = tuple(_coefficient(name, before[name], after[name]) for name in told)
    return bare.model_copy(update={"coefficients": coefficients})


def _counted(name: str, items: Sequence[Harm]) -> bool:
    outcome = name.removeprefix("rate:")
    return any(item.series == SERIES and outcome in item.outcomes for item in items)


def _coefficient(name: str, before: Sequence[str | float], after: Sequence[str | float]) -> Coefficient:
    low, middle, high = (SUMMARY.index(part) for part in ("q05", "q50", "q95"))
    return Coefficient(
        name=name,
        published=float(before[middle]),
        published_low=float(before[low]),
        published_high=float(before[high]),
        with_own=float(after[middle]),
        with_own_low=float(after[low]),
        with_own_high=float(after[high]),
    )
