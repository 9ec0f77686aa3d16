"""Where sessions keep what is not saved: a folder of this server, a file a session, taken up by the next visit."""

from __future__ import annotations

import secrets
import tempfile
from pathlib import Path

from pathway.children.left_behind import VARIABLE


class Left:
    """The files of all sessions of one server, for its owner alone; they are gone when it ends.

    Whoever has the key of the server may take up what was left behind: it is the same person, or the same clinic.
    """

    def __init__(self) -> None:
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._orphans: list[Path] = []

    @property
    def folder(self) -> Path | None:
        """Return the folder, None as long as no session has begun."""
        return None if self._folder is None else Path(self._folder.name)

    def take(self) -> Path:
        """Return the file for a session that begins: the one left behind last, else a new one."""
        while self._orphans:
            file = self._orphans.pop()
            if file.exists():
                return file
        if self._folder is None:
            self._folder = tempfile.TemporaryDirectory(prefix="limb-pathway-")
        return Path(self._folder.name) / f"{secrets.token_urlsafe(12)}.json"

    def leave(self, file: Path) -> None:
        """Keep the file of a session that has ended for the next one, where it left anything."""
        if file.exists():
            self._orphans.append(file)

    def around(self, file: Path) -> dict[str, str]:
        """Return what a session finds in its environment."""
        return {VARIABLE: str(file)}

    def close(self) -> None:
        """Remove everything."""
        if self._folder is not None:
            self._folder.cleanup()
