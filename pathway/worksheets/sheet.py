"""What a worksheet is made of: inputs with their origin, worked-out lines and tables, warnings, drawings."""

from __future__ import annotations

import datetime
from typing import Literal

from pydantic import Field

from pathway.problems import Refused, refused
from pathway.record import Frozen

Kind = Literal["axis", "osteotomy", "lengthening", "growth-arrest", "guided-growth", "lift"]
InputValue = float | str | bool | datetime.date | tuple[float, ...] | None
Cell = str | int | float | datetime.date | None
Origin = Literal["visit", "record", "protocol", "by_hand", "plan", "none"]
CHECK_THE_RADIOGRAPH = "Check every number against the radiograph before it is used."


def problem(kind: str, name: str, found: str, expected: str, remedy: str) -> Refused:
    """Return the refusal of one input of a worksheet, to be raised."""
    return refused(f"worksheet {kind}", found, expected, remedy, key=name)


class Input(Frozen):
    """A number or choice that the worksheet starts from, and where it came from.

    `kind` says how text from the command line is read: a list is written `120,130`, a text as `written` says, by its
    sheet. `plausible` (in `unit`) is what a hand-set value must lie in; a list is judged item by item. `origin` is the
    visit (`measured_on`, `method`), what the record says of the child, the protocol's default (`sources`), the plan, or
    the hand; `none` where nothing is known yet. `note` says anything the
    reader must know of it (out of date, assumed); `local` that the default is the clinic's own. `stands_in` is the
    label of the input whose value is taken where this one is not known. An input that is not `settable` stays as it is.
    """

    name: str
    label: str
    value: InputValue = None
    unit: str = ""
    kind: Literal["number", "whole", "choice", "day", "list", "flag", "text"] = "number"
    plausible: tuple[float, float] | None = None
    choices: tuple[str, ...] = ()
    written: str = ""
    origin: Origin = "none"
    measured_on: datetime.date | None = None
    method: str = ""
    sources: tuple[str, ...] = ()
    note: str = ""
    local: bool = False
    stands_in: str = ""
    settable: bool = True
    optional: bool = False


class Line(Frozen):
    """One worked-out number or word: `value` in `unit`, `spread` (low, high) where it is uncertain.

    `places` are the decimals shown. `strong` marks the lines a surgeon looks for first.
    """

    label: str
    value: Cell
    unit: str = ""
    spread: tuple[Cell, Cell] | None = None
    note: str = ""
    sources: tuple[str, ...] = ()
    places: int = 0
    strong: bool = False


class Column(Frozen):
    """A column of a table: its heading, unit and how many decimals its numbers are shown with."""

    title: str
    unit: str = ""
    places: int = 0


class Table(Frozen):
    """A table with a title; `marked` are the numbers of the rows that stand out (first row 0)."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""
    sources: tuple[str, ...] = ()
    marked: tuple[int, ...] = ()


class Section(Frozen):
    """A part of the sheet: words first, then lines, then tables."""

    title: str
    words: tuple[str, ...] = ()
    lines: tuple[Line, ...] = ()
    tables: tuple[Table, ...] = ()


class Warning(Frozen):
    """A sentence that must not be overlooked; `rule` is the protocol's rule that speaks, where one does.

    `stop` warnings say that the numbers are outside the protocol; the others ask for care.
    """

    text: str
    rule: str = ""
    sources: tuple[str, ...] = ()
    stop: bool = False


class Shape(Frozen):
    """A polyline of a drawing: points (x, y) in mm, and what it stands for (`bone`, `cut`, `axis`, `wedge` …)."""

    role: str
    points: tuple[tuple[float, float], ...] = Field(min_length=1)
    closed: bool = False
    dashed: bool = False


class Mark(Frozen):
    """Words at a point of a drawing (mm)."""

    text: str
    at: tuple[float, float]
    anchor: Literal["start", "middle", "end"] = "start"


class Drawing(Frozen):
    """A schematic in mm: x to the viewer's right, y upwards; views turn it into SVG or characters.

    `alternative` says in words what is to be seen.
    """

    title: str
    shapes: tuple[Shape, ...]
    marks: tuple[Mark, ...] = ()
    alternative: str


class SheetSource(Frozen):
    """A source that the sheet cites."""

    id: str
    citation: str
    address: str = ""
    seen: str = ""


class NumberRange(Frozen):
    """Between which values a number lies, with the errors of measuring and of the hand (95 of 100)."""

    low: float
    high: float


class SheetNumbers(Frozen):
    """Signed numbers by name, null where not known; ranges of those that have one; why the plan is refused.

    Of the osteotomy: frame of the shaft before the cut, origin where the axes of neck and shaft cross, inward (medial),
    forward, upward along the shaft, alike for both sides. Varus, flexion and retroversion are negative, rotation turns
    the distal piece inward, shift goes outward. `total_axis` is the axis of the whole turn of the distal piece in the
    body by the right hand, along inward, forward and upward: for the other side it is the negative.

    Of the axis: turns of varus (on a side film recurvatum) positive, the mechanical axis positive lateral of the knee,
    levels along the bone from the knee.
    """

    numbers: dict[str, float | tuple[float, float, float] | None]
    ranges: dict[str, NumberRange]
    refused: tuple[str, ...]


class Sheet(Frozen):
    """A worksheet made for one child on one day. What `worksheet --json` prints.

    `stage` is the plan's stage that it was opened for (`femoral_lengthening_2`), None where it stands by itself.
    `numbers`, `ranges` and `refused` are those of `SheetNumbers`, None for a sheet without such numbers.
    `cautions` are the protocol's, head first, and that every number is checked against the radiograph.
    """

    kind: Kind
    title: str
    child: str
    side: str
    on: datetime.date
    stage: str | None = None
    inputs: tuple[Input, ...]
    numbers: dict[str, float | tuple[float, float, float] | None] | None = None
    ranges: dict[str, NumberRange] | None = None
    refused: tuple[str, ...] | None = None
    sections: tuple[Section, ...]
    warnings: tuple[Warning, ...] = ()
    drawings: tuple[Drawing, ...] = ()
    cautions: tuple[str, ...]
    sources: tuple[SheetSource, ...]

    def section(self, title: str) -> Section:
        """Return a section by its title; raises KeyError when there is none."""
        for section in self.sections:
            if section.title == title:
                return section
        raise KeyError(title)

    def line(self, label: str) -> Line:
        """Return the first line with this label; raises KeyError when there is none."""
        for section in self.sections:
            for line in section.lines:
                if line.label == label:
                    return line
        raise KeyError(label)

    def input(self, name: str) -> Input:
        """Return an input by its name; raises KeyError when there is none."""
        for item in self.inputs:
            if item.name == name:
                return item
        raise KeyError(name)
