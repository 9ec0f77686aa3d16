"""What must hold within one published count."""

from __future__ import annotations

from collections.abc import Iterator

from pathway.protocol.harm import Harm

Fault = tuple[str, str]
"""What was found and what was expected."""


def faults_of_harm(item: Harm) -> Iterator[Fault]:
    """Yield what is wrong with one count, as what was found and what was expected."""
    if item.kind == "share" and (item.of is None or item.n > item.of):
        yield f"{item.n:g} of {_number(item.of)}", "a share: n not above `of`"
    if item.kind == "count" and item.of is None:
        yield "events without `of`", "the number of units in which they were counted"
    if item.low is not None and item.high is not None and item.low > item.high:
        yield f"from {item.low:g} to {item.high:g}", "the lower value first"
    if item.percent_range is not None:
        low, high = item.percent_range
        if not 0 < low <= high:
            yield f"the percent range {low:g} to {high:g}", "percent of the bone above 0, the lower value first"
        if not item.percent_basis.strip():
            yield "a percent range without `percent_basis`", "how it was found, in words"
    if item.tibia_share is not None and item.bone != "both":
        yield f"tibia_share with the bone {item.bone!r}", 'tibia_share only with bone = "both"'
    if not item.family_words.strip().endswith("."):
        yield f"the family words {item.family_words!r}", "one sentence that ends with a full stop"
    if item.fit:
        yield from _faults_of_fit(item)


def _faults_of_fit(item: Harm) -> Iterator[Fault]:
    """Yield what keeps a count from standing behind the pooled table."""
    if not item.outcomes:
        yield f"fit = true with {item.what!r}", "something that the pooled table distinguishes"
    if item.treatment != "lengthening" or item.kind == "mean":
        yield f"fit = true with the treatment {item.treatment!r} and a {item.kind}", "a share or count of lengthenings"
    if (item.percent is None or item.percent.centre is None) and item.percent_range is None:
        yield "fit = true without a percent of the bone", "`percent` with a mean, or `percent_range`"
    if item.adults:
        yield "fit = true with adults", "children's lengthenings behind the pooled table"


def _number(value: float | None) -> str:
    return "nothing" if value is None else f"{value:g}"
