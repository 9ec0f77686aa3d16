"""Where children are kept, as the screens see it: a port that files and the registry fill. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from pathway.events import Event
from pathway.plan.model import Plan
from pathway.problems import Problem, Refused
from pathway.protocol import model
from pathway.protocol.question import EarlierOperation
from pathway.record import Record


class SaveFailed(Refused):
    """The place could not be read or written; nothing of the child is lost."""


def save_failed(place: str, what: str, remedy: str) -> SaveFailed:
    """Return that a place could not be read or written: what happened, and what to do."""
    return SaveFailed(Problem(place, "", None, what, "", remedy))


@dataclass(frozen=True, slots=True)
class Listed:
    """A child of the place: its id, and the summary of its plan where one is kept that is still true."""

    name: str
    summary: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Saved:
    """What was to be saved is kept; the sentence says as what."""

    sentence: str


@dataclass(frozen=True, slots=True)
class SaveConflict:
    """Nothing was kept: others saved since, as told in `since`; `theirs` is the record as it is there now."""

    since: tuple[str, ...]
    theirs: Record


class Storage(Protocol):
    """A place that keeps children; asked from threads, never from the screen's own. All methods raise SaveFailed."""

    @property
    def place(self) -> str:
        """Return how the place is told."""

    def listed(self, protocol: model.Protocol, on: datetime.date) -> tuple[Listed, ...]:
        """Return the children that can be opened, by id."""

    def read(self, child: str) -> Record:
        """Return what is known of a child now; saving is held against it."""

    def earlier(self, child: str) -> tuple[EarlierOperation, ...]:
        """Return the operations of the plan of a child that was accepted last, as read or saved last; () where none."""

    def save(
        self, child: str, events: Sequence[Event], plan: Plan, protocol: model.Protocol, reason: str
    ) -> Saved | SaveConflict:
        """Keep events on top of what was read or kept last, and the plan after them as a revision."""
