"""Case files on the disk, and folders of them: read as text, or refused in a sentence."""

from __future__ import annotations

from pathlib import Path

from pathway.children import examples
from pathway.problems import Problem, Refused, refused

MOST_BYTES = 2_000_000


def text_of(path: Path) -> str:
    """Return the text of a case file."""
    try:
        if path.is_file() and path.stat().st_size > MOST_BYTES:
            raise refused(str(path), f"{path.stat().st_size} bytes", f"at most {MOST_BYTES}", "is it a case file?")
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        found, expected, remedy = "text that is not UTF-8", "a UTF-8 text file", "save it again as UTF-8"
    except FileNotFoundError:
        found, expected, remedy = "no such file", "a case file", f"the examples are {', '.join(examples.names())}"
    except IsADirectoryError:
        found, expected, remedy = "a folder", "a case file", "name a .toml file in it"
    except OSError as error:
        what = f"cannot be read ({error.strerror})"
        raise Refused(Problem(str(path), "", None, what, "", "check the file and its permissions")) from error
    raise refused(str(path), found, expected, remedy)


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
