"""The verbs that check the registry and copy it: `verify`, `backup`, `restore`, `heads`."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import opened
from pathway.cli.errors import CANNOT_PLAN, leave, note
from pathway.cli.options import RegistryOptions, json_option, now, registry_options
from pathway.cli.registry.files import unreadable, write_new

if TYPE_CHECKING:
    from pathway.registry.journal.audit import Audit
    from pathway.registry.journal.entry import Head


@click.command()
@click.option(
    "--against", type=click.Path(path_type=Path), help="Saved heads: a file from `registry heads`, or a backup."
)
@registry_options
def verify(against: Path | None, where: RegistryOptions) -> None:
    """Check every hash, and with --against that nothing is missing at the end; exit 1 where something is wrong."""
    from pathway.registry.store import open_registry
    from pathway.registry.verifying import verify as verified

    key = where.key()
    known = None if against is None else _known_heads(against, key)
    with open_registry(where.address, key) as store:
        found = verified(store, known)
        name = store.place.name
    _tell(found, name)
    if known is None and not found.faults:
        note("Entries removed from an end are only detected against saved heads: --against FILE.")


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@registry_options
def backup(file: Path, where: RegistryOptions) -> None:
    """Copy everything into a new FILE, with the heads of all chains, and verify the copy."""
    from pathway.registry.copies import back_up

    with opened(where) as store:
        found = back_up(store, file)
    _tell(found, str(file))


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@registry_options
def restore(file: Path, where: RegistryOptions) -> None:
    """Copy a backup FILE to where there is no registry yet, and verify it."""
    from pathway.registry.address import place_of
    from pathway.registry.copies import restore as restored
    from pathway.registry.store import open_registry

    key, place = where.key(), place_of(where.address)
    with open_registry(str(file), key) as copy:
        found = restored(copy, where.address, None if place.server is not None else key)
    name = place.name
    _tell(found, name)


@click.command()
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write them to this new file, to keep elsewhere.")
@registry_options
@json_option
def heads(output: Path | None, where: RegistryOptions, as_json: bool) -> None:
    """Print where every chain ends: keep it on paper or elsewhere, to verify against."""
    from pathway.registry.copies import heads as ends
    from pathway.registry.journal.heads import heads_json

    with opened(where) as store:
        found = ends(store)
    if output is not None:
        write_new(output, heads_json(found, now()))
    elif as_json:
        click.echo(heads_json(found, now()), nl=False)
    else:
        for child, head in found.items():
            click.echo(f"{child} {head.count} {head.sha256}")


def _tell(found: Audit, name: str) -> None:
    for child, when in found.erased.items():
        click.echo(f"{child}: erased on {when:%Y-%m-%d}.")
    for fault in found.faults:
        note(fault.sentence)
    count = f"{len(found.heads)} children, {found.entries} entries"
    if found.faults:
        note(f"{name}: {count}, {len(found.faults)} faults.")
        leave(CANNOT_PLAN)
    click.echo(f"{name}: {count}, every hash matches.")


def _known_heads(file: Path, key: str | None) -> dict[str, Head]:
    from pathway.registry.address import is_plain
    from pathway.registry.copies import kept_heads
    from pathway.registry.journal.heads import read_heads
    from pathway.registry.store import open_registry

    try:
        with file.open("rb") as opened_file:
            text = opened_file.read(1)
        if text == b"{":
            return read_heads(file.read_text(encoding="utf-8"), str(file))
        plain = is_plain(file)
    except (OSError, UnicodeDecodeError) as error:
        raise unreadable(file, "heads", error, "a file of heads or a backup") from error
    with open_registry(str(file), None if plain else key) as copy:
        return kept_heads(copy)
