"""The verbs that check the registry: `verify`, `countersign`, `sweep`; and what is said of a check."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import opened
from pathway.cli.errors import CANNOT_PLAN, leave, note
from pathway.cli.options import RegistryOptions, by_option, name_of, now, registry_options
from pathway.cli.printing import show
from pathway.files.reading import read_text, starts_with

if TYPE_CHECKING:
    import datetime

    from pathway.registry.journal.acts import Act
    from pathway.registry.journal.audit import Audit
    from pathway.registry.journal.entry import Head
    from pathway.registry.journal.signed import KnownHead
    from pathway.registry.store import Registry


MOST_HEADS_BYTES = 100_000_000


@click.command()
@click.option(
    "--against", metavar="HEADS", help="Saved heads: a file from `registry heads`, a backup, or a head read off paper."
)
@click.option(
    "--from-now", is_flag=True, help="Take the registry as it is for the one this machine knows: you put it there."
)
@registry_options
def verify(against: str | None, from_now: bool, where: RegistryOptions) -> None:
    """Check every hash and signature, what this machine saw last, and with --against saved heads; 1: a fault."""
    from dataclasses import replace

    from pathway.registry.store import open_registry
    from pathway.registry.verifying import seen_before, standing, take_as_seen
    from pathway.registry.verifying import verify as verified

    key = where.key()
    known, roots = ({}, []) if against is None else _known_heads(against, key)
    with open_registry(where.address, key) as store:
        if store.read_only:
            note(store.read_only)
        seen = () if from_now else seen_before(store)
        found = verified(store, known, (*roots, *seen))
        found = replace(found, faults=(*found.faults, *standing(store).faults))
        if not found.faults:
            take_as_seen(store)
        name = store.place.name
    tell(found, name)
    if against is None and not seen:
        note("This machine had not seen the registry before: what was removed earlier is found with --against HEADS.")


@click.command()
@click.option("--key", "keys", multiple=True, help="A workstation to confirm, by 8 or more digits of its key.")
@by_option
@registry_options
def countersign(keys: tuple[str, ...], by: str | None, where: RegistryOptions) -> None:
    """Verify what another workstation signed, and sign that you did; with --key, confirm a colleague's workstation."""
    from pathway.registry.countersigning import confirm_keys
    from pathway.registry.countersigning import countersign as signed
    from pathway.registry.journal.signed import public_hex

    with opened(where) as store:
        for key in confirm_keys(store, keys):
            show(f"Confirmed on this machine: {key}.")
        last = store.signed_head()
        if keys and last is not None and last.public_key == public_hex(store.station.key):
            return
        head = signed(store, who=name_of(by), when=now())
    show(f"Countersigned: registry head {head.short}")


@click.command()
@click.argument("folders", nargs=-1, type=click.Path(path_type=Path))
@by_option
@registry_options
def sweep(folders: tuple[Path, ...], by: str | None, where: RegistryOptions) -> None:
    """Take erased text out of the registry's files, and drafts of killed programs out of its folder and FOLDERS."""
    from pathway.registry.sweeping import sweep as swept

    with opened(where) as store:
        done = swept(store, folders, who=name_of(by), when=now())
        name = store.place.name
    for draft in done.removed:
        show(f"Removed: {draft}")
    for sentence in done.left:
        note(sentence)
    if not done.done:
        leave(CANNOT_PLAN)
    show(f"{name}: no erased text is left in its files.")


def tell(found: Audit, name: str) -> None:
    """Say what a check found; leave with 1 where something is wrong."""
    for one in found.erasures:
        why = f": {one.reason}" if one.reason else ""
        show(f"{one.child}: erased on {one.when:%Y-%m-%d} by {one.who}{why}.")
    for fault in (*found.faults, *found.remarks):
        note(fault.sentence)
    for sentence in found.skipped:
        note(sentence)
    count = f"{len(found.heads)} children, {found.entries} entries"
    if found.faults:
        note(f"{name}: {count}, {len(found.faults)} faults.")
        leave(CANNOT_PLAN)
    show(f"{name}: {count}, every hash matches.")
    if found.head is not None:
        show(f"Registry head {found.head.short}")


def ages(store: Registry, moment: datetime.datetime) -> str:
    """Return in a sentence how old the newest backup and the last rehearsal of a restore are."""
    backups, drills = store.acts("backup"), store.acts("drill")
    made = _age(backups[-1], moment) if backups else "never made"
    held = _age(drills[-1], moment) if drills else "never held"
    sound = "" if not drills or drills[-1].said.get("sound") else ", which found faults"
    return f"Newest backup: {made}. Last drill: {held}{sound}."


def _age(one: Act, moment: datetime.datetime) -> str:
    from pathway.registry.journal.chain import moment as read

    try:
        days = (moment - read(one.at)).days
    except ValueError:
        return "at a moment that cannot be read"
    return "today" if days < 1 else "1 day old" if days == 1 else f"{days} days old"


def _known_heads(named: str, key: str | None) -> tuple[dict[str, Head], list[KnownHead]]:
    from pathway.registry.address import is_plain
    from pathway.registry.copies import kept_heads
    from pathway.registry.journal.heads import read_heads, read_shown
    from pathway.registry.journal.signed import KnownHead
    from pathway.registry.store import open_registry

    file = Path(named)
    shown = None if file.exists() else read_shown(named)
    if shown is not None:
        return {}, [shown]
    expected = "a file of heads, a backup, or a head as it is printed"
    if starts_with(file, expected) == b"{":
        chains, whole = read_heads(read_text(file, expected, MOST_HEADS_BYTES), str(file))
        return chains, [] if whole is None else [whole]
    plain = is_plain(file)
    with open_registry(str(file), None if plain else key) as copy:
        head = copy.signed_head()
        roots = [] if head is None else [KnownHead(head.size, head.root, f"kept in {named}")]
        return kept_heads(copy), roots
