"""The rows of a table, cell by cell: who, when, and what was measured, each value with the cell that it stands in."""

from __future__ import annotations

import datetime
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from pathway.plain_text import PSEUDONYM, hidden_in
from pathway.protocol.model import FindingRule, Protocol
from pathway.protocol.units import NEEDS_UNIT, WRITTEN
from pathway.record import Value, WhyMissing
from pathway.tables.faults import Place, TableFault
from pathway.tables.grid import Cell, Grid, Row, Unreadable, is_blank, text_of
from pathway.tables.guess import column_of, finding_phrases
from pathway.tables.headings import headings_of
from pathway.tables.mapping import CARD, Column, Role, TableMapping
from pathway.tables.values import CellFault, Quantity, day_of, in_unit, quantity_of
from pathway.tables.vocabulary import Vocabulary
from pathway.tables.words import MISSING, NOTHING, YES_NO, folded

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


@dataclass
class TableRows:
    """The rows of a table by child, every fault, and what was left out because the cell says nothing."""

    children: dict[str, ChildRows] = field(default_factory=dict)
    faults: list[TableFault] = field(default_factory=list)
    nothing: int = 0
    rows: int = 0


def rows_of(grid: Grid, mapping: TableMapping, protocol: Protocol, words: Vocabulary) -> TableRows:
    """Return what the rows of a table say; the words of cells are looked up in `words`."""
    reader = _Reader(grid, mapping, protocol, words)
    if not reader.out.faults:
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
        self._check_columns()

    def _check_columns(self) -> None:
        row, columns = self.mapping.heading_rows[-1], self.mapping.columns
        read = {heading for heading, column in columns.items() if column.role != "skip"}
        for heading in dict.fromkeys(self.headings):
            if heading in read and self.headings.count(heading) > 1:
                self._wrong(row, heading, "several columns with this heading", "each heading once", "rename them")
        for heading in (*read, *self.mapping.fill_down):
            if heading not in self.headings:
                found, do = "no column with this heading", "correct the mapping: headings as they stand in the table"
                self._wrong(row, heading, found, "it", do)
        roles = {column.role for column in columns.values()}
        needed: list[tuple[Role, str]] = [("child", "the pseudonym of each child"), ("date", "the day of each visit")]
        needed += [("finding", "what was measured")] if self.mapping.long else [("measured", "a finding")]
        for role, words in needed:
            if role not in roles:
                said = '{ finding = "…" }' if role == "measured" else f'"{role}"'
                do = f'say in the mapping which column it is: `"its heading" = {said}`'
                self._wrong(None, "", f"no column that was known as {words}", "one", do)
            elif role != "measured" and len(self.mapping.of(role)) > 1:
                second = self.mapping.of(role)[1]
                self._wrong(row, second, f"a second column of {words}", "one", "make the other `skip`")

    def read(self) -> None:
        for row in self.grid.rows:
            if row.number > self.mapping.heading_rows[-1] and not all(is_blank(cell) for cell in row.cells):
                self.out.rows += 1
                self._row(row)

    def _row(self, row: Row) -> None:
        cells = self._cells(row)
        before = len(self.out.faults)
        child = self._child(row.number, cells)
        day = self._day(row.number, "date", cells)
        items = self._long(row.number, cells, day) if self.mapping.long else self._wide(row.number, cells, day)
        date = self.mapping.of("date")[0]
        if items and day is None and len(self.out.faults) == before:
            self._wrong(row.number, date, "nothing", "the day of the visit", "fill it in")
        card = {role: self._card(row.number, role, cells) for role in CARD if self.mapping.of(role)}
        if child is None:
            return
        self.out.faults[before:] = [replace(one, child=child.child) for one in self.out.faults[before:]]
        child.rows.append(row.number)
        child.items += items
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
            column = self.mapping.columns.get(heading)
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
        heading = next(iter(self.mapping.of(role)), "")
        return heading, cells.get(heading)

    def _child(self, row: int, cells: Mapping[str, Cell]) -> ChildRows | None:
        heading, cell = self._at("child", cells)
        written = text_of(cell)
        name = re.sub(r"[\s_/.]+", "-", written.lower()).strip("-")
        if isinstance(cell, Unreadable) or not PSEUDONYM.fullmatch(name):
            do = f'fill it in, or say `fill_down = ["{heading}"]` in the mapping where it means the one above'
            if cell is None:
                self._wrong(row, heading, "nothing", "the pseudonym of the child", do)
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
        heading, cell = self._at(role, cells)
        return None if cell is None else self._meant(row, heading, cell, table) or ""

    def _meant(self, row: int, heading: str, cell: Cell, table: str) -> str | None:
        meant = None if isinstance(cell, Unreadable) else self.words.meant(table, text_of(cell))
        if meant is None:
            options = self.words.options(table)
            do = f'say what it stands for in the mapping: `"{text_of(cell)}" = "…"` under [words.{table}]'
            self._wrong(row, heading, f'"{text_of(cell)}"', options, do)
        return meant

    def _wide(self, row: int, cells: Mapping[str, Cell], day: datetime.date | None) -> list[Item]:
        side = self._word(row, "side", "sides", cells)
        method = self._word(row, "method", "methods", cells)
        usual = self.mapping.method if method is None else method
        read_by = self._word(row, "skeletal_method", "skeletal_methods", cells)
        items = []
        for heading, cell in cells.items():
            column = self.mapping.columns[heading]
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
        if not given:
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
        if column is None or column.role != "measured":
            do = f'say which in the mapping: `"{text}" = "…"` under [words.findings] (`limb-pathway rules list`)'
            self._wrong(row, heading, f'"{text}"', "a finding of the rules", do)
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
            do = "name it in the heading, in a column of sides, or in the mapping"
            self._wrong(row, heading, f"{rule.label} without its side", "left or right", do)
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
        do = f'say what it stands for in the mapping: `"{text_of(cell)}" = …` under [words.values]'
        self._wrong(row, heading, f'"{text_of(cell)}"', expected, do)
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
        if isinstance(made, CellFault):
            self._fault(row, heading, cell, made)
            return None
        return made

    def _fault(self, row: int, heading: str, cell: Cell, fault: CellFault) -> None:
        found = fault.found or (cell.found if isinstance(cell, Unreadable) else f'"{text_of(cell)}"')
        self.out.faults.append(TableFault(row, heading, found, fault.expected, fault.do, of_column=fault.of_column))

    def _wrong(self, row: int | None, heading: str, found: str, expected: str, do: str) -> None:
        self.out.faults.append(TableFault(row, heading, found, expected, do))
