"""Case files on the disk, and folders of them: read as text, or refused in a sentence."""

from __future__ import annotations

from pathlib import Path

from pathway.children import examples
from pathway.files.reading import read_text
from pathway.problems import refused

MOST_BYTES = 2_000_000


def text_of(path: Path, missing: str = "") -> str:
    """Return the text of a case file; `missing` says what to do where it is not there, else the examples are named."""
    missing = missing or f"the examples are {', '.join(examples.names())}"
    return read_text(path, "a case file", MOST_BYTES, missing=missing, folder="name a .toml file in it", bom=True)


def files_in(folder: Path) -> tuple[Path, ...]:
    """Return the case files of a folder by name; refuses a folder without one."""
    inside = tuple(sorted(file for file in folder.glob("*.toml") if file.name[0] not in "_."))
    if not inside:
        raise refused(str(folder), "no .toml file in this folder", "case files", "name another")
    return inside


def only_file_in(folder: Path) -> Path:
    """Return the one case file of a folder that stands for a child; refuses a folder with none or with several."""
    inside = [file for file in folder.glob("*.toml") if file.name[0] not in "_."]
    if len(inside) == 1:
        return inside[0]
    found = f"a folder of {len(inside)} case files" if inside else "a folder"
    raise refused(str(folder), found, "a case file", "name a .toml file in it")
