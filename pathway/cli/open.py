"""The verb `open`: one's own case files on the screens. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path

import click

from pathway.cli.case import BAD_INPUT, example, examples, is_example, named_files, on_option, today
from pathway.cli.rules import can_open_screens, protocol_of, protocol_option
from pathway.cli.views import children


@click.command("open")
@click.argument("cases", nargs=-1, type=click.Path(path_type=Path), metavar="[CASE]...")
@on_option
@protocol_option
def open_files(cases: tuple[Path, ...], on: datetime.date | None, clinic: Path | None) -> None:
    """Open case files in the terminal: the road of each child, its courses, worksheets, follow-up.

    CASE is a case file, a folder of them, or an example child; all examples where none is named. One file opens at
    the road of its child. What is entered on the screens is saved to the file of the child; examples are not kept.
    Where there is no terminal (a pipe) the list of children is printed.
    """
    day = today(on)
    named = [case for case in cases if is_example(case)]
    if named and len(named) < len(cases):
        click.echo(
            f"open: found {named[0]}, an example child, beside case files, expected one or the other; "
            "open them separately.",
            err=True,
        )
        sys.exit(BAD_INPUT)
    own = bool(cases) and not named
    files = named_files(cases) if own else {}
    if not can_open_screens():
        listed = tuple(files.values()) or cases
        click.get_current_context().invoke(children, cases=listed, find="", on=on, clinic=clinic, as_json=False)
        return
    from tui.app import run

    if own:
        from pathway.cli.stored_files import FileKeeper

        protocol = protocol_of(clinic)
        only = next(iter(files)) if len(files) == 1 else None
        run(dict.fromkeys(files, ""), day, only, protocol, FileKeeper(files, protocol, day))
        return
    names = [case.name.removesuffix(".toml") for case in named] or examples()
    rules = protocol_of(clinic) if clinic is not None else None
    run({name: example(name) for name in names}, day, names[0] if len(names) == 1 else None, rules)
