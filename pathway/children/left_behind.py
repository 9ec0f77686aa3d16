"""Where a session in a browser keeps what is not saved, so that a page that is closed loses nothing. An edge.

The server names the file, in a folder of its own for its owner alone; it is gone when the server ends.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pathway.files.reading import read_text
from pathway.files.writing import PRIVATE, put
from pathway.problems import Refused

VARIABLE = "LIMB_PATHWAY_LEFT"
"""The variable by which the server tells each session where to keep what is not saved."""
MOST_BYTES = 50_000_000


@dataclass(frozen=True, slots=True)
class LeftBehind:
    """The file of one session; it is there only while something is not saved."""

    file: Path

    def read(self) -> str:
        """Return what an earlier session kept here, "" where there is nothing that can be read."""
        if not self.file.exists():
            return ""
        with suppress(Refused):
            return read_text(self.file, "what was not saved", MOST_BYTES)
        return ""

    def keep(self, text: str) -> None:
        """Keep a text in place of the one before; nothing to keep leaves no file. Raises OSError."""
        if text:
            put(self.file, text.encode(), PRIVATE)
        else:
            self.file.unlink(missing_ok=True)
