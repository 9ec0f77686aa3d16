"""The family's document as plain text: the same sentences for the terminal, the family screen and other programs."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass

from pathway.plan.model import Plan
from pathway.protocol.model import Protocol
from pathway.views.data.shapes import FamilyPart, FamilyPrinted
from pathway.views.documents.document import Block, Bullets, Callout, Card, Facts, Heading, Paragraph, Table
from pathway.views.documents.handout import handout
from pathway.views.words.family_terms import caution_of
from pathway.views.words.wording import Wording


@dataclass(frozen=True, slots=True)
class Part:
    """A heading with its sentences; `stage` is the stage it speaks of, "" where it speaks of none."""

    heading: str
    sentences: tuple[str, ...]
    stage: str = ""


def family_parts(plan: Plan, words: Wording, protocol: Protocol) -> tuple[Part, ...]:
    """Return the story of a plan whose courses are compared, part by part, without its pictures."""
    return tuple(_parts(handout(plan, words, protocol).blocks, words))


def family_text(plan: Plan, words: Wording, protocol: Protocol, width: int = 72) -> str:
    """Return the same as text of at most `width` columns, with room between the parts."""
    document = handout(plan, words, protocol)
    lines = [document.title, *textwrap.wrap(document.subtitle, width), ""]
    for block in document.blocks:
        if isinstance(block, Heading):
            break
        for sentence in _sentences(block, words):
            lines += textwrap.wrap(sentence, width)
    for part in _parts(document.blocks, words):
        lines += ["", "", *textwrap.wrap(part.heading, width), ""]
        for sentence in part.sentences:
            lines += textwrap.wrap(sentence, width - 2, initial_indent="  ", subsequent_indent="  ")
    return "\n".join(lines) + "\n"


def family_data(plan: Plan, words: Wording, protocol: Protocol) -> FamilyPrinted:
    """Return the same as data for other programs."""
    parts = tuple(
        FamilyPart(heading=part.heading, sentences=part.sentences, stage=part.stage or None)
        for part in family_parts(plan, words, protocol)
    )
    return FamilyPrinted(
        child=plan.child.id, on=plan.on, language=words.language, parts=parts, caution=caution_of(plan, words)
    )


def _parts(blocks: tuple[Block, ...], words: Wording) -> Iterator[Part]:
    """Yield a part for each heading and card with what stands below it; pictures and empty lines are left out."""
    heading, stage, lines = "", "", list[str]()
    for block in blocks:
        if isinstance(block, Heading | Card):
            if heading and lines:
                yield Part(heading, tuple(lines), stage)
            if isinstance(block, Heading):
                heading, stage, lines = block.text, "", []
            else:
                when = f": {block.when}" if block.when else ""
                heading, stage = f"{block.number} {block.title}{when}", block.stage
                lines = [f"{label}: {text}" for label, text in block.facts]
        elif heading:
            lines += _sentences(block, words)
    if heading and lines:
        yield Part(heading, tuple(lines), stage)


def _sentences(block: Block, words: Wording) -> Iterator[str]:
    match block:
        case Paragraph(text):
            if text:
                yield text
        case Bullets(items=items, numbers=numbers):
            yield from (f"{n}. {text}" for n, text in zip(numbers, items, strict=True)) if numbers else items
        case Facts(facts):
            yield from (f"{label}: {text}" if label[-1:] != "?" else f"{label} {text}" for label, text in facts)
        case Table(head=head, rows=rows):
            for row in rows:
                cells = [_cell(words.inner(name), cell) for name, cell in zip(head[1:], row[1:], strict=True) if cell]
                yield f"{row[0]}: {', '.join(cells)}."
        case Callout(title, texts):
            yield from (title, *texts) if title else texts
        case _:
            pass


def _cell(name: str, cell: str) -> str:
    """Return a cell after the name of its column; a colon keeps two numbers apart."""
    return f"{name}: {cell}" if name[-1:].isdigit() else f"{name} {cell}"
