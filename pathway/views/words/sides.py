"""How much longer or shorter the treated leg is, in words in place of signs."""

from __future__ import annotations

SHORTER, LONGER, EQUAL = "shorter", "longer", "equal"


def side_words(mm: float, unit: str = "") -> str:
    """Return a difference in cm: `0.5 shorter`, `1.0 longer`, `equal`; above zero is shorter."""
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


def _range(low_mm: float, high_mm: float, unit: str, joined: str) -> str:
    ends = [side_words(mm, unit) for mm in (low_mm, high_mm)]
    first, second = (end.rpartition(" ") for end in ends)
    if first[2] != second[2] or EQUAL in ends:
        return joined.join(ends)
    # Both on one side: it is said once, the smaller difference first.
    near, far = sorted((first[0], second[0]), key=lambda words: float(words.split()[0]))
    return f"{near.removesuffix(unit)}{joined}{far} {first[2]}"
