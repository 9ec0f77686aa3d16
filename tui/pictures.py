"""Pictures that take long to lay out, kept: they are laid out while planning, a screen only fetches them."""

from __future__ import annotations

from threading import Lock
from typing import TYPE_CHECKING

from pathway.plan.model import Plan

if TYPE_CHECKING:
    from pathway.views.pictures.picture import Picture

KEPT = 64
SIDES = 3


class Pictures:
    """The graphs of the plans seen last, by plan and width; safe to ask from any thread."""

    def __init__(self) -> None:
        self._kept: dict[tuple[int, int], tuple[Plan, Picture]] = {}
        self._lock = Lock()

    def prerequisites(self, plan: Plan, screen_width: int) -> Picture:
        """Return the graph of a plan for a screen of so many columns."""
        from pathway.views.pictures.prerequisites import layers

        key = (id(plan), screen_width)
        with self._lock:
            found = self._kept.get(key)
        if found is not None and found[0] is plan:
            return found[1]
        picture = layers(plan, screen_width - SIDES)
        with self._lock:
            while len(self._kept) >= KEPT:
                del self._kept[next(iter(self._kept))]
            self._kept[key] = (plan, picture)
        return picture
