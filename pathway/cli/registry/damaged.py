"""What is said of stored plans that were damaged or altered. An edge."""

from __future__ import annotations

from collections.abc import Mapping

from pathway.cli.errors import note

SHOWN = 10


def tell_damaged(damaged: Mapping[str, str]) -> None:
    """Name the children whose stored plan cannot be relied on, the first of many, and say what to do."""
    for child, fault in sorted(damaged.items())[:SHOWN]:
        note(f"{child}: the stored plan was damaged or altered ({fault}); `registry replan` plans the child again.")
    if len(damaged) > SHOWN:
        note(f"{len(damaged) - SHOWN} more stored plans were damaged or altered; `registry replan` mends them all.")
