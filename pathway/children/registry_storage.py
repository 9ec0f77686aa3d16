"""The registry as the screens see it: a storage of children that lists, reads and saves them."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from pathway.children import papers
from pathway.children.kept_plans import Accepter, KeptPlans
from pathway.children.registry_plans import RegistryPlans
from pathway.children.storage import Listed, SaveConflict, Saved, SaveFailed, id_taken
from pathway.events import Event, apply
from pathway.plan.earlier import earlier_of
from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.protocol.question import EarlierOperation
from pathway.questions.due import plan_summary
from pathway.record import Record
from pathway.registry.due_list import standings
from pathway.registry.journal.chain import head_of
from pathway.registry.journal.entry import NO_ENTRIES, Entry, Head, StaleHead, StoredPlan
from pathway.registry.journal.fold import earlier_operations
from pathway.registry.journal.payloads import case_entry
from pathway.registry.planning import protocol_digest, save_followup, with_acceptance
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry

if TYPE_CHECKING:
    from pathway.views.documents.summary import AcceptedPlan


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
        self._plans = RegistryPlans(store)

    @property
    def place(self) -> str:
        """Return where the registry is, without its folder where it is a file."""
        file = self._store.place.file
        return self._store.place.name if file is None else file.name

    @property
    def plans(self) -> KeptPlans:
        """Return the plans that the registry keeps."""
        return self._plans

    def listed(self, protocol: Protocol, on: datetime.date) -> tuple[Listed, ...]:
        """Return the children that are not erased, with the summary of their stored plan where it is still true."""
        digest, found = protocol_digest(protocol), []
        with _translating_registry_problems():
            for one in standings(self._store):
                if not self._only or one.line.child in self._only:
                    plan = one.plan if one.digest == digest and one.holds(on) else None
                    summary = None if plan is None else plan.summary
                    accepted = (summary or {}).get("accepted_on")
                    day = None if accepted is None else datetime.date.fromisoformat(accepted)
                    found.append(Listed(one.line.child, summary, day))
        return tuple(found)

    def read(self, child: str) -> Record:
        """Return what is known of a child now."""
        with _translating_registry_problems():
            entries = self._store.entries(child)
            self._known[child] = self._store.folded(child, entries), head_of(entries)
        self._earlier[child] = earlier_operations(entries)
        self._plans.learn(child, entries)
        return self._known[child][0]

    def earlier(self, child: str) -> tuple[EarlierOperation, ...]:
        """Return the operations of the plan accepted last, as read or saved last."""
        return self._earlier.get(child, ())

    def save(
        self,
        child: str,
        events: Sequence[Event],
        plan: Plan,
        protocol: Protocol,
        reason: str,
        accepted_by: Accepter = "",
    ) -> Saved | SaveConflict:
        """Keep events on top of what was read or saved last, and the plan after them as a revision, or nothing."""
        known, head = self._known[child]
        with _translating_registry_problems():
            when = self._now()
            saved = save_followup(
                self._store,
                child,
                events,
                head,
                who=self._who,
                when=when,
                plan=plan,
                reason=reason,
                accepted_by=accepted_by,
            )
            if isinstance(saved, StaleHead):
                return SaveConflict(tuple(map(_since, saved.since)), self.read(child))
            self._plans.learn(child, self._store.entries(child))
        wanted = apply(known, events)
        self._known[child] = (wanted, saved.head)
        if accepted_by:
            self._earlier[child] = earlier_of(plan)
        accepted = self._plans.accepted(child)
        made = plan_summary(plan, wanted, protocol, self.earlier(child))
        summary = with_acceptance(made, None if accepted is None else accepted.when)
        stored = StoredPlan(child, saved.head, protocol.version, protocol_digest(protocol), plan.on, summary)
        with suppress(RegistryProblem):  # only lists read it, and `registry replan` makes it again
            self._store.store_plans([stored])
        kinds = ", ".join(dict.fromkeys(entry.kind for entry in saved.entries))
        first, last = saved.entries[0].sequence, saved.head.count
        numbers = f"entry {last}" if first == last else f"entries {first} to {last}"
        words = f"Accepted by the {accepted_by}. " if accepted_by else ""
        told = f"{words}Saved in {self.place} by {self._who}: {kinds} ({numbers} of {child})."
        return Saved(told, when.date() if accepted_by else None)

    def accepted(self, child: str) -> AcceptedPlan | None:
        """Return the plan of a child that was accepted last, with where the registry stands."""
        with _translating_registry_problems():
            entries, head = self._store.entries(child), self._store.signed_head()
            return papers.accepted_plan(entries, "" if head is None else head.short, child)

    @property
    def inputs(self) -> tuple[Path, ...]:
        """Return the registry's file where it is one."""
        file = self._store.place.file
        return () if file is None else (file,)

    def add(self, record: Record) -> Saved:
        """Keep a new child as its first entry; an id that was ever used here is refused."""
        child = record.child.id
        with _translating_registry_problems():
            kept = self._store.append(child, case_entry(record, self._who), seen=NO_ENTRIES, when=self._now())
        if isinstance(kept, StaleHead):
            raise id_taken(child, self.place)
        self._only = (*self._only, child) if self._only else ()
        return Saved(f"Saved in {self.place} by {self._who}: {child}, a new child (entry {kept.head.count}).")


@contextmanager
def _translating_registry_problems() -> Iterator[None]:
    try:
        yield
    except RegistryProblem as error:
        raise SaveFailed(*error.problems) from error


def _since(entry: Entry) -> str:
    return f"{entry.kind} by {entry.who} on {entry.when:%Y-%m-%d %H:%M}"
