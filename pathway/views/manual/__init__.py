"""The manual: pages of Markdown that travel with the program, and the pages that are made of the rules."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from importlib import resources

from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.units import UNITS
from pathway.views.pictures.picture import Role
from pathway.views.words.paragraphs import Paragraph

PARTS: Mapping[str, tuple[str, ...]] = {
    "Learn": ("tutorial",),
    "Do": (
        "case-file",
        "screens",
        "follow-up",
        "worksheets",
        "courses",
        "roads",
        "papers",
        "tables",
        "registry",
        "results",
        "browser",
        "own-rules",
    ),
    "Understand": ("growth", "decisions", "chances", "harms", "limits"),
    "Look up": ("verbs", "findings"),
}
"""The pages by what a reader wants, in order; each but FINDINGS is a file of this folder."""
FINDINGS = "findings"
SKELETAL_AGE = "skeletal_age_years"
_FENCE = "```"
_IMAGE = re.compile(r"^!\[")
_MARKS = re.compile(r"\*\*|(?<!\w)\*(?=\w)|(?<=\w)\*(?!\w)")


def topics() -> tuple[str, ...]:
    """Return the names of all pages, in order."""
    return tuple(name for names in PARTS.values() for name in names)


def markdown(topic: str) -> str:
    """Return the text of a page that is a file; raises KeyError for a name that is none."""
    if topic not in topics() or topic == FINDINGS:
        raise KeyError(topic)
    return resources.files(__name__).joinpath(f"{topic}.md").read_text(encoding="utf-8")


def title(topic: str) -> str:
    """Return the title of a page."""
    return "The findings that the rules know" if topic == FINDINGS else markdown(topic).split("\n", 1)[0].lstrip("# ")


def contents() -> Iterator[Paragraph]:
    """Yield the list of pages, each with its name and title."""
    for part, names in PARTS.items():
        yield Paragraph(part, heading=True)
        for name in names:
            yield Paragraph(f"{name}: {title(name)}")


def page(topic: str, protocol: Protocol | None) -> Iterator[Paragraph]:
    """Yield a page for a screen or a terminal: its title first; raises KeyError for a name that is none.

    Only the page FINDINGS is made of the rules; without them it says that they are still being read.
    """
    if topic != FINDINGS:
        yield from _read(markdown(topic))
    elif protocol is None:
        yield Paragraph(title(FINDINGS), heading=True)
        yield Paragraph("The rules are still being read; come back in a moment.")
    else:
        yield from _findings(protocol)


def _read(text: str) -> Iterator[Paragraph]:
    """Yield Markdown as paragraphs: headings, lists, tables row by row, blocks as they stand."""
    fenced, held = False, ""
    for line in [*text.splitlines(), ""]:
        if line.startswith(_FENCE):
            fenced = not fenced
        elif fenced:
            yield Paragraph(line or " ", 1, Role.LEGEND, fixed=True)
        elif held and (not line.strip() or line.startswith(("- ", "#", "|")) or _IMAGE.match(line)):
            yield _paragraph(held)
            held = ""
        if fenced or line.startswith(_FENCE) or _IMAGE.match(line) or re.fullmatch(r"\|[-| ]+\|", line):
            continue
        if line.startswith("#"):
            yield Paragraph(line.lstrip("# "), heading=True)
        elif line.startswith("|"):
            cells = [cell.strip() for cell in line.strip("|").split(" | ")]
            if cells[0].startswith("`"):
                yield Paragraph(cells[0], role=Role.TEXT, heading=True)
                yield Paragraph(_plain(" ".join(cells[1:])))
        elif line.strip():
            held = f"{held} {line.strip()}".strip()


def _paragraph(text: str) -> Paragraph:
    if text.startswith("- "):
        return Paragraph(_plain(text[2:]), mark="·")
    return Paragraph(_plain(text))


def _plain(text: str) -> str:
    return _MARKS.sub("", text)


def _skeletal_age(rule: FindingRule, protocol: Protocol) -> Iterator[Paragraph]:
    low, high = rule.plausible or (0, 0)
    ways = "; ".join(f"{one.id} ({one.label})" for one in protocol.skeletal_methods)
    yield Paragraph(rule.id, heading=True)
    yield Paragraph(
        f"{rule.label[:1].upper()}{rule.label[1:]}: {low:g} to {high:g} years, beside the date of its visit; how it "
        f"was read as skeletal_age_method: {ways}. A stage may stand in its place: skeletal_stage."
    )


def _findings(protocol: Protocol) -> Iterator[Paragraph]:
    yield Paragraph(title(FINDINGS), heading=True)
    yield Paragraph("What a case file or the follow-up may hold; the unit stands in the name.")
    for rule in protocol.findings:
        if rule.id == SKELETAL_AGE:
            yield from _skeletal_age(rule, protocol)
        if rule.derived:
            continue
        unit = UNITS[rule.unit].asked
        if rule.kind == "number" and rule.plausible is not None:
            takes = f"{rule.plausible[0]:g} to {rule.plausible[1]:g}{f' {unit}' if unit else ''}"
        else:
            takes = "true or false" if rule.kind == "flag" else " | ".join(rule.choices)
        valid = "" if rule.valid_months is None else f" Asked again after {rule.valid_months} months."
        yield Paragraph(rule.id, heading=True)
        yield Paragraph(f"{rule.label[:1].upper()}{rule.label[1:]}: {takes}. {rule.how.rstrip('.')}.{valid}")
