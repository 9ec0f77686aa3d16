"""Where children are kept, as the screens see it: a port that files and the registry fill. No screen in here."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from pathway.children.kept_plans import Accepter, KeptPlans
from pathway.events import Event
from pathway.plan.model import Plan
from pathway.problems import Problem, Refused
from pathway.protocol import model
from pathway.protocol.question import EarlierOperation
from pathway.record import Record

if TYPE_CHECKING:
    from pathway.views.documents.summary import AcceptedPlan


class SaveFailed(Refused):
    """The place could not be read or written; nothing of the child is lost."""


def id_taken(child: str, place: str) -> SaveFailed:
    """Return that a new child cannot have an id, because a child has or had it."""
    what = f"is an id that {place} has already; nothing was changed"
    return save_failed(child, what, "give the new child another id, or open the child that has it")


def save_failed(place: str, what: str, remedy: str) -> SaveFailed:
    """Return that a place could not be read or written: what happened, and what to do."""
    return SaveFailed(Problem(place, "", None, what, "", remedy))


@dataclass(frozen=True, slots=True)
class Listed:
    """A child of the place: its id, the summary of its plan where one is kept that is still true.

    `accepted` is the day on which a plan was accepted last, None where none was.
    """

    name: str
    summary: Mapping[str, Any] | None
    accepted: datetime.date | None = None


@dataclass(frozen=True, slots=True)
class Saved:
    """What was to be saved is kept; the sentence says as what.

    `accepted` is the day on which the plan was kept with it as accepted, None where it was not.
    """

    sentence: str
    accepted: datetime.date | None = None


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

    @property
    def plans(self) -> KeptPlans | None:
        """Return the plans that are kept there beside the children, None where the place keeps none."""

    def listed(self, protocol: model.Protocol, on: datetime.date) -> tuple[Listed, ...]:
        """Return the children that can be opened, by id."""

    def read(self, child: str) -> Record:
        """Return what is known of a child now; saving is held against it."""

    def earlier(self, child: str) -> tuple[EarlierOperation, ...]:
        """Return the operations of the plan of a child that was accepted last, as read or saved last; () where none."""

    def save(
        self,
        child: str,
        events: Sequence[Event],
        plan: Plan,
        protocol: model.Protocol,
        reason: str,
        accepted_by: Accepter = "",
    ) -> Saved | SaveConflict:
        """Keep events on top of what was read or kept last, and the plan after them as a revision.

        Where it is said who accepts it, that is kept with the plan, in a place that keeps plans.
        """

    def accepted(self, child: str) -> AcceptedPlan | None:
        """Return the plan of a child that was accepted last, None where none was."""

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Return the files that children are read from, which no output may be written over."""

    def add(self, record: Record) -> Saved:
        """Keep a child that is new here; raises SaveFailed for an id that is there already, and for no place for it."""
