"""Pictures as data: spans of text with a meaning, laid out on a grid of cells; no colour, no screen.

A view maps each `Role` to a style; printed text needs none. `Picture.alt` says the picture in sentences.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum


class Role(StrEnum):
    """What a cell means; a view decides how it looks."""

    BLANK = "blank"
    TEXT = "text"
    AXIS = "axis"
    LANE_LABEL = "lane_label"
    LABEL = "label"
    LEGEND = "legend"
    STAGE_DONE = "stage_done"
    STAGE_UNDER_WAY = "stage_under_way"
    STAGE_READY = "stage_ready"
    STAGE_LATER = "stage_later"
    STAGE_BLOCKED = "stage_blocked"
    STAGE_OPTIONAL = "stage_optional"
    WINDOW = "window"
    LAST_DAY = "last_day"
    MEDIAN = "median"
    MEDIAN_NATURAL = "median_natural"
    BAND50 = "band50"
    BAND90 = "band90"
    MEASURED = "measured"
    GOAL = "goal"
    TODAY = "today"
    EDGE = "edge"


Link = tuple[str, str]
"""An edge of the stage graph: the ids of the earlier and of the later stage."""


def stage_role(status: str) -> Role:
    """Return the role of a stage's cells; raises ValueError for a status that plans do not have."""
    return Role(f"stage_{status}")


@dataclass(frozen=True, slots=True)
class Span:
    """Text of one meaning in one row; `ground` is the meaning of what lies behind it.

    `target` is the stage it stands for; `links` are the edges of the graph that run through it.
    """

    row: int
    column: int
    text: str
    role: Role
    target: str | None = None
    ground: Role | None = None
    links: tuple[Link, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """A finished picture of `width` by `height` cells; cells that no span covers are blank."""

    width: int
    height: int
    spans: tuple[Span, ...]
    alt: str

    @property
    def text(self) -> str:
        """Return the picture as lines of text, blanks at the ends of lines removed."""
        rows = [[" "] * self.width for _ in range(self.height)]
        for span in self.spans:
            rows[span.row][span.column : span.column + len(span.text)] = span.text
        return "\n".join("".join(row).rstrip() for row in rows)

    def target_at(self, row: int, column: int) -> str | None:
        """Return the stage that the cell stands for, or None."""
        for span in self.spans:
            if span.row == row and span.column <= column < span.column + len(span.text) and span.target:
                return span.target
        return None


@dataclass(frozen=True, slots=True)
class Axis:
    """The age axis that lanes and curve share: ages in years against columns of cells."""

    from_age: float
    to_age: float
    left: int
    right: int

    def place(self, age: float) -> float:
        """Return where an age lies, in cells from the left edge of the picture (not clipped)."""
        share = (age - self.from_age) / (self.to_age - self.from_age)
        return self.left + share * (self.right - self.left)

    def column(self, age: float) -> int:
        """Return the column of an age, held inside the axis."""
        return max(self.left, min(self.right - 1, int(self.place(age))))

    def age(self, column: float) -> float:
        """Return the age at a place in cells, held inside the axis."""
        share = (column - self.left) / (self.right - self.left)
        return self.from_age + max(0.0, min(1.0, share)) * (self.to_age - self.from_age)


@dataclass(slots=True)
class Cell:
    """One cell while a picture is drawn."""

    glyph: str = " "
    role: Role = Role.BLANK
    target: str | None = None
    ground: Role | None = None
    links: tuple[Link, ...] = ()

    @property
    def meaning(self) -> tuple[Role, str | None, Role | None, tuple[Link, ...]]:
        """Return all but the glyph: neighbours with equal meaning form a span."""
        return self.role, self.target, self.ground, self.links


class Canvas:
    """A grid to draw on; what falls outside is dropped."""

    def __init__(self, width: int, height: int) -> None:
        self.width, self.height = width, height
        self._rows = [[Cell() for _ in range(width)] for _ in range(height)]

    def cell(self, row: int, column: int) -> Cell | None:
        """Return the cell, or None outside the grid."""
        if 0 <= row < self.height and 0 <= column < self.width:
            return self._rows[row][column]
        return None

    def put(self, row: int, column: int, text: str, role: Role, target: str | None = None) -> None:
        """Write text over whatever stands there; the ground stays."""
        for offset, glyph in enumerate(text):
            cell = self.cell(row, column + offset)
            if cell is not None:
                cell.glyph, cell.role, cell.target = glyph, role, target

    def lay_behind(self, row: int, column: int, ground: Role) -> None:
        """Lay a ground behind one cell; what is written there stays."""
        cell = self.cell(row, column)
        if cell is not None:
            cell.ground = ground

    def put_if_blank(self, row: int, column: int, glyph: str, role: Role, target: str | None = None) -> None:
        """Write one glyph where nothing was written yet, not even a blank between two words."""
        cell = self.cell(row, column)
        if cell is not None and cell.glyph == " " and cell.role is Role.BLANK:
            cell.glyph, cell.role, cell.target = glyph, role, target

    def is_free(self, row: int, start: int, end: int) -> bool:
        """Return whether the cells from `start` up to `end` are on the grid, blank and without ground."""
        cells = [self.cell(row, column) for column in range(start, end)]
        return all(cell is not None and cell.glyph == " " and cell.ground is None for cell in cells)

    def is_wordless(self, row: int, start: int, end: int) -> bool:
        """Return whether the cells from `start` up to `end` are on the grid and hold no letter or digit."""
        cells = [self.cell(row, column) for column in range(start, end)]
        return all(cell is not None and not cell.glyph.isalnum() for cell in cells)

    def picture(self, alt: str) -> Picture:
        """Return the finished picture with its text alternative."""
        spans = (span for row in range(self.height) for span in self._spans(row))
        return Picture(self.width, self.height, tuple(spans), alt)

    def _spans(self, row: int) -> Iterator[Span]:
        cells = self._rows[row]
        start = 0
        for column in range(1, self.width + 1):
            if column < self.width and cells[column].meaning == cells[start].meaning:
                continue
            first = cells[start]
            text = "".join(cell.glyph for cell in cells[start:column])
            if text.strip() or first.ground is not None or first.target is not None:
                yield Span(row, start, text, first.role, first.target, first.ground, first.links)
            start = column
