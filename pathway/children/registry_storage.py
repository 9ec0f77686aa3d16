"""The registry as the screens see it: a storage of children that lists, reads and saves them."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager, suppress

from pathway.children.storage import Listed, SaveConflict, Saved, SaveFailed
from pathway.events import Event, apply
from pathway.plan.earlier import earlier_of
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import EarlierOperation
from pathway.questions.due import plan_summary
from pathway.record import Record
from pathway.registry.due_list import standings
from pathway.registry.journal.chain import head_of
from pathway.registry.journal.entry import Entry, Head, StaleHead, StoredPlan
from pathway.registry.journal.fold import earlier_operations
from pathway.registry.planning import protocol_digest, save_followup
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry


class RegistryStorage:
    """Children of a registry; what was read or saved last of each is what the next saving is held against.

    With `only` it lists these children and no others.
    """

    def __init__(
        self, store: Registry, who: str, now: Callable[[], datetime.datetime], only: Collection[str] = ()
    ) -> None:
        self._store = store
        self._only = only
        self._who = who
        self._now = now
        self._known: dict[str, tuple[Record, Head]] = {}
        self._earlier: dict[str, tuple[EarlierOperation, ...]] = {}

    @property
    def place(self) -> str:
        """Return where the registry is, without its folder where it is a file."""
        file = self._store.place.file
        return self._store.place.name if file is None else file.name

    def listed(self, protocol: Protocol, on: datetime.date) -> tuple[Listed, ...]:
        """Return the children that are not erased, with the summary of their stored plan where it is still true."""
        digest, found = protocol_digest(protocol), []
        with _translating_registry_problems():
            for one in standings(self._store):
                if not self._only or one.line.child in self._only:
                    plan = one.plan if one.digest == digest and one.holds(on) else None
                    found.append(Listed(one.line.child, None if plan is None else plan.summary))
        return tuple(found)

    def read(self, child: str) -> Record:
        """Return what is known of a child now."""
        with _translating_registry_problems():
            entries = self._store.entries(child)
            self._known[child] = self._store.folded(child, entries), head_of(entries)
        self._earlier[child] = earlier_operations(entries)
        return self._known[child][0]

    def earlier(self, child: str) -> tuple[EarlierOperation, ...]:
        """Return the operations of the plan accepted last, as read or saved last."""
        return self._earlier.get(child, ())

    def save(
        self, child: str, events: Sequence[Event], plan: Plan, protocol: Protocol, reason: str
    ) -> Saved | SaveConflict:
        """Keep events on top of what was read or saved last, and the plan after them as a revision, or nothing."""
        known, head = self._known[child]
        with _translating_registry_problems():
            when = self._now()
            saved = save_followup(self._store, child, events, head, who=self._who, when=when, plan=plan, reason=reason)
            if isinstance(saved, StaleHead):
                return SaveConflict(tuple(map(_since, saved.since)), self.read(child))
        wanted = apply(known, events)
        self._known[child] = (wanted, saved.head)
        self._earlier[child] = earlier_of(plan)
        summary = plan_summary(plan, wanted, protocol)
        stored = StoredPlan(child, saved.head, protocol.version, protocol_digest(protocol), plan.on, summary)
        with suppress(RegistryProblem):  # only lists read it, and `registry replan` makes it again
            self._store.store_plans([stored])
        kinds = ", ".join(dict.fromkeys(entry.kind for entry in saved.entries))
        first, last = saved.entries[0].sequence, saved.head.count
        numbers = f"entry {last}" if first == last else f"entries {first} to {last}"
        return Saved(f"Saved in {self.place} by {self._who}: {kinds} ({numbers} of {child}).")


@contextmanager
def _translating_registry_problems() -> Iterator[None]:
    try:
        yield
    except RegistryProblem as error:
        raise SaveFailed(*error.problems) from error


def _since(entry: Entry) -> str:
    return f"{entry.kind} by {entry.who} on {entry.when:%Y-%m-%d %H:%M}"
