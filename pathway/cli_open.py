"""The verb `open`: one's own case files on the screens. An edge."""

from __future__ import annotations

import datetime
import sys
from pathlib import Path

import click

from pathway.cli_case import BAD_INPUT, on_option, read_case_file, today
from pathway.cli_rules import protocol_of, protocol_option


@click.command("open")
@click.argument("cases", nargs=-1, required=True, type=click.Path(path_type=Path))
@on_option
@protocol_option
def open_files(cases: tuple[Path, ...], on: datetime.date | None, clinic: Path | None) -> None:
    """Open case files in the terminal: the road of each child, its courses, worksheets, follow-up.

    CASES are case files, or folders of them. What is entered on the screens is saved to the file of the child.
    """
    from pathway.cli_files import FileKeeper
    from tui.app import run

    files = named_files(cases)
    day, protocol = today(on), protocol_of(clinic)
    only = next(iter(files)) if len(files) == 1 else None
    run(dict.fromkeys(files, ""), day, only, protocol, FileKeeper(files, protocol, day))


def named_files(cases: tuple[Path, ...]) -> dict[str, Path]:
    """Return the case files by the names they are shown under; leaves with a sentence where one cannot be used."""
    found: list[Path] = []
    for case in cases:
        if case.is_dir():
            inside = sorted(file for file in case.glob("*.toml") if file.name[0] not in "_.")
            if not inside:
                click.echo(f"{case}: found no .toml file in this folder, expected case files; name another.", err=True)
                sys.exit(BAD_INPUT)
            found += inside
        else:
            read_case_file(case)
            if not case.exists():
                click.echo(
                    f"{case}: found an example child, expected a file of yours; "
                    "`limb-pathway` without a verb opens the examples.",
                    err=True,
                )
                sys.exit(BAD_INPUT)
            found.append(case)
    unique = list(dict.fromkeys(found))
    stems = [file.stem for file in unique]
    return {file.stem if stems.count(file.stem) == 1 else str(file.with_suffix("")): file for file in unique}
