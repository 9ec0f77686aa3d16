"""How much longer or shorter the treated leg is, in words in place of signs."""

from __future__ import annotations

from pathway.plan.growth import Quantiles

SHORTER, LONGER, EQUAL = "shorter", "longer", "equal"


def side_words(mm: float, unit: str = " cm") -> str:
    """Return a difference: `0.5 cm shorter`, `1.0 cm longer`, `equal`; above zero is shorter."""
    cm = round(abs(mm) / 10, 1)
    return f"{cm:.1f}{unit} {SHORTER if mm > 0 else LONGER}" if cm else EQUAL


def residual_words(mm: float) -> str:
    """Return what a course leaves, in words: `leaves the treated leg 0.4 cm shorter`."""
    said = side_words(mm, " cm")
    return "leaves the legs equal" if said == EQUAL else f"leaves the treated leg {said}"


def side_range(low_mm: float, high_mm: float) -> str:
    """Return a range in cm: `1.0 longer to 7.5 shorter`, `1.4 to 14.6 shorter`."""
    return _range(low_mm, high_mm, "", " to ")


def between_words(low_mm: float, high_mm: float) -> str:
    """Return a range within a sentence: `between 1.0 cm longer and 7.5 cm shorter`."""
    return f"between {_range(low_mm, high_mm, ' cm', ' and ')}"


def in_brackets(low_mm: float, high_mm: float) -> str:
    """Return a range that stands behind its middle: `6.9 to 9.2`, across equal legs `1.2 longer to 2.3 shorter`."""
    words = side_range(low_mm, high_mm)
    return words.removesuffix(f" {SHORTER}") if low_mm >= 0 and not words.startswith(EQUAL) else words


def spread_in_words(spread: Quantiles) -> str:
    """Return a difference with the range of 90 of 100 in brackets: `8.0 cm shorter (6.9 to 9.2)`."""
    return f"{side_words(spread.p50)} ({in_brackets(spread.p05, spread.p95)})"


def _range(low_mm: float, high_mm: float, unit: str, joined: str) -> str:
    ends = [side_words(mm, unit) for mm in (low_mm, high_mm)]
    first, second = (end.rpartition(" ") for end in ends)
    if first[2] != second[2] or EQUAL in ends:
        return joined.join(ends)
    # Both on one side: it is said once, the smaller difference first.
    near, far = sorted((first[0], second[0]), key=lambda words: float(words.split()[0]))
    return f"{near.removesuffix(unit)}{joined}{far} {first[2]}"
