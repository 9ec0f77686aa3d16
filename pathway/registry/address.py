"""Where a registry is: its address read, and files made so that nobody else can read them or finds half of one."""

from __future__ import annotations

import os
import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from pathway.files.writing import named, synced
from pathway.registry.default import VARIABLE, default_file
from pathway.registry.problem import RegistryProblem, problem

_DRAFT = re.compile(r"\..+\.(?:(\d+)-)?[0-9a-f]{12}\.new(?:-wal|-shm|-journal)?")
_YOUNG_SECONDS = 3600
PLAIN_HEADER = b"SQLite format 3\x00"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a registry is: a file (SQLite) or a server (PostgreSQL). `name` is how it is told, without password."""

    name: str
    file: Path | None
    server: URL | None


def place_of(address: str | None) -> Place:
    """Return the place that an address names: a path, `sqlite:///path`, or `postgresql://user@host/name`.

    None is the file in the user's data folder. Raises `RegistryProblem` for any other address.
    """
    if address is None:
        return _file(default_file())
    if "://" not in address:
        return _file(Path(address).expanduser())
    try:
        url = make_url(address)
    except (ArgumentError, ValueError):
        raise _not_an_address(address.split("://", 1)[0] + "://…") from None
    shown = url.render_as_string(hide_password=True)
    if url.drivername == "sqlite" and url.database and not url.host:
        return _file(Path(url.database))
    if url.drivername in ("postgresql", "postgresql+psycopg") and url.database:
        return Place(shown, None, url.set(drivername="postgresql+psycopg"))
    raise _not_an_address(shown)


def new_file(file: Path, fill: Callable[[Path], None]) -> None:
    """Make a file of mode 0600 that `fill` writes, so that it is there whole or not at all.

    It is filled under another name in the same folder and then linked to its own; its folder is made where it is
    missing. Raises FileExistsError when the file is there already, and whatever `fill` raises.
    """
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    draft = file.parent / f".{file.name}.{os.getpid()}-{secrets.token_hex(6)}.new"
    try:
        os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        fill(draft)
        synced(draft)
        named(draft, file, new=True)
        synced(file.parent)
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            draft.with_name(draft.name + end).unlink(missing_ok=True)


def drafts_in(folder: Path) -> tuple[Path, ...]:
    """Return the drafts in a folder whose program was killed while it filled them, () where it cannot be read."""
    try:
        found = [path for path in folder.iterdir() if _DRAFT.fullmatch(path.name)]
    except OSError:
        return ()
    return tuple(sorted(path for path in found if not _alive(path)))


def _alive(draft: Path) -> bool:
    """Return whether the program that fills a draft still runs; of one without its number, whether it is young."""
    match = _DRAFT.fullmatch(draft.name)
    number = match.group(1) if match else None
    try:
        if number is None or os.name == "nt":  # there, asking for a process would end it
            newest = max(path.stat().st_mtime for path in draft.parent.iterdir())
            return newest - draft.stat().st_mtime < _YOUNG_SECONDS
        os.kill(int(number), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return number is not None
    return True


def is_plain(file: Path) -> bool:
    """Return whether a file is an SQLite database that is not encrypted."""
    with file.open("rb") as opened:
        return opened.read(len(PLAIN_HEADER)) == PLAIN_HEADER


def _file(file: Path) -> Place:
    return Place(str(file), file, None)


def _not_an_address(shown: str) -> RegistryProblem:
    return problem(
        shown,
        "an address that names no registry",
        "a file's path, sqlite:///path or postgresql://user@host/name",
        f"correct --registry or {VARIABLE}",
    )
