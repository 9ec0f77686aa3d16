"""What a session in a browser may read and write: the case files and folders that were served, no others. An edge."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pathway.problems import refused

VARIABLE = "LIMB_PATHWAY_SERVED"
"""The variable by which the server tells each session what was served."""


@dataclass(frozen=True, slots=True)
class Served:
    """Files and folders by where they really lay when the server was started."""

    places: tuple[Path, ...]

    def real(self, file: Path) -> Path:
        """Return where a file really lies, links followed.

        Raises Refused where that is none of the files served, nor in a folder of them.
        """
        try:
            found = file.resolve()
        except (OSError, RuntimeError):  # a circle of links
            found = None
        if found is not None and any(found == place or found.is_relative_to(place) for place in self.places):
            return found
        expected = "a case file of the folder that is served"
        remedy = "put the file itself there, or serve the folder that it lies in"
        raise refused(str(file), "a link or a path that leads elsewhere", expected, remedy)


def served(cases: Iterable[Path]) -> Served:
    """Return what is served where these files and folders are named: where each really lies now."""
    return Served(tuple(case.resolve() for case in cases))


def as_text(what: Served) -> str:
    """Return it as a text that `of_text` reads."""
    return json.dumps([str(place) for place in what.places])


def of_text(text: str) -> Served:
    """Return what `as_text` wrote; of any other text nothing at all, so that a session reads no file."""
    try:
        found = json.loads(text)
        return Served(tuple(Path(place) for place in found))
    except (ValueError, TypeError):
        return Served(())
