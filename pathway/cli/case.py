"""What every verb on a child shares: the case file, the day, and planning with its failures told. An edge."""

from __future__ import annotations

import datetime
import gc
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pathway.cli.rules import protocol_of

if TYPE_CHECKING:
    from pathway.plan.model import Plan
    from pathway.protocol.model import Protocol
    from pathway.record import Record

CANNOT_PLAN, BAD_INPUT = 1, 2
MOST_BYTES = 2_000_000


def as_day(
    _context: click.Context, _parameter: click.Parameter, value: datetime.datetime | None
) -> datetime.date | None:
    """Return the day of a date option, None where it was not given."""
    return None if value is None else value.date()


on_option = click.option(
    "--on",
    type=click.DateTime(["%Y-%m-%d"]),
    callback=as_day,
    help="Plan as of this date (YYYY-MM-DD); default: today.",
)
plain_option = click.option("--plain", is_flag=True, help="Words only: no symbols, no pictures, curves as tables.")
case_argument = click.argument("case", type=click.Path(path_type=Path))


@contextmanager
def breaches_told(name: str) -> Iterator[None]:
    """Turn a plan that breaks its own rules, a fault of ours, into words; leaves with exit 1."""
    from pathway.plan.make import PlanBreach

    try:
        yield
    except PlanBreach as error:
        click.echo(f"{name}: internal error, no plan is shown: the plan made breaks its own rules ({error}).", err=True)
        click.echo("Please report it with the case file; the file itself is untouched.", err=True)
        sys.exit(CANNOT_PLAN)


def plan_of(text: str, name: str, on: datetime.date, clinic: Path | None) -> Plan:
    """Return the plan of a case; leaves with a sentence where the case or the clinic's rules cannot be used."""
    from pathway.plan.make import make_plan

    record, protocol = taken_in(text, name, on, clinic)
    with breaches_told(name):
        return make_plan(record, protocol, on)


def taken_in(text: str, name: str, on: datetime.date, clinic: Path | None) -> tuple[Record, Protocol]:
    """Return the record of a case and the protocol; leaves with all faults in words."""
    # A verb lives for a second or two: looking for garbage while the rules load would only cost time.
    gc.disable()
    protocol = protocol_of(clinic)
    return record_of(text, name, protocol, on), protocol


def record_of(text: str, name: str, protocol: Protocol, on: datetime.date) -> Record:
    """Return the record of a case; leaves with all its faults in words."""
    from pathway.casefile.read_and_check import take_in
    from pathway.problems import sentences

    record = take_in(text, name, protocol, on)
    if isinstance(record, tuple):
        click.echo(sentences(record), err=True)
        sys.exit(BAD_INPUT)
    return record


def read_case_file(path: Path) -> str:
    """Return the text of a case file; a bare name of an example child is taken from the examples."""
    if is_example(path):
        return example(path.name)
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            found, wanted = f"{path.stat().st_size} bytes", f"at most {MOST_BYTES}"
            click.echo(f"{path}: found {found}, expected {wanted}; is it a case file?", err=True)
            sys.exit(BAD_INPUT)
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        problem = "found text that is not UTF-8, expected a UTF-8 text file; save it again as UTF-8"
    except FileNotFoundError:
        problem = f"found no such file, expected a case file; the examples are {', '.join(examples())}"
    except IsADirectoryError:
        problem = "found a folder, expected a case file; name a .toml file in it"
    except OSError as error:
        problem = f"cannot be read ({error.strerror}); check the file and its permissions"
    click.echo(f"{path}: {problem}.", err=True)
    sys.exit(BAD_INPUT)


def named_files(cases: Iterable[Path]) -> dict[str, Path]:
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
            found.append(case)
    unique = list(dict.fromkeys(found))
    stems = [file.stem for file in unique]
    return {file.stem if stems.count(file.stem) == 1 else str(file.with_suffix("")): file for file in unique}


def examples() -> list[str]:
    """Return the names of the example children."""
    names = (entry.name for entry in resources.files("example_patients").iterdir())
    return sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml") and name[0] != "_")


def has_example(name: str) -> bool:
    """Return whether there is an example child of that name, with or without `.toml`."""
    return name.removesuffix(".toml") in examples()


def is_example(case: Path) -> bool:
    """Return whether a path names an example child and no file."""
    return not case.exists() and case.parent == Path() and has_example(case.name)


def example(name: str) -> str:
    """Return the case file of an example child."""
    file = resources.files("example_patients").joinpath(f"{name.removesuffix('.toml')}.toml")
    return file.read_text(encoding="utf-8")


def today(on: datetime.date | None) -> datetime.date:
    """Return the day asked for, else the day of the clock: read nowhere else."""
    return on if on is not None else datetime.date.today()
