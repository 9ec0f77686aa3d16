"""Files beside the registry: read with a limit, written new so that only their owner can read them."""

from __future__ import annotations

import os
from pathlib import Path

from pathway.cli.errors import refuse
from pathway.problems import Problem, Refused, refused


def read_text(file: Path, what: str, expected: str, most_bytes: int, encoding: str = "utf-8") -> str:
    """Return the text of a file; refuses one that is too long or cannot be read. `what` says what it should hold."""
    try:
        if file.is_file() and file.stat().st_size > most_bytes:
            refuse(str(file), f"{file.stat().st_size} bytes", f"at most {most_bytes}", f"is it {what}?")
        return file.read_text(encoding=encoding)
    except (OSError, UnicodeDecodeError) as error:
        raise unreadable(file, what, error, expected) from error


def unreadable(file: Path, what: str, error: OSError | UnicodeDecodeError, expected: str) -> Refused:
    """Return what to say of a file that cannot be read."""
    why = error.strerror if isinstance(error, OSError) else "not UTF-8"
    return refused(str(file), f"{what} that cannot be read ({why})", expected, "check it")


def write_new(file: Path, text: str) -> None:
    """Write a new file that only its owner can read; refuses one that exists or cannot be made."""
    try:
        with os.fdopen(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="utf-8") as opened:
            opened.write(text)
    except FileExistsError:
        refuse(str(file), "an existing file", "a new name", "name another")
    except OSError as error:
        what = f"cannot be written ({error.strerror})"
        raise Refused(Problem(str(file), "", None, what, "", "check folder, space and permissions")) from error


def folder_made(folder: Path) -> None:
    """Make a folder where there is none; refuses what cannot be made."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        refuse(str(folder), f"no folder that can be created ({error.strerror})", "a folder", "name another")
