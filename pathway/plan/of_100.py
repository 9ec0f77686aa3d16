"""Shares as children of 100."""

from __future__ import annotations

from collections.abc import Mapping


def of_100(shares: Mapping[int, float]) -> dict[int, int]:
    """Return shares as whole parts of 100 that add up to as many as the shares do."""
    whole = {key: int(100 * share) for key, share in shares.items()}
    missing = round(100 * sum(shares.values())) - sum(whole.values())
    for key in sorted(shares, key=lambda key: whole[key] - 100 * shares[key])[:missing]:
        whole[key] += 1
    return whole
