"""A child as the verbs that write files take it: a case file, an example, or one that the registry keeps. An edge."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.case import has_example, read_case_file, record_of

if TYPE_CHECKING:
    import datetime

    from pathway.protocol.model import Protocol
    from pathway.record import Record
    from pathway.registry.journal.entry import Entry


@dataclass(frozen=True, slots=True)
class KnownChild:
    """A child's record, and its entries where it comes from the registry (None: from a file)."""

    record: Record
    entries: tuple[Entry, ...] | None = None


def known_child(case: Path, protocol: Protocol, on: datetime.date, address: str | None, key: str | None) -> KnownChild:
    """Return the child that `case` names: a file where there is one, else a child of the registry, else an example.

    Leaves with every fault in words.
    """
    entries = () if case.exists() or case.parent != Path() else kept_entries(case.name, address, key)
    if not entries:
        return KnownChild(record_of(read_case_file(case), str(case), protocol, on))
    from pathway.cli.registry_options import problems_told
    from pathway.registry.store import open_registry

    with problems_told(), open_registry(address, key) as store:
        return KnownChild(store.folded(case.name, entries), entries)


def kept_entries(child: str, address: str | None, key: str | None) -> tuple[Entry, ...]:
    """Return the entries that the registry keeps of a child, () where it keeps none.

    What is wrong with the registry is told: it may be why nothing is found, or an example in place of a child.
    """
    from pathway.registry.default import default_file

    is_file = address is None or "://" not in address
    if not re.fullmatch(r"[a-z0-9-]+", child):
        return ()
    if has_example(child) and is_file and not (Path(address).expanduser() if address else default_file()).exists():
        return ()  # an example needs no database
    from pathway.registry.problem import RegistryProblem
    from pathway.registry.store import open_registry

    try:
        with open_registry(address, key) as store:
            return store.entries(child)
    except RegistryProblem as problem:
        click.echo(str(problem), err=True)
        return ()
