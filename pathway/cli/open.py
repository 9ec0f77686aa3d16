"""The verb `open`: the children one names, on the screens."""

from __future__ import annotations

import datetime
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.asked import opened, protocol_of, tell_notes
from pathway.cli.errors import refuse
from pathway.cli.options import (
    RegistryOptions,
    by_option,
    cases_argument,
    name_of,
    now,
    on_option,
    protocol_option,
    registry_options,
    served_here,
    surroundings,
    today,
)
from pathway.cli.printing import can_open_screens
from pathway.cli.views import children

if TYPE_CHECKING:
    from pathway.children.storage import Storage

KINDS = {"example": "an example child", "registry": "a child of the registry", "file": "a case file"}


@click.command("open")
@cases_argument
@on_option
@protocol_option
@by_option
@registry_options
def open_files(
    cases: tuple[Path, ...],
    on: datetime.date | None,
    overlay_dir: Path | None,
    by: str | None,
    where: RegistryOptions,
) -> None:
    """Open children in the terminal: the timeline of each, its courses, worksheets, follow-up.

    CASE is a case file, a folder of them, the id of a child in the registry, or an example child; all examples where
    none is named. One child opens at its timeline. What is entered on the screens is saved to the file of the child
    or in the registry; examples are not kept. Where there is no terminal (a pipe) the list of children is printed.
    """
    from pathway.children import examples
    from pathway.children.resolve import locate_all, shown_names, text_of

    day, registry, served = today(on), where.at(), served_here()
    if served is not None:
        for case in cases:
            if case.exists():
                served.real(case)
    found = shown_names(locate_all(cases, registry))
    kinds = {one.origin: one for one in reversed(found.values())}
    if len(kinds) > 1:
        other = next(kinds[kind] for kind in ("example", "registry") if kind in kinds)
        beside = "case files" if "file" in kinds else "children of the registry"
        what = f"{other.word}, {KINDS[other.origin]}, beside {beside}"
        refuse("open", what, "one or the other", "open them separately")
    if not can_open_screens():
        context = click.get_current_context()
        listed = tuple(one.file or Path(one.word) for one in found.values())
        # Without a name the examples are listed, whatever registry there is: they are what opens.
        given = {"address": where.address if listed else None, "key_file": where.key_file, "ask_key": where.ask_key}
        context.invoke(children, cases=listed, find="", on=on, overlay_dir=overlay_dir, as_json=False, **given)
        return
    from tui.app import run

    for one in found.values():
        tell_notes(one)
    only = next(iter(found)) if len(found) == 1 else None
    if "file" in kinds:
        from pathway.children.file_storage import FileStorage

        protocol = protocol_of(overlay_dir)
        files = {name: one.file for name, one in found.items() if one.file is not None}
        run(
            dict.fromkeys(files, ""),
            day,
            only,
            protocol,
            FileStorage(files, protocol, day, served),
            around=surroundings(),
        )
        return
    rules = protocol_of(overlay_dir) if overlay_dir is not None else None
    if "registry" in kinds:
        from pathway.children.registry_storage import RegistryStorage

        with opened(where) as store:
            storage = RegistryStorage(store, name_of(by), now, tuple(found))
            run(dict.fromkeys(found, ""), day, only, protocol_of(overlay_dir), storage, around=surroundings())
        return
    texts = {name: text_of(one) for name, one in found.items()}
    with ExitStack() as open_until_left:

        def begin() -> Storage:
            from pathway.children.registry_storage import RegistryStorage

            return RegistryStorage(open_until_left.enter_context(opened(where, create=True)), name_of(by), now)

        around = surroundings(None if texts else begin)
        run(texts or {name: examples.text(name) for name in examples.names()}, day, only, rules, around=around)
