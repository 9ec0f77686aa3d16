"""A leg difference in words instead of signs: by how much the treated leg is shorter or longer."""

from __future__ import annotations

from pathway.plan.growth import Quantiles


def side_words(mm: float) -> str:
    """Return a difference in words: `8.0 cm shorter`, `0.4 cm longer`, `equal`."""
    cm = _cm(mm)
    if cm == 0:
        return "equal"
    return f"{abs(cm):.1f} cm {'shorter' if cm > 0 else 'longer'}"


def between_words(low_mm: float, high_mm: float) -> str:
    """Return a range without its unit: `6.9 to 9.2`, across equal legs `1.2 longer to 2.3 shorter`."""
    low, high = sorted((_cm(low_mm), _cm(high_mm)))
    if low >= 0:
        return f"{low:.1f} to {high:.1f}{' shorter' if low == 0 else ''}"
    if high <= 0:
        return f"{-high:.1f} to {-low:.1f} longer"
    return f"{-low:.1f} longer to {high:.1f} shorter"


def spread_words(spread: Quantiles) -> str:
    """Return a difference with the range of 90 of 100 in brackets: `8.0 cm shorter (6.9 to 9.2)`."""
    return f"{side_words(spread.p50)} ({between_words(spread.p05, spread.p95)})"


def _cm(mm: float) -> float:
    return round(mm / 10, 1) + 0.0
