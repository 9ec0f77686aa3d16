"""The options that many verbs share, and what only the edge may read: the clock, the account, a key file."""

from __future__ import annotations

import datetime
import functools
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from pathway.cli.errors import refuse, secret
from pathway.files.reading import read_text
from pathway.files.writing import Target
from pathway.registry.default import VARIABLE

if TYPE_CHECKING:
    from pathway.children.resolve import RegistryAt
    from pathway.children.served import Served
    from pathway.children.storage import Storage
    from pathway.children.surroundings import Surroundings
    from pathway.files.kinds import Kind

KEY_VARIABLE = "LIMB_PATHWAY_KEY_FILE"
LONGEST_KEY, MOST_KEY_BYTES = 1000, 100_000
Verb = TypeVar("Verb", bound=Callable[..., Any])


class Day(click.DateTime):
    """A day as year-month-day; one that is written otherwise is answered in plain words."""

    def __init__(self) -> None:
        super().__init__(["%Y-%m-%d"])

    def get_metavar(self, param: click.Parameter, ctx: click.Context) -> str:
        """Return how the day is written."""
        return "YYYY-MM-DD"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime.datetime:
        """Return the day, at midnight."""
        try:
            return super().convert(value, param, ctx)
        except click.BadParameter:
            found, expected, do = day_fault(str(value))
            self.fail(f"found {found}, expected {expected}{f'; {do}' if do else ''}.", param, ctx)


def day_fault(text: str) -> tuple[str, str, str]:
    """Return what is wrong with a text that is no day: found, expected, and the day that was probably meant."""
    from pathway.tables.values import day_of

    meant = day_of(text, "day-month-year")
    do = f"did you mean {meant}" if isinstance(meant, datetime.date) else ""
    return repr(text), "a day as year-month-day, such as 2024-05-31", do


def as_day(
    _context: click.Context, _parameter: click.Parameter, value: datetime.datetime | None
) -> datetime.date | None:
    """Return the day of a date option, None where it was not given."""
    return None if value is None else value.date()


on_option = click.option(
    "--on",
    type=Day(),
    callback=as_day,
    help="Plan as of this date; default: today.",
)
plain_option = click.option("--plain", is_flag=True, help="Words only: no symbols, no pictures, curves as tables.")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for other programs.")
protocol_option = click.option(
    "--protocol",
    "overlay_dir",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Apply a clinic's folder of rules (TOML) over ours, rule by rule.",
)
by_option = click.option("--by", help="Who is doing this; default: the account name.")
cases_argument = click.argument("cases", nargs=-1, type=click.Path(path_type=Path), metavar="[CASE]...")


@dataclass(frozen=True, slots=True)
class RegistryOptions:
    """Where the registry is, as the options say, and where its key comes from."""

    address: str | None = None
    key_file: Path | None = None
    ask_key: bool = False

    @property
    def files(self) -> tuple[Path, ...]:
        """Return the files that belong to the registry, which nothing may be written over."""
        from pathway.registry.default import default_file

        address = self.address
        own = default_file() if address is None else Path(address.removeprefix("sqlite:///")).expanduser()
        return (own, *((self.key_file,) if self.key_file is not None else ()))

    @property
    def named(self) -> bool:
        """Return whether a registry was named."""
        return self.address is not None

    def at(self) -> RegistryAt:
        """Return the address and the key itself; asks for the key where that is wished."""
        from pathway.children.resolve import RegistryAt

        return RegistryAt(self.address, self.key())

    def key(self) -> str | None:
        """Return the key that the options name, None where they name none; refuses a key that cannot be read."""
        if self.ask_key:
            return secret("Key of the registry")
        if self.key_file is None:
            return None
        text = read_text(self.key_file, "the key of a registry", MOST_KEY_BYTES, missing="check --key-file")
        key = text.split("\n", 1)[0]
        if not key or len(key) > LONGEST_KEY:
            expected = f"it in the first line, up to {LONGEST_KEY} characters"
            refuse(str(self.key_file), "no key", expected, "write it")
        return key


@dataclass(frozen=True, slots=True)
class Output:
    """Where a verb writes to, None for the terminal, and what it may do there."""

    file: Path | None
    replace: bool = False
    shared: bool = False

    def to(self, kind: Kind | None, *inputs: Path | None) -> Target:
        """Return the place for a kind of output, made from these inputs; a file must have been named."""
        assert self.file is not None
        return Target(self.file, kind, self.replace, tuple(one for one in inputs if one is not None), self.shared)


def output_options(
    *, required: bool = False, text: str = "File to write; printed if not given.", replaces: bool = True
) -> Callable[[Verb], Verb]:
    """Return what gives a verb the options on where it writes, as one argument `out`.

    `replaces`: an earlier file of its kind may be written over.
    """

    def given(verb: Verb) -> Verb:
        @functools.wraps(verb)
        def with_out(*args: Any, output: Path | None, shared: bool, replace_other: bool = False, **others: Any) -> Any:
            return verb(*args, out=Output(output, replace_other, shared), **others)

        where = click.option(
            "-o",
            "--output",
            "output",
            type=click.Path(path_type=Path),
            required=required,
            metavar="FILE",
            help=f"{text} {'An earlier one of its kind is replaced.' if replaces else 'Nothing is written over.'}",
        )
        replace = click.option("--replace", "replace_other", is_flag=True, help="Replace a file of another kind too.")
        shared = click.option("--shared", is_flag=True, help="Let others on this machine read the file.")
        written = shared(with_out)
        return where(replace(written) if replaces else written)  # type: ignore[return-value]

    return given


def registry_options(verb: Verb) -> Verb:
    """Give a verb the options that say where the registry is, and its key, as one argument `where`."""

    @functools.wraps(verb)
    def with_where(*args: Any, address: str | None, key_file: Path | None, ask_key: bool, **others: Any) -> Any:
        return verb(*args, where=RegistryOptions(address, key_file, ask_key), **others)

    where = click.option(
        "--registry",
        "address",
        envvar=VARIABLE,
        metavar="URL",
        help=f"A file, or postgresql://user@host/name; else {VARIABLE}, else the user's data folder.",
    )
    file = click.option(
        "--key-file",
        envvar=KEY_VARIABLE,
        type=click.Path(path_type=Path),
        help="The key of an encrypted registry: the first line of this file.",
    )
    ask = click.option("--ask-key", is_flag=True, help="Ask for the key of an encrypted registry.")
    return where(file(ask(with_where)))  # type: ignore[return-value]


def today(on: datetime.date | None) -> datetime.date:
    """Return the day asked for, else the day of the clock: read nowhere else."""
    return on if on is not None else datetime.date.today()


def now() -> datetime.datetime:
    """Return the moment by the clock, UTC; read nowhere else."""
    return datetime.datetime.now(datetime.UTC)


def name_of(by: str | None) -> str:
    """Return who does this: as given, else the name of the account; read nowhere else."""
    import getpass

    try:
        return by or getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def served_here() -> Served | None:
    """Return what a session in a browser may read, as its server says; None in a terminal."""
    from pathway.children.served import VARIABLE, of_text

    text = os.environ.get(VARIABLE)
    return None if text is None else of_text(text)


def surroundings(begin: Callable[[], Storage] | None = None) -> Surroundings:
    """Return where the screens run: the clock, whether a server shows them in a browser, what makes a place."""
    from pathway.children.left_behind import VARIABLE, LeftBehind
    from pathway.children.surroundings import Surroundings

    kept = os.environ.get(VARIABLE)
    left = None if kept is None else LeftBehind(Path(kept))
    return Surroundings(now, in_browser=served_here() is not None, left=left, begin=begin)
