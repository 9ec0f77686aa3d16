"""The rows of a table, cell by cell: who, when, and what was measured, each value with the cell that it stands in."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from pathway.plain_text import PSEUDONYM, hidden_in, pseudonym_of
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.units import NEEDS_UNIT, WRITTEN
from pathway.record import Value, WhyMissing
from pathway.tables.columns import CHILD_ID, columns_of
from pathway.tables.faults import Place, TableFault
from pathway.tables.grid import Cell, Grid, Row, Unreadable, is_blank, text_of
from pathway.tables.guess import column_of, finding_phrases
from pathway.tables.headings import headings_of, width_of
from pathway.tables.mapping import CARD, Column, Role, TableMapping
from pathway.tables.ranges import out_of_range
from pathway.tables.values import CellFault, Quantity, day_of, in_unit, quantity_of
from pathway.tables.vocabulary import Vocabulary
from pathway.tables.words import MISSING, NOTHING, SUMS, YES_NO, folded

SKELETAL_AGE = "skeletal_age_years"


@dataclass(frozen=True, slots=True)
class Item:
    """One finding of one day as the table says it; `side` may be the affected or the other one.

    `missing` is why there is no value. `method` is None where neither cell, column nor mapping name one.
    """

    day: datetime.date
    finding: str
    side: str | None
    value: Value | None
    missing: WhyMissing | None
    method: str | None
    place: Place


@dataclass
class ChildRows:
    """All that the rows of one child say: of the child itself by role, and of its days."""

    child: str
    written: str
    rows: list[int] = field(default_factory=list)
    card: dict[Role, list[tuple[str | datetime.date, Place]]] = field(default_factory=dict)
    items: list[Item] = field(default_factory=list)
    visit_methods: dict[datetime.date, str] = field(default_factory=dict)
    days: dict[datetime.date, Place] = field(default_factory=dict)


@dataclass
class TableRows:
    """The rows of a table by child, every fault, what says nothing, and what to know of rows."""

    children: dict[str, ChildRows] = field(default_factory=dict)
    faults: list[TableFault] = field(default_factory=list)
    nothing: int = 0
    rows: int = 0
    remarks: list[str] = field(default_factory=list)
    whole: bool = True
    """Whether every column of the mapping could be read: else no child is known in full."""


def rows_of(grid: Grid, mapping: TableMapping, protocol: Protocol, words: Vocabulary) -> TableRows:
    """Return what the rows of a table say; the words of cells are looked up in `words`."""
    reader = _Reader(grid, mapping, protocol, words)
    if not reader.columns.elsewhere:
        reader.read()
    return reader.out


class _Reader:
    def __init__(self, grid: Grid, mapping: TableMapping, protocol: Protocol, words: Vocabulary) -> None:
        self.grid, self.mapping, self.protocol, self.words = grid, mapping, protocol, words
        self.out = TableRows()
        self.phrases = finding_phrases(protocol)
        self.headings = headings_of(grid, mapping.heading_rows)
        self.rules: Mapping[str, FindingRule] = {rule.id: rule for rule in protocol.findings}
        self.above: dict[str, Cell] = {}
        self.columns = columns_of(grid, mapping)
        self.out.faults += self.columns.faults
        self.out.whole = not self.columns.faults
        self.under = None if grid.sheet is not None else width_of(grid, mapping.heading_rows)

    def read(self) -> None:
        for row in self.grid.rows:
            if row.number > self.mapping.heading_rows[-1] and not all(is_blank(cell) for cell in row.cells):
                if sums := self._sums(row):
                    self.out.remarks.append(f'Row {row.number} ("{sums}") sums up the rows above it: it is not read.')
                    continue
                self.out.rows += 1
                self._row(row)

    def _sums(self, row: Row) -> str:
        """Return the word by which a row says that it is no child's, "" where there is none."""
        first = next(cell for cell in row.cells if not is_blank(cell))
        named = [cell for heading, cell in zip(self.headings, row.cells, strict=False) if heading in self._of("child")]
        return next((text_of(cell) for cell in (first, *named) if folded(text_of(cell)) in SUMS), "")

    def _fits(self, row: Row) -> bool:
        """Return whether the cells of a row stand under headings; a text file whose rows are too long has slipped."""
        if self.under is None:
            return True
        more = [at for at, cell in enumerate(row.cells) if at >= self.under and not is_blank(cell)]
        if more and not any(self.headings[at] in self.mapping.columns for at in more):
            do = "look for a comma or semicolon within a cell, and put that cell in quotation marks"
            expected = f"{self.under}, one under each heading"
            self._wrong(row.number, "", f"{more[-1] + 1} cells", expected, do)
            return False
        if len(row.cells) < self.under:
            cells = "1 cell" if len(row.cells) == 1 else f"{len(row.cells)} cells"
            self.out.remarks.append(
                f"Row {row.number} has {cells}, the headings {self.under}: what is missing is taken as empty."
            )
        return True

    def _of(self, role: Role) -> tuple[str, ...]:
        return self.columns.of(role)

    def _row(self, row: Row) -> None:
        cells = self._cells(row)
        before = len(self.out.faults)
        child = self._child(row.number, cells) if self._of("child") else None
        if not self._fits(row):
            name = "" if child is None else child.child
            self.out.faults[before:] = [replace(one, child=name) for one in self.out.faults[before:]]
            return
        day = self._day(row.number, "date", cells)
        items = self._long(row.number, cells, day) if self.mapping.long else self._wide(row.number, cells, day)
        date = next(iter(self._of("date")), None)
        if items and day is None and date is not None and len(self.out.faults) == before:
            self._wrong(row.number, date, "nothing", "the day of the visit", "fill it in")
        card = {role: self._card(row.number, role, cells) for role in CARD if self._of(role)}
        if child is None:
            return
        self.out.faults[before:] = [replace(one, child=child.child) for one in self.out.faults[before:]]
        child.rows.append(row.number)
        child.items += items
        if day is not None and date is not None:
            child.days.setdefault(day, Place(row.number, date, text_of(cells.get(date))))
        for role, said in card.items():
            if said is not None:
                child.card.setdefault(role, []).append(said)
        method = self._word(row.number, "visit_method", "methods", cells)
        if method is not None and day is not None:
            child.visit_methods.setdefault(day, method)

    def _cells(self, row: Row) -> dict[str, Cell]:
        """Return the cells by heading, plain and filled down where the mapping says so."""
        cells: dict[str, Cell] = {}
        for at, heading in enumerate(self.headings):
            cell = row.cell(at)
            if heading in self.mapping.fill_down:
                cell = self.above.get(heading) if is_blank(cell) else cell
                self.above[heading] = cell
            column = self.columns.readable.get(heading)
            if column is None or column.role == "skip":
                continue
            hidden = hidden_in(cell) if isinstance(cell, str) else None
            if hidden is not None:
                found = f"a character that nobody sees ({hidden[1]})"
                self._wrong(row.number, heading, found, "plain text", "remove it")
                cell = None
            if isinstance(cell, str) and cell.strip().lower() in NOTHING and cell.strip() not in self._own(column):
                self.out.nothing += 1
                cell = None
            cells[heading] = None if is_blank(cell) else cell
        return cells

    def _own(self, column: Column) -> Mapping[str, object]:
        """Return the words of the mapping in which a cell such as `-` may have a meaning after all."""
        return self.mapping.words.get("values", {}) if column.role in ("measured", "value", "category") else {}

    def _at(self, role: Role, cells: Mapping[str, Cell]) -> tuple[str, Cell]:
        heading = next(iter(self._of(role)), "")
        return heading, cells.get(heading)

    def _child(self, row: int, cells: Mapping[str, Cell]) -> ChildRows | None:
        heading, cell = self._at("child", cells)
        written = text_of(cell)
        name = pseudonym_of(written)
        if isinstance(cell, Unreadable) or not PSEUDONYM.fullmatch(name):
            do = f'fill it in, or say `fill_down = ["{heading}"]` in the mapping where it means the one above'
            if cell is None:
                self._wrong(row, heading, "nothing", CHILD_ID, do)
            else:
                expected = "a pseudonym of letters a to z, digits and hyphens"
                self._wrong(row, heading, f'"{written}"', expected, "use a pseudonym, never a name")
            return None
        known = self.out.children.setdefault(name, ChildRows(name, written))
        if known.written != written:
            found, expected = f'"{written}"', f'one way of writing it: "{known.written}" stands in row {known.rows[0]}'
            self._wrong(row, heading, found, expected, "write both alike where they are the same child")
            return None
        return known

    def _day(self, row: int, role: Role, cells: Mapping[str, Cell]) -> datetime.date | None:
        heading, cell = self._at(role, cells)
        if cell is None:
            return None
        day = day_of(cell, self.mapping.date_order)
        if isinstance(day, CellFault):
            self._fault(row, heading, cell, day)
            return None
        return day

    def _card(self, row: int, role: Role, cells: Mapping[str, Cell]) -> tuple[str | datetime.date, Place] | None:
        heading, cell = self._at(role, cells)
        tables = {"sex": "sexes", "affected_side": "sides", "diagnosis": "diagnoses"}
        said: str | datetime.date | None
        if role == "birth_date":
            said = self._day(row, role, cells)
        elif role in tables:
            said = self._word(row, role, tables[role], cells)
        else:
            said = text_of(cell) or None
        return None if said is None or said == "" else (said, Place(row, heading, text_of(cell)))

    def _word(self, row: int, role: Role, table: str, cells: Mapping[str, Cell]) -> str | None:
        """Return what a word of a row stands for, None where there is none, "" where nobody knows it, which is told."""
        if self.mapping.of(role) and not self._of(role):
            return ""  # its column is told already
        heading, cell = self._at(role, cells)
        return None if cell is None else self._meant(row, heading, cell, table) or ""

    def _meant(self, row: int, heading: str, cell: Cell, table: str) -> str | None:
        meant = None if isinstance(cell, Unreadable) else self.words.meant(table, text_of(cell))
        if meant is None:
            options, text = self.words.options(table), text_of(cell)
            self._unknown(row, heading, text, self.words.own(table, text), options, f"words.{table}")
        return meant

    def _wide(self, row: int, cells: Mapping[str, Cell], day: datetime.date | None) -> list[Item]:
        side = self._word(row, "side", "sides", cells)
        method = self._word(row, "method", "methods", cells)
        usual = self.mapping.method if method is None else method
        read_by = self._word(row, "skeletal_method", "skeletal_methods", cells)
        items = []
        for heading, cell in cells.items():
            column = self.columns.readable[heading]
            if column.role == "measured" and cell is not None:
                own = read_by if column.finding == SKELETAL_AGE else usual
                own = column.method or own
                item = self._item(row, heading, cell, day, column, column.side or side, column.unit, own)
                items += [item] if item is not None else []
        return items

    def _long(self, row: int, cells: Mapping[str, Cell], day: datetime.date | None) -> list[Item]:
        valued: tuple[Role, ...] = ("value", "category", "not_measured")
        given = [(heading, cell) for heading, cell in (self._at(role, cells) for role in valued) if cell is not None]
        heading, cell = self._at("finding", cells)
        if not given or not self._of("finding"):
            return []
        if cell is None:
            self._wrong(row, heading, "nothing", "what was measured", "fill it in")
            return []
        if len(given) > 1:
            self._wrong(row, given[1][0], f'"{text_of(given[1][1])}"', "one value a row", "remove one of the two")
            return []
        column = self._finding(row, heading, cell, given[0][1])
        if column is None:
            return []
        side = self._word(row, "side", "sides", cells) or column.side
        unit = text_of(self._at("unit", cells)[1]) or column.unit
        table = "skeletal_methods" if column.finding == SKELETAL_AGE else "methods"
        method = self._word(row, "method", table, cells)
        if method is None and column.finding != SKELETAL_AGE:
            method = self.mapping.method
        item = self._item(row, given[0][0], given[0][1], day, column, side, unit or None, method)
        return [] if item is None else [item]

    def _finding(self, row: int, heading: str, cell: Cell, value: Cell) -> Column | None:
        text = text_of(cell)
        own = self.words.own("findings", text)
        if own is not None and own in self.rules:
            return Column(role="measured", finding=own)
        column = Column(role="measured", finding=text) if text in self.rules else None
        column = column or column_of(text, [value], self.phrases, self.protocol)
        if own is not None or column is None or column.role != "measured":
            expected = "a finding of the rules (`limb-pathway manual findings` names them)"
            self._unknown(row, heading, text, own, expected, "words.findings")
            return None
        self.words.tell("findings", text, column.finding)
        return column

    def _item(
        self,
        row: int,
        heading: str,
        cell: Cell,
        day: datetime.date | None,
        column: Column,
        side: str | None,
        unit: str | None,
        method: str | None,
    ) -> Item | None:
        rule = self.rules[column.finding]
        if rule.of == "child" and side is not None and column.side is None and self.mapping.long:
            self._wrong(row, heading, f"the {side} side", f"no side: {rule.label} is of the whole child", "remove it")
            return None
        if rule.of == "limb" and side not in ("left", "right", "affected", "other", ""):
            expected = "left, right, affected or other"
            self._wrong(row, heading, f"{rule.label} without its side", expected, self._name_side(heading, column))
            return None
        why = MISSING.get(folded(text_of(cell)))
        value = None if why is not None else self._value(row, heading, cell, rule, unit)
        if why is None and value is None:
            return None
        if method is None and why is None and column.finding != SKELETAL_AGE:
            do = "add a column with the method, or say it with --method, or in the mapping"
            self._wrong(row, heading, "a value without how it was measured", "a method", do)
            return None
        place = Place(row, heading, text_of(cell))
        if day is None:
            return Item(datetime.date.min, rule.id, side, value, why, method, place)  # type: ignore[arg-type]
        of_child = None if rule.of == "child" else side
        return Item(day, rule.id, of_child, value, why, method, place)  # type: ignore[arg-type]

    def _name_side(self, heading: str, column: Column) -> str:
        """Return what to do about a finding of a limb without its side."""
        if self.mapping.long:
            named = next(iter(self._of("side")), None)
            where = '`"its heading" = "side"`' if named is None else f'"{named}"'
            return f"fill in the column of sides ({where}); affected is the treated leg, other the other one"
        unit = "" if column.unit is None else f', unit = "{column.unit}"'
        line = f'"{heading}" = {{ finding = "{column.finding}", side = "affected"{unit} }}'
        do = "name it in the heading, in a column of sides, or in the mapping"
        return f"{do}: `{line}` for the treated leg, `other` for the other one"

    def _value(self, row: int, heading: str, cell: Cell, rule: FindingRule, unit: str | None) -> Value | None:
        own = self.mapping.words.get("values", {}).get(text_of(cell))
        if isinstance(cell, Unreadable):
            self._wrong(row, heading, cell.found, f"a value of {rule.label}", cell.do)
            return None
        if rule.kind == "number":
            return self._number(row, heading, cell if own is None else str(own), rule, unit)
        if rule.kind == "flag":
            said = own if own is not None else cell if isinstance(cell, bool) else YES_NO.get(folded(text_of(cell)))
            if isinstance(said, bool):
                return said
            expected = "yes or no"
        else:
            text = folded(text_of(cell) if own is None else str(own))
            for choice in rule.choices:
                if folded(choice) == text or (isinstance(cell, bool) and YES_NO.get(choice) is cell):
                    return choice
            expected = f"{', '.join(rule.choices[:-1])} or {rule.choices[-1]}"
        stands = "true" if rule.kind == "flag" else f'"{rule.choices[0]}"'
        self._unknown(row, heading, text_of(cell), own, expected, "words.values", stands)
        return None

    def _number(self, row: int, heading: str, cell: Cell, rule: FindingRule, unit: str | None) -> float | None:
        number = quantity_of(cell, self.mapping.decimal)
        if isinstance(number, Quantity) and rule.unit in NEEDS_UNIT and not number.unit and unit is None:
            self._wrong(
                row,
                heading,
                "a length without a unit",
                " or ".join(dict.fromkeys(one for one in WRITTEN[rule.unit] if len(one) == 2)),
                'write it into the heading, as in "femur left (mm)", into a column, or as `unit` into the mapping',
            )
            return None
        made = number if isinstance(number, CellFault) else in_unit(number, rule.unit, unit)
        if isinstance(number, Quantity) and not isinstance(made, CellFault):
            made = out_of_range(cell, number, rule, unit, self.mapping.decimal) or made
        if isinstance(made, CellFault):
            self._fault(row, heading, cell, made)
            return None
        return made

    def _fault(self, row: int, heading: str, cell: Cell, fault: CellFault) -> None:
        found = fault.found or (cell.found if isinstance(cell, Unreadable) else f'"{text_of(cell)}"')
        self.out.faults.append(TableFault(row, heading, found, fault.expected, fault.do, of_column=fault.of_column))

    def _unknown(
        self, row: int, heading: str, text: str, own: object, expected: str, table: str, stands: str = '"…"'
    ) -> None:
        """Say that nobody knows a word, or that the clinic's mapping makes something of it that is no choice."""
        if own is None:
            do = f'say what it stands for in the mapping: `"{text}" = {stands}` under [{table}]'
            self._wrong(row, heading, f'"{text}"', expected, do)
            return
        said = own if not isinstance(own, bool) else str(own).lower()
        do = f"correct what `{text}` stands for under [{table}] of the mapping"
        self._wrong(row, heading, f'"{text}", which by the mapping is "{said}"', expected, do)

    def _wrong(self, row: int | None, heading: str, found: str, expected: str, do: str) -> None:
        self.out.faults.append(TableFault(row, heading, found, expected, do))
