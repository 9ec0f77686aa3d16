"""A document as data: what stands in it and in which order. HTML, PDF and Markdown are made from it alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pathway.views.drawings.drawing import Drawing

Tone = Literal["plain", "lead", "small"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of level 2 or 3; the title of the document is level 1.

    `whole`: what follows, up to the next heading of this level or above, stays on one page of paper.
    """

    text: str
    level: Literal[2, 3] = 2
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class Bullets:
    """Short sentences in no order, or numbered by what they are cited as. `columns` is how many may stand abreast.

    `feet` are small words behind each sentence, such as where it comes from; () for none.
    """

    items: tuple[str, ...]
    numbers: tuple[int, ...] = ()
    small: bool = False
    columns: int = 1
    feet: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, ...]:
        """Return each sentence with its foot, as one text."""
        feet = self.feet or ("",) * len(self.items)
        return tuple(f"{item} {foot}".rstrip() for item, foot in zip(self.items, feet, strict=True))


@dataclass(frozen=True, slots=True)
class Callout:
    """What must not be overlooked: the caution, or that the child is invented."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawing at page width and the same for a phone; the drawing carries its own words for who cannot see it.

    `life_size`: a mm of the drawing is a mm on paper, whatever the page's width.
    """

    wide: Drawing
    narrow: Drawing
    caption: str = ""
    life_size: bool = False


@dataclass(frozen=True, slots=True)
class Readings:
    """Numbers to be read from afar: label, value in large type, and small words below it, such as its range."""

    readings: tuple[tuple[str, str, str], ...]
    columns: int = 4


@dataclass(frozen=True, slots=True)
class Table:
    """A table whose first column names the row. `shares` are the widths of the columns in relation."""

    name: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shares: tuple[int, ...]
    numbers_from: int = 99
    strong_row: int | None = None


@dataclass(frozen=True, slots=True)
class Card:
    """One step or choice: its number, its name, when it comes, and facts as pairs of label and text.

    `stage` is the first stage that it speaks of, "" for none.
    """

    number: str
    title: str
    when: str
    facts: tuple[tuple[str, str], ...]
    foot: str = ""
    stage: str = ""


@dataclass(frozen=True, slots=True)
class Facts:
    """Pairs of a label, or a question, and its text."""

    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Lines:
    """Empty lines to write on, on paper."""

    label: str
    count: int


Block = Heading | Paragraph | Bullets | Callout | Figure | Readings | Table | Card | Facts | Lines


@dataclass(frozen=True, slots=True)
class Document:
    """A whole document. `dense` is the one-page form of the team; `footer` stands under every page.

    `language` and `direction` are those of its words: as its file is named; left to right or right to left.
    """

    title: str
    subtitle: str
    language: str
    footer: str
    blocks: tuple[Block, ...]
    dense: bool = False
    direction: Literal["ltr", "rtl"] = "ltr"
