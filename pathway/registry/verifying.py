"""Verifying a registry: its chains, its tree and signed heads, its stored plans, and the database itself. An edge."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from sqlalchemy import Connection, Row, Select, select

from pathway.problems import Problem
from pathway.registry import stored_due, stored_plans
from pathway.registry.db import rows, soundness, tables, tree_rows
from pathway.registry.journal.audit import Audit, StoredEntry, audit
from pathway.registry.journal.entry import Head
from pathway.registry.journal.signed import KnownHead, shown_key
from pathway.registry.journal.tree_audit import TreeKept, audit_tree, known_faults, registered, unsigned
from pathway.registry.opened import SIGNED_FROM
from pathway.registry.problem import RegistryProblem, problem
from pathway.registry.store import Registry
from pathway.registry.workstation import Seen

_NUMBERS = {"sequence", "schema_version", "supersedes"}
_MAY_BE_EMPTY = {"supersedes", "salt", "body"}


def verify(
    registry: Registry, known: Mapping[str, Head] | None = None, roots: Iterable[KnownHead] = (), *, deep: bool = True
) -> Audit:
    """Return what every hash and signature of the registry says, against the heads in `known` and `roots`.

    A backup is held against its own kept heads as well. `deep`: the database is asked to check itself too.
    """
    name, odd, links = registry.place.name, list[Problem](), dict[tuple[str, int], str]()

    def kept(found: Iterable[Row[Any]]) -> Iterator[StoredEntry]:
        for row in found:
            if fault := _odd(row, name):
                odd.append(fault)
                continue
            one = StoredEntry(**row._mapping)
            links[one.child, one.sequence] = one.sha256
            yield one

    with registry.reading() as connection:
        faults, skipped = soundness.self_check(connection, name) if deep else ([], "")
        faults += soundness.layout_faults(connection, name, registry.layout)
        streamed = connection.execution_options(yield_per=rows.BATCH)
        found = audit(kept(streamed.execute(rows.with_payloads())), name, (rows.kept_heads(connection), known or {}))
        faults += [*odd, *found.faults, *_lost(connection, name)]
        remarks = list(found.remarks)
        head = None
        if registry.layout < SIGNED_FROM:
            remarks += [unsigned(name)] if found.entries else []
            faults += [fault for one in roots for fault in known_faults(name, 0, None, one)]
        else:
            head = tree_rows.last_head(connection)
            of_tree, looks = audit_tree(_tree_kept(connection, links), name, roots)
            faults += of_tree
            remarks += [*looks, *_unswept(connection, name)]
            faults += _plan_faults(connection, name, registry.layout, {one.child for one in found.erasures})
    return replace(
        found,
        faults=tuple(dict.fromkeys(faults)),
        remarks=tuple(remarks),
        head=head,
        skipped=(skipped,) if skipped else (),
    )


@dataclass(frozen=True, slots=True)
class Standing:
    """How a registry stands to what this machine knows of it: faults, and the keys that nobody here has confirmed."""

    faults: tuple[Problem, ...]
    unknown_keys: tuple[str, ...]


def standing(registry: Registry) -> Standing:
    """Return whether the registry goes on from what this machine saw last, signed by workstations that it knows."""
    if registry.layout < SIGNED_FROM:
        return Standing((), ())
    name = registry.place.name
    with registry.reading() as connection:
        origin, keys = tree_rows.origin(connection), registered(tree_rows.acts(connection, "key"))
    trusted = None if origin is None else registry.station.confirmed(origin)
    unknown = () if trusted is None else tuple(key for key in keys if key not in trusted)
    do = "if it is a colleague's, confirm it with `registry countersign --key`; else restore the last backup"
    faults = tuple(
        Problem(name, "", None, f"an unconfirmed {shown_key(key)}", "workstations that this machine knows", do)
        for key in unknown
    )
    return Standing(faults, unknown)


def seen_before(registry: Registry) -> tuple[KnownHead, ...]:
    """Return the head of the registry that this machine saw last, () where it never saw it."""
    seen = registry.station.seen(registry.place.name)
    return () if seen is None else (seen.known,)


def take_as_seen(registry: Registry, keys: Iterable[str] = ()) -> None:
    """Take the registry as it is now for the one that this machine knows; a person has looked at it.

    Where the machine knew nothing of it, its workstations are trusted from now on, else only `keys` in addition.
    """
    if registry.layout < SIGNED_FROM:
        return
    with registry.reading() as connection:
        origin, head = tree_rows.origin(connection), tree_rows.last_head(connection)
        there = registered(tree_rows.acts(connection, "key"))
    if origin is None or head is None:
        return
    first = registry.station.confirmed(origin) is None
    registry.station.see(Seen(registry.place.name, origin, head.size, head.root))
    registry.station.confirm(origin, there if first else keys)


def _tree_kept(connection: Connection, links: Mapping[tuple[str, int], str]) -> TreeKept:
    return TreeKept(
        leaves=tree_rows.leaves(connection),
        entries=links,
        acts=tree_rows.acts(connection),
        heads=tree_rows.heads(connection),
        peaks=tree_rows.kept_tree(connection, tree_rows.leaf_count(connection)),
    )


def _plan_faults(connection: Connection, name: str, layout: int, erased: set[str]) -> Iterator[Problem]:
    kept = stored_plans.sound(connection, layout, whole=True)
    do = "make it again with `registry replan`"
    for child, fault in kept.damaged.items():
        found = f"a stored plan that was altered or is damaged ({fault})"
        yield Problem(name, child, None, found, "it as it was made", do)
    for child in kept.missing:
        yield Problem(name, child, None, "no stored plan, though one was stored", "it as it was made", do)
    if not kept.roll and not kept.damaged:
        count = "none" if kept.kept is None else f"the {kept.kept} that were stored"
        found = f"{len(kept.plans)} stored plans that were not stored together"
        yield Problem(name, "", None, found, count, "make what is missing again with `registry replan`")
    for child in sorted({plan.child for plan in kept.plans} & erased):
        yield Problem(name, child, None, "a stored plan of an erased child", "none", "run `registry sweep`")
    for child in stored_due.strays(connection):
        found = "what a plan asks for by when, without the plan"
        yield Problem(name, child, None, found, "none", "run `registry sweep`")


def _unswept(connection: Connection, name: str) -> Iterator[Problem]:
    """Yield the children that were erased, and whose text nobody has taken out of the file since."""
    entry, leaf = tables.entry.c, tables.leaf.c
    last = max(tree_rows.acts(connection, "sweep"), default=-1)
    query = select(entry.child).where(entry.kind == "erasure", leaf.number > last)
    joined = tables.entry.join(tables.leaf, (leaf.child == entry.child) & (leaf.sequence == entry.sequence))
    for row in connection.execute(query.select_from(joined).order_by(leaf.number)):
        found = "an erased child whose text may still lie in the registry's files"
        yield Problem(name, str(row.child), None, found, "it taken out", "run `registry sweep`")


def _odd(row: Row[Any], name: str) -> Problem | None:
    """Return what is wrong with a row that holds something else than numbers and texts."""
    for field in fields(StoredEntry):
        value = row._mapping[field.name]
        wanted = int if field.name in _NUMBERS else str
        if not (isinstance(value, wanted) or (value is None and field.name in _MAY_BE_EMPTY)):
            place, expected = f"{row.child}, entry {row.sequence}", "the entry as it was saved"
            return problem(name, f"a damaged {field.name}", expected, "restore the last backup", key=place).problems[0]
    return None


def _lost(connection: Connection, name: str) -> Iterator[Problem]:
    for lost in connection.execute(_without_entry()):
        found: RegistryProblem = problem(
            name,
            "a payload without its entry",
            "the entry as it was saved",
            "compare with the last backup: entries were removed",
            key=f"{lost.child}, entry {lost.sequence}",
        )
        yield found.problems[0]


def _without_entry() -> Select[Any]:
    entry, payload = tables.entry, tables.payload
    same = (entry.c.child == payload.c.child) & (entry.c.sequence == payload.c.sequence)
    query = select(payload.c.child, payload.c.sequence).select_from(payload.outerjoin(entry, same))
    return query.where(entry.c.child.is_(None)).order_by(payload.c.child, payload.c.sequence).limit(20)
