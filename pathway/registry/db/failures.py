"""What a database says when it fails, turned into sentences with a remedy."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from pathway.registry.problem import RegistryProblem, problem

_NOTHING = "nothing of this step was saved"
_ROOM = ("no room left on the disk", f"room for the entry; {_NOTHING}", "free some space and try again")
_READ_ONLY = (
    "a read-only place",
    f"a writable one; {_NOTHING}",
    "check the permissions of file and folder, or name another with --registry",
)
_NOBODY = ("an unknown host", "the name of the server", "correct the address")
_MISSING = (
    "a table or column that is missing",
    "the tables of a registry",
    "set the file aside and restore the last backup with `registry restore`",
)
_SAYINGS: tuple[tuple[str, tuple[str, str, str]], ...] = (
    ("disk is full", _ROOM),
    ("no space left", _ROOM),
    ("disk full", _ROOM),
    ("file too large", ("that the file may not grow", _ROOM[1], "raise the limit on file sizes or move the registry")),
    (
        "disk i/o error",
        (
            "that the disk cannot be written",
            f"a working disk with room; {_NOTHING}",
            "check disk and space, then run `registry verify`",
        ),
    ),
    ("readonly", _READ_ONLY),
    ("read-only", _READ_ONLY),
    (
        "database is locked",
        (
            "that another program holds the registry",
            f"to wait less than 30 seconds; {_NOTHING}",
            "try again; if it stays so, look for a program that hangs",
        ),
    ),
    (
        "unable to open database file",
        (
            "that the file or its folder cannot be opened",
            "a folder in which files may be made",
            "check path and permissions, or name another with --registry",
        ),
    ),
    (
        "not a database",
        (
            "a file that is encrypted with another key, or no registry",
            "the key it was made with",
            "check the key (--key-file or --ask-key) and the path",
        ),
    ),
    ("no such table", _MISSING),
    ("no such column", _MISSING),
    (
        "malformed",
        ("a damaged file", "a sound database", "set it aside and restore the last backup with `registry restore`"),
    ),
    (
        "never changed",
        ("an attempt to change what was kept", "a new entry that supersedes it", "correct it with a new entry"),
    ),
    (
        "connection refused",
        ("that no server answers", "a running PostgreSQL server", "start it, or correct the address"),
    ),
    ("could not translate host name", _NOBODY),
    ("failed to resolve host", _NOBODY),
    (
        "password",
        (
            "that the server refused the user",
            "a user and password that it knows",
            "put the password into a password file (PGPASSFILE), not into the address",
        ),
    ),
    (
        "does not exist",
        (
            "a database, role or table that does not exist",
            "a registry",
            "ask the administrator to make it, or correct the address",
        ),
    ),
    (
        "permission denied",
        (
            "that this user may not do it",
            f"the right to read and to add; {_NOTHING}",
            "check the permissions, or ask the administrator",
        ),
    ),
)
"""What to say (found, expected, do) where the database's own words, in small letters, hold the first text."""


@contextmanager
def translating_db_errors(where: str) -> Iterator[None]:
    """Turn whatever the database or the file system raises inside into a `RegistryProblem` about `where`."""
    try:
        yield
    except SQLAlchemyError as error:
        cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
        raise failure(where, cause) from error
    except OSError as error:
        raise failure(where, error) from error


def failure(where: str, error: BaseException) -> RegistryProblem:
    """Return what to tell a person about a failure of database or file system."""
    said = " ".join(str(error).split())
    for part, words in _SAYINGS:
        if part in said.lower():
            return problem(where, *words)
    do = "check the place and its permissions, and try again"
    return problem(where, f"a failure of the database ({said[:200]})", "none", do)
