"""The documents of the example children, each made once a run."""

from __future__ import annotations

import re
import shutil
import subprocess
from functools import cache
from pathlib import Path

import pytest

from pathway.views.documents.document import (
    Block,
    Bullets,
    Callout,
    Card,
    Document,
    Facts,
    Heading,
    Lines,
    Paragraph,
    Table,
)
from pathway.views.documents.files import html, markdown, pdf
from pathway.views.documents.handout import handout, two_minutes
from pathway.views.documents.summary import summary
from pathway.views.family.story import story_of
from pathway.views.words.wording import wording
from tests.plans import plan, rules


@cache
def family(name: str) -> Document:
    return handout(plan(name), wording(), rules())


@cache
def team(name: str) -> Document:
    first = two_minutes(story_of(plan(name), rules()), wording())
    return summary(plan(name), {rule.id: rule.label for rule in rules().findings}, family=first)


@cache
def family_pdf(name: str, paper: str = "a4") -> bytes:
    return pdf(family(name), paper)  # type: ignore[arg-type]


@cache
def team_pdf(name: str, paper: str = "a4") -> bytes:
    return pdf(team(name), paper)  # type: ignore[arg-type]


@cache
def family_html(name: str) -> str:
    return html(family(name))


@cache
def team_html(name: str) -> str:
    return html(team(name))


@cache
def team_markdown(name: str) -> str:
    return markdown(team(name))


def texts(block: Block) -> tuple[str, ...]:
    """Every text of a block that is not in a drawing."""
    match block:
        case Heading(text) | Paragraph(text):
            return (text,)
        case Bullets(items, feet=feet):
            return (*items, *feet)
        case Callout(title, lines):
            return (title, *lines)
        case Table(head=head, rows=rows):
            return (*head, *(cell for row in rows for cell in row))
        case Card(number, title, when, facts, foot):
            return (number, title, when, *(part for fact in facts for part in fact), foot)
        case Facts(facts):
            return tuple(part for fact in facts for part in fact)
        case Lines(label):
            return (label,)
    return ()


def words_of(document: Document) -> str:
    return "\n".join(text for block in document.blocks for text in texts(block))


def squeezed(text: str) -> str:
    """Text without white space and hyphens: lines may break anywhere."""
    return re.sub(r"[\s\-\u00ad\u00a0]+", "", text)


def need(program: str) -> str:
    found = shutil.which(program)
    if found is None:
        pytest.skip(f"{program} is not installed here")
    return found


def run(program: str, *arguments: str | Path) -> str:
    done = subprocess.run([need(program), *map(str, arguments)], capture_output=True, check=True)
    return done.stdout.decode("utf-8")
