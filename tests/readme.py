"""README and manual taken apart: commands, the table of verbs, blocks, and what of a command's print they show."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pathway.views import manual

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
PAGES = {name: manual.markdown(name) for name in manual.topics() if name != manual.FINDINGS}
TEXT = "\n".join((README, *PAGES.values()))
"""What a reader has: the README, then the manual page by page."""
FENCED = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
SPAN = re.compile(r"`([^`\n]+)`")
PROSE = FENCED.sub("", TEXT)
PROGRAM = "limb-pathway"


@dataclass(frozen=True)
class Row:
    """One row of the table of verbs: what stands in its first column, and in all of it, in code."""

    commands: tuple[str, ...]
    spans: tuple[str, ...]


@dataclass(frozen=True)
class Printed:
    """A command and the block under it: what it prints, shortened."""

    command: str
    excerpt: str

    @property
    def id(self) -> str:
        return self.command


def rows() -> list[Row]:
    """Return the rows of the table of verbs, which is a page of the manual."""
    lines = [line for line in PAGES["verbs"].splitlines() if line.startswith(f"| `{PROGRAM}")]
    return [Row(tuple(SPAN.findall(line.split("|")[1])), tuple(SPAN.findall(line))) for line in lines]


def blocks(language: str) -> list[str]:
    """Return the fenced blocks of a language; of none for the blocks of a terminal."""
    return [text for said, text in FENCED.findall(TEXT) if said == language]


def commands() -> list[str]:
    """Return every command that the text names in code, without the program's name, each once."""
    named = [span for span in SPAN.findall(PROSE) if span.split()[0] == PROGRAM]
    named += [span for span in SPAN.findall(PROSE) if re.match(r"(registry|rules) [a-z]", span)]
    return list(dict.fromkeys(span.removeprefix(PROGRAM).strip() for span in named))


def printed() -> Iterator[Printed]:
    """Yield each block that shows what a command prints: the command is the last one named above it."""
    for match in FENCED.finditer(TEXT):
        above = TEXT[: match.start()].rstrip().splitlines()[-1]
        named = [span for span in SPAN.findall(above) if span.split()[0] == PROGRAM]
        if not match[1] and named:
            yield Printed(named[-1].removeprefix(PROGRAM).strip(), match[2])


def missing_of(excerpt: str, whole: str) -> list[str]:
    """Return what an excerpt shows and `whole` does not say in that order; lines may be broken anywhere, … left out."""
    said, at, missing = _bare(whole), 0, []
    for part in re.split(r"…", excerpt):
        for line in filter(str.strip, part.splitlines()):
            found = said.find(_bare(line), at)
            if found < 0:
                missing.append(line.strip())
            else:
                at = found + len(_bare(line))
    return missing


def _bare(text: str) -> str:
    return re.sub(r"\s+", "", text)
