"""What every verb on the registry shares: where it is, its key, who does it and when. An edge."""

from __future__ import annotations

import datetime
import getpass
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn, TypeVar

import click

from pathway.registry.default import VARIABLE

if TYPE_CHECKING:
    from pathway.registry.store import Registry

BAD_INPUT = 2
KEY_VARIABLE = "LIMB_PATHWAY_KEY_FILE"
LONGEST_KEY = 1000
Verb = TypeVar("Verb", bound=Callable[..., Any])


def registry_options(verb: Verb) -> Verb:
    """Give a verb the options that `opened` takes: where the registry is, and its key."""
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
    return where(file(ask(verb)))


by_option = click.option("--by", help="Who is doing this; default: the account name.")


@contextmanager
def problems_told() -> Iterator[None]:
    """Turn whatever is wrong with a registry into its sentence; leaves with exit 2."""
    from pathway.registry.problem import RegistryProblem

    try:
        yield
    except RegistryProblem as error:
        click.echo(str(error), err=True)
        sys.exit(BAD_INPUT)


@contextmanager
def opened(address: str | None, key_file: Path | None, ask_key: bool, *, create: bool = False) -> Iterator[Registry]:
    """Yield the registry that the options name; leaves with a sentence for whatever is wrong with it, also later."""
    from pathway.registry.store import open_registry

    with problems_told(), open_registry(address, key_of(key_file, ask_key), create=create) as registry:
        yield registry


def key_of(key_file: Path | None, ask_key: bool) -> str | None:
    """Return the key that the options name, None where they name none; leaves with a sentence."""
    if ask_key:
        return str(click.prompt("Key of the registry", hide_input=True, err=True))
    if key_file is None:
        return None
    try:
        with key_file.open(encoding="utf-8") as file:
            key = file.readline(LONGEST_KEY + 1).rstrip("\r\n")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "not UTF-8"
        refuse(f"{key_file}: found a key file that cannot be read ({why}), expected a text file; check --key-file.")
    if not key or len(key) > LONGEST_KEY:
        refuse(f"{key_file}: found no key, expected it in the first line, up to {LONGEST_KEY} characters; write it.")
    return key


def name_of(by: str | None) -> str:
    """Return who does this: as given, else the name of the account; read nowhere else."""
    try:
        return by or getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def now() -> datetime.datetime:
    """Return the moment by the clock, UTC; read nowhere else."""
    return datetime.datetime.now(datetime.UTC)


def write_new(file: Path, text: str) -> None:
    """Write a new file that only its owner can read; leaves with a sentence where it exists or cannot be made."""
    try:
        with os.fdopen(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8") as opened:
            opened.write(text)
    except FileExistsError:
        refuse(f"{file}: found an existing file, expected a new name; name another.")
    except OSError as error:
        refuse(f"{file}: cannot be written ({error.strerror}); check folder, space and permissions.")


def refuse(sentence: str) -> NoReturn:
    """Print a sentence and leave with exit 2."""
    click.echo(sentence, err=True)
    sys.exit(BAD_INPUT)
