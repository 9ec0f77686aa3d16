"""What a clinic's table brings, kept in the registry child by child: nothing doubled, nothing overwritten. An edge."""

from __future__ import annotations

import datetime

from pathway.record import Record
from pathway.registry.journal.chain import head_of
from pathway.registry.journal.entry import NO_ENTRIES, Head, StaleHead
from pathway.registry.journal.payloads import case_entry
from pathway.registry.planning import save_followup
from pathway.registry.problem import problem
from pathway.registry.store import Registry
from pathway.tables.children import FromTable


class KnownChildren:
    """The children of a registry as they were read for a table, with the heads at which they were."""

    def __init__(self, registry: Registry) -> None:
        self._registry = registry
        self._heads: dict[str, Head] = {}

    def __call__(self, child: str) -> Record | None:
        """Return what is known of a child, None of a new one. Raises `RegistryProblem` for an erased one."""
        entries = self._registry.entries(child)
        self._heads[child] = head_of(entries)
        return self._registry.folded(child, entries) if entries else None

    def head(self, child: str) -> Head:
        """Return the head at which a child was read."""
        return self._heads.get(child, NO_ENTRIES)


def keep(registry: Registry, one: FromTable, seen: Head, *, who: str, when: datetime.datetime) -> Head:
    """Keep what a child gets from a table, all of it or nothing; return where its chain ends now.

    Raises `RegistryProblem` where somebody saved something of the child after it was read at `seen`.
    """
    if one.before is not None and not one.new:
        return seen
    if one.before is None:
        saved = registry.append(one.child, case_entry(one.record, who), seen=seen, when=when)
    else:
        saved = save_followup(registry, one.child, one.visits, seen, who=who, when=when)
    if isinstance(saved, StaleHead):
        do = "import the table again: what is in already is not doubled"
        raise problem(registry.place.name, "entries that were saved meanwhile", "none", do, key=one.child)
    return saved.head
