"""What an output says of itself, so that a later one of its kind may take its place and nothing else's."""

from __future__ import annotations

import re
import struct
import zlib
from dataclasses import dataclass
from typing import Literal

import tomli

Form = Literal["pdf", "html", "md", "svg", "png", "ics", "json", "toml", "txt"]
PROGRAM = "limb-pathway"
_TABLE = re.compile(rb"^\[child\]", re.MULTILINE)
_SQLITE = b"SQLite format 3\x00"
_PNG, _FIRST_CHUNK_ENDS = b"\x89PNG\r\n\x1a\n", 33


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of output: its name in sentences, its form, and the `mark` that stands in every one, with `more` words."""

    label: str
    form: Form
    mark: str
    more: str = ""


def marked_kind(label: str, form: Form) -> Kind:
    """Return a kind whose outputs are marked by `marked`, or in a PDF by its keywords."""
    return Kind(label, form, f"{PROGRAM} {label}")


CALENDAR = Kind("calendar", "ics", f"-//{PROGRAM}//calendar//EN")
FHIR_PLAN = Kind("document for a record system", "json", f"https://{PROGRAM}.invalid", '"Composition"')
FHIR_RULES = Kind("export of the rules", "json", f"https://{PROGRAM}.invalid", '"PlanDefinition"')
_STARTS: dict[Form, bytes] = {
    "pdf": b"%PDF-",
    "html": b"<!DOCTYPE html>",
    "md": b"# ",
    "svg": b"<svg ",
    "png": _PNG,
    "ics": b"BEGIN:VCALENDAR",
    "json": b"{",
    "toml": b"# ",
    "txt": b"",
}


def marked(data: bytes, kind: Kind) -> bytes:
    """Return an output with the mark of its kind where nobody sees it; a PDF has it in its keywords already."""
    comment = f"<!-- {kind.mark} -->".encode()
    if kind.form == "svg":
        return data.replace(b"</svg>", comment + b"\n</svg>", 1) if data.count(b"</svg>") == 1 else data + comment
    if kind.form == "html":
        meta = f'<meta name="generator" content="{kind.mark}">\n'.encode()
        return data.replace(b"</head>", meta + b"</head>", 1)
    if kind.form == "md":
        return data + b"\n" + comment + b"\n"
    if kind.form == "toml":
        return data + f"\n# {kind.mark}\n".encode()
    if kind.form == "txt":
        return data + f"\n{kind.mark}\n".encode()
    if kind.form == "png":
        said = b"tEXtSoftware\x00" + kind.mark.encode("latin-1")
        chunk = struct.pack(">I", len(said) - 4) + said + struct.pack(">I", zlib.crc32(said))
        return data[:_FIRST_CHUNK_ENDS] + chunk + data[_FIRST_CHUNK_ENDS:]
    return data


def is_one(kind: Kind, head: bytes, tail: bytes) -> bool:
    """Return whether a file that begins and ends so is an output of a kind."""
    said = all(mark.encode() in head or mark.encode() in tail for mark in (kind.mark, kind.more))
    return head.startswith(_STARTS[kind.form]) and said


def is_kept_elsewhere(head: bytes, name: str) -> str:
    """Return what a file is that no output may replace, a case file or a registry, else ""."""
    if head.startswith(_SQLITE):
        return "a registry or a backup"
    if b"PRIVATE KEY-----" in head:
        return "a key"
    if b"[child]" not in head:
        return ""
    try:
        parsed = tomli.loads(head.decode("utf-8"))
    except (ValueError, RecursionError):
        # What is being written by hand need not be whole yet.
        return "a case file that cannot be read" if name.lower().endswith(".toml") or _TABLE.search(head) else ""
    return "a case file" if "child" in parsed else ""
