"""A folder whose files are read by the one way in, for whoever takes a folder of the import system."""

from __future__ import annotations

import io
from collections.abc import Iterator
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from pathway.files.reading import read_bytes, read_text

if TYPE_CHECKING:
    from _typeshed import StrPath


class CheckedFolder(Traversable):
    """A folder or a file in it; reading refuses what `files.reading` refuses, and links that lead out are not seen.

    `expected` says what the files should be, `most_bytes` how long one may be.
    """

    def __init__(self, path: Path, expected: str, most_bytes: int, root: Path | None = None) -> None:
        self._path, self._expected, self._most_bytes = path, expected, most_bytes
        self._root = path.resolve() if root is None else root

    def __str__(self) -> str:
        """Return the path as it was named."""
        return str(self._path)

    @property
    def name(self) -> str:
        """Return the last part of the path."""
        return self._path.name

    def iterdir(self) -> Iterator[CheckedFolder]:
        """Yield what lies in the folder; links that lead out of the first folder are left out."""
        for inside in self._path.iterdir():
            if inside.resolve().is_relative_to(self._root):
                yield self._of(inside)

    def is_dir(self) -> bool:
        """Return whether it is a folder."""
        return self._path.is_dir()

    def is_file(self) -> bool:
        """Return whether it is a regular file."""
        return self._path.is_file()

    def joinpath(self, *descendants: StrPath) -> CheckedFolder:
        """Return what has the name inside."""
        return self._of(self._path.joinpath(*descendants))

    def read_bytes(self) -> bytes:
        """Return the bytes of the file."""
        return read_bytes(self._path, self._expected, self._most_bytes)

    def read_text(self, encoding: str | None = None) -> str:
        """Return the text of the file, always UTF-8."""
        return read_text(self._path, self._expected, self._most_bytes, bom=True)

    def open(self, mode: str = "r", *args: Any, **kwargs: Any) -> IO[Any]:
        """Return the file opened for reading, all of it read by the one way in. Raises ValueError for another mode."""
        if mode not in ("r", "rb"):
            raise ValueError(f"opened for reading alone, not as {mode!r}")
        return io.BytesIO(self.read_bytes()) if mode == "rb" else io.StringIO(self.read_text())

    def _of(self, path: Path) -> CheckedFolder:
        return CheckedFolder(path, self._expected, self._most_bytes, self._root)
