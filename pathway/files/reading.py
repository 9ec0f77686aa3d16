"""The one way in: a regular file of a stated size, in UTF-8, without characters that nobody sees."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from pathway.plain_text import hidden_in
from pathway.problems import Problem, Refused, refused


def read_bytes(
    file: Path, expected: str, most_bytes: int, *, missing: str = "check the path", folder: str = "name a file in it"
) -> bytes:
    """Return what a file holds. `expected` says what should be there (`a case file`).

    Refuses what is no regular file (a folder, a pipe, a device), is larger than `most_bytes`, or cannot be read.
    `missing` and `folder` say what to do where nothing or a folder has the name.
    """
    data, size = _read(file, expected, most_bytes + 1, missing, folder)
    if len(data) > most_bytes:
        found = f"{max(size, len(data))} bytes"
        raise refused(str(file), found, f"at most {most_bytes}", f"is it {expected}?")
    return data


def starts_with(file: Path, expected: str) -> bytes:
    """Return the first byte of a file, b"" of an empty one; refuses what `read_bytes` refuses."""
    return _read(file, expected, 1, "check the path", "name a file in it")[0]


def read_text(
    file: Path,
    expected: str,
    most_bytes: int,
    *,
    missing: str = "check the path",
    folder: str = "name a file in it",
    bom: bool = False,
) -> str:
    """Return the text of a file, lines ending with a newline alone; a mark of byte order is dropped if `bom`.

    Refuses what `read_bytes` refuses, text that is not UTF-8, and characters that nobody sees, with their line.
    """
    data = read_bytes(file, expected, most_bytes, missing=missing, folder=folder)
    return checked_text(data, str(file), expected, bom=bom)


def checked_text(data: bytes, name: str, expected: str, *, bom: bool = False) -> str:
    """Return bytes as text; `name` says in faults whose. Refuses text that is not UTF-8 and hidden characters."""
    try:
        text = data.decode("utf-8-sig" if bom else "utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found, do = "text that is not UTF-8", "save it again as UTF-8"
        raise Refused(Problem(name, "", line, found, f"{expected} in UTF-8", do)) from error
    plain = text.replace("\r\n", "\n")
    hidden = hidden_in(plain)
    if hidden is None:
        return plain
    at, sign = hidden
    found, do = f"a character that nobody sees ({sign})", "remove it"
    raise Refused(Problem(name, "", plain.count("\n", 0, at) + 1, found, f"{expected} in plain text", do))


def _read(file: Path, expected: str, most: int, missing: str, folder: str) -> tuple[bytes, int]:
    """Return the first bytes of a regular file, and its size."""
    try:
        # Without waiting: a pipe that nobody writes to would hold the program for ever.
        handle = os.open(file, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except FileNotFoundError as error:
        raise refused(str(file), "no such file", expected, missing) from error
    except IsADirectoryError as error:
        raise refused(str(file), "a folder", expected, folder) from error
    except (OSError, ValueError) as error:
        raise _unreadable(file, error) from error
    try:
        about = os.fstat(handle)
        if stat.S_ISDIR(about.st_mode):
            raise refused(str(file), "a folder", expected, folder)
        if not stat.S_ISREG(about.st_mode):
            raise refused(str(file), "no regular file (a pipe or a device)", expected, "name a file")
        with os.fdopen(os.dup(handle), "rb") as opened:
            return opened.read(most), about.st_size
    except OSError as error:
        raise _unreadable(file, error) from error
    finally:
        os.close(handle)


def _unreadable(file: Path, error: OSError | ValueError) -> Refused:
    why = error.strerror if isinstance(error, OSError) else error
    return Refused(Problem(str(file), "", None, f"cannot be read ({why})", "", "check the file and its permissions"))
