"""The verbs that copy the registry and keep its heads: `backup`, `restore`, `drill`, `heads`."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import opened, protocol_of
from pathway.cli.errors import CANNOT_PLAN, leave, note
from pathway.cli.options import (
    RegistryOptions,
    by_option,
    json_option,
    name_of,
    now,
    on_option,
    protocol_option,
    registry_options,
    today,
)
from pathway.cli.printing import show, show_json
from pathway.cli.registry.checks import tell
from pathway.files.writing import Target, write_out

if TYPE_CHECKING:
    from pathway.registry.planning import Task


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@by_option
@registry_options
def backup(file: Path, by: str | None, where: RegistryOptions) -> None:
    """Copy everything into a new FILE, with the heads of all chains, and verify the copy."""
    from pathway.registry.address import drafts_in
    from pathway.registry.copies import back_up

    with opened(where) as store:
        found = back_up(store, file, who=name_of(by), when=now())
    for draft in drafts_in(file.absolute().parent):
        note(f"{draft}: left behind by a program that was killed; `registry sweep {draft.parent}` removes it.")
    tell(found, str(file))


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
    tell(found, name)


@click.command()
@click.argument("place", type=click.Path(path_type=Path))
@click.option("--sample", type=click.IntRange(0, 1000), default=5, show_default=True, help="How many children to plan.")
@by_option
@on_option
@protocol_option
@registry_options
def drill(
    place: Path,
    sample: int,
    by: str | None,
    on: datetime.date | None,
    overlay_dir: Path | None,
    where: RegistryOptions,
) -> None:
    """Rehearse a restore: the backup PLACE, or the newest in that folder, is restored aside, verified and planned."""
    from pathway.registry.drilling import drill as drilled
    from pathway.registry.drilling import newest_backup
    from pathway.registry.planning import plan_task

    day = today(on)
    protocol_of(overlay_dir)

    def planner(task: Task) -> tuple[str, dict[str, object] | str]:
        return plan_task(task, day, overlay_dir)

    with opened(where) as store:
        file = newest_backup(place, encrypted=store.key is not None)
        found = drilled(store, file, planner, sample=sample, who=name_of(by), when=now())
    for sentence in (*found.wrong, *([found.unwritten] if found.unwritten else ())):
        note(sentence)
    if found.wrong:
        note(found.result)
        leave(CANNOT_PLAN)
    show(found.result)


@click.command()
@click.option("-o", "--output", type=click.Path(path_type=Path), help="Write them to this new file, to keep elsewhere.")
@registry_options
@json_option
def heads(output: Path | None, where: RegistryOptions, as_json: bool) -> None:
    """Print where the registry and every chain end: keep it on paper or elsewhere, to verify against."""
    from pathway.registry.copies import heads as ends
    from pathway.registry.journal.heads import heads_json

    with opened(where) as store:
        found, whole = ends(store), store.signed_head()
    if output is not None:
        write_out(Target(output), heads_json(found, now(), whole).encode())
        note(f"Wrote {output}.")
    elif as_json:
        show_json(heads_json(found, now(), whole), nl=False)
    else:
        if whole is not None:
            show(f"Registry head {whole.size} · {whole.root}")
        for child, head in found.items():
            show(f"{child} {head.count} {head.sha256}")
