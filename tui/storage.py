"""Where children are kept, as the screens see it: a port that the edge fills. No screen, no database in here."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from pathway.days import age_words, age_years
from pathway.events import Event
from pathway.plan.model import Plan
from pathway.protocol import model
from pathway.questions.due import Due, due
from pathway.record import Record
from pathway.views.pictures.curve import cm
from tui.opened import Entry, Row, needed

MONTHS_AHEAD = 12
"""How far the list of children looks ahead for what each needs."""
NOT_KEPT = (
    "Not saved: these are example children, and examples are not kept.",
    "To keep what you enter, open a case file of yours with `limb-pathway open FILE`, or import it into a registry "
    "with `limb-pathway registry import FILE` and open that with `limb-pathway --registry ADDRESS`.",
)
NOTHING_NEW = ("Everything is saved.",)
SAVING = ("Saving …",)


class NotKept(Exception):
    """The place could not be read or written; the text is one sentence with a remedy."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A child of the place: its id, and the summary of its plan where one is kept that is still true."""

    name: str
    summary: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class Kept:
    """What was to be saved is kept; the sentence says as what."""

    sentence: str


@dataclass(frozen=True, slots=True)
class Meanwhile:
    """Nothing was kept: others saved since, as told in `since`; `theirs` is the record as it is there now."""

    since: tuple[str, ...]
    theirs: Record


class Keeper(Protocol):
    """A place that keeps children; asked from threads, never from the screen's own. All methods raise NotKept."""

    @property
    def place(self) -> str:
        """Return how the place is told."""

    def listed(self, protocol: model.Protocol, on: datetime.date) -> tuple[Listed, ...]:
        """Return the children that can be opened, by id."""

    def read(self, child: str) -> Record:
        """Return what is known of a child now; saving is held against it."""

    def save(
        self, child: str, events: Sequence[Event], plan: Plan, protocol: model.Protocol, reason: str
    ) -> Kept | Meanwhile:
        """Keep events on top of what was read or kept last, and the plan after them as a revision."""


def listed_row(item: Listed, on: datetime.date) -> Row | None:
    """Return a child's line as its kept plan tells it; None where it has to be planned first."""
    summary = item.summary
    if summary is None or "born" not in summary:
        return None
    difference = summary["difference_mm"]
    words, when = needed(needs_of(item.name, summary, on), summary["next"].rpartition(" on ")[0], summary["next_on"])
    return Row(
        name=item.name,
        age=age_words(age_years(datetime.date.fromisoformat(summary["born"]), on)),
        diagnosis=summary["diagnosis"],
        following=words,
        when=when,
        difference="not known" if difference is None else cm(difference),
    )


def needs_of(child: str, summary: Mapping[str, Any], on: datetime.date) -> tuple[Due, ...]:
    """Return what a child needs in the months to come, what is overdue first."""
    return tuple(sorted(due(child, summary, on, MONTHS_AHEAD), key=lambda item: (item.by, item.what)))


def overtaken(since: Iterable[str], place: str) -> tuple[str, ...]:
    """Return what to say where others saved meanwhile."""
    # One paragraph: of what was told, the plan made next keeps the first.
    return (
        f"Not saved: somebody else has saved in {place} in the meantime ({'; '.join(since)}). "
        "Their changes are included, with yours on top. Check the plan, then save again with Ctrl+S.",
    )


def refused(error: NotKept) -> tuple[str, ...]:
    """Return what to say where the place could not be written; nothing of the child is lost."""
    return (f"Not saved: {error}", "Your changes are still here; Ctrl+S tries again.")


def reason_of(entry: Entry) -> str:
    """Return in words what was changed since the last saving, or taken back: the reason of the revision."""
    if entry.session is None:
        return ""
    done, undone = entry.session.done, entry.session.undone
    for at, one in enumerate(undone):
        if one.after == entry.kept:
            return "; ".join(f"Undone: {edit.sentence}" for edit in undone[at:])
    since = next((at for at, one in enumerate(done) if one.before == entry.kept), 0)
    return "; ".join(one.sentence for one in done[since:])
