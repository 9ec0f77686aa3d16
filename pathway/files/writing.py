"""The one way out: a file written whole or not at all, for its owner alone, over nothing but an earlier output."""

from __future__ import annotations

import os
import secrets
import stat
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from pathway.files.kinds import Kind, is_kept_elsewhere, is_one
from pathway.problems import Problem, Refused, refused

PRIVATE, SHARED = 0o600, 0o644
_LOOKED_AT_BYTES = 300_000
"""What an earlier output says of itself stands within so many bytes of its start or its end."""


@dataclass(frozen=True, slots=True)
class Target:
    """Where an output goes and what may lie there.

    `kind` is what is written: an earlier one of it is replaced; where None, nothing is. With `replace` any other
    file is, except one of the `inputs`, a case file and a registry. `shared` lets others of the machine read it.
    """

    file: Path
    kind: Kind | None = None
    replace: bool = False
    inputs: tuple[Path, ...] = ()
    shared: bool = False


def write_out(target: Target, data: bytes | Iterable[bytes]) -> None:
    """Write an output, whole or not at all; it and its folder are synced with the disk.

    Refuses a link, what is no regular file, and what may not be replaced (see `Target`), and says what cannot be
    written. Nothing is there, or what was there before, when anything fails.
    """
    file = target.file
    refuse_place(target)
    mode = SHARED if target.shared else PRIVATE
    try:
        put(file, data, mode, new=target.kind is None, check=lambda: refuse_place(target))
    except FileExistsError as error:
        raise _existing(file) from error
    except OSError as error:
        raise unwritable(file, error) from error


def refuse_place(target: Target) -> None:
    """Refuse a place to which an output must not go: asked before the work, and again just before it is put there."""
    file = target.file
    try:
        about = file.lstat()
    except FileNotFoundError:
        if not file.parent.is_dir():
            raise refused(str(file), "no such folder", "a folder", "make it, or name another") from None
        return
    except (OSError, ValueError) as error:
        raise unwritable(file, error) from error
    if stat.S_ISLNK(about.st_mode):
        raise refused(str(file), "a link to another place", "a file", "name the place itself")
    if not stat.S_ISREG(about.st_mode):
        found = "a folder" if stat.S_ISDIR(about.st_mode) else "no regular file (a pipe or a device)"
        raise refused(str(file), found, "a file", "name a file")
    if any(_same(file, one) for one in target.inputs):
        raise refused(str(file), "what this is read from", "another file", "name a new one")
    head, tail = _ends(file)
    kept = is_kept_elsewhere(head, file.name)
    if kept:
        expected = "a new file" if target.kind is None else f"a new file, or an earlier {target.kind.label}"
        raise refused(str(file), kept, expected, "name another")
    if target.kind is not None and is_one(target.kind, head, tail):
        return
    if target.kind is None:
        raise _existing(file)
    if not target.replace:
        expected = f"a new file, or an earlier {target.kind.label}"
        raise refused(str(file), "a file of something else", expected, "name another, or add --replace")


def put(
    file: Path,
    data: bytes | Iterable[bytes],
    mode: int,
    *,
    new: bool = False,
    check: Callable[[], None] = lambda: None,
) -> None:
    """Put a file in place in one step: whoever reads it sees all of it or what was there before. Raises OSError.

    It is written beside and synced, `check` is asked once more, and then it takes its name; the folder is synced.
    If `new`, nothing may have the name (FileExistsError).
    """
    draft = file.parent / f".{file.name[:60]}.{secrets.token_hex(6)}.new"
    try:
        handle = os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0), PRIVATE)
        with os.fdopen(handle, "wb") as opened:
            for chunk in (data,) if isinstance(data, bytes) else data:
                opened.write(chunk)
            opened.flush()
            os.fsync(opened.fileno())
        draft.chmod(mode)
        check()
        named(draft, file, new=new)
        synced(file.parent)
    finally:
        draft.unlink(missing_ok=True)


def folder_made(folder: Path) -> None:
    """Make a folder, for its owner alone, where there is none; refuses what cannot be made."""
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        found = f"no folder that can be created ({error.strerror})"
        raise refused(str(folder), found, "a folder", "name another") from error


def unwritable(file: Path, error: OSError | ValueError) -> Refused:
    """Return what to say of a file that cannot be written."""
    why = error.strerror if isinstance(error, OSError) else error
    what = f"cannot be written ({why})"
    return Refused(Problem(str(file), "", None, what, "", "check folder, space and permissions"))


def _existing(file: Path) -> Refused:
    return refused(str(file), "an existing file", "a new name", "name another")


def named(draft: Path, file: Path, *, new: bool) -> None:
    """Give a draft its name; if `new`, nothing may have it (FileExistsError). Raises OSError."""
    if not new:
        draft.replace(file)
        return
    try:
        os.link(draft, file)
    except FileExistsError:
        raise
    except OSError:  # a file system without links: a short moment in which somebody else could make the file
        if file.exists():
            raise FileExistsError(file) from None
        draft.rename(file)


def _same(file: Path, other: Path) -> bool:
    try:
        return file.samefile(other)
    except (OSError, ValueError):
        return False


def _ends(file: Path) -> tuple[bytes, bytes]:
    try:
        with file.open("rb") as opened:
            head = opened.read(_LOOKED_AT_BYTES)
            opened.seek(max(os.fstat(opened.fileno()).st_size - _LOOKED_AT_BYTES, 0))
            return head, opened.read()
    except OSError as error:
        raise unwritable(file, error) from error


def synced(path: Path) -> None:
    """Write a file or a folder through to the disk. Raises OSError."""
    if os.name == "nt" and path.is_dir():
        return
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
