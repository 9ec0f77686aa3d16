"""What a table would bring, in words, before anything of it is kept."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from pathway.protocol.model import Protocol
from pathway.tables.children import FromTable, TableRead
from pathway.tables.columns import CHILD_ID
from pathway.tables.grid import Grid, is_blank
from pathway.tables.headings import headings_of
from pathway.tables.mapping import Column, TableMapping
from pathway.tables.rows import SKELETAL_AGE
from pathway.views.words.wrapping import wrap

_ROLE_WORDS = {
    "child": CHILD_ID,
    "date": "the day of the visit",
    "birth_date": "date of birth",
    "affected_side": "affected side",
    "growth_pattern": "growth pattern",
    "finding": "what was measured",
    "not_measured": "why there is no value",
    "category": "the value, where it is a word",
    "method": "how it was measured",
    "visit_method": "how the visit as a whole was measured",
    "skeletal_method": "how the skeletal age was read",
}


def mapping_lines(grid: Grid, mapping: TableMapping, width: int) -> list[str]:
    """Return how a table is read: each column with what it stands for, and what is not read."""
    known = {heading: column for heading, column in mapping.columns.items() if column.role != "skip"}
    headings = headings_of(grid, mapping.heading_rows)
    lines = ["Columns"]
    wide = max((min(len(heading), 36) for heading in known), default=0) + 2
    for heading in headings:
        if heading in known:
            lines += wrap(_column_words(known[heading]), width, f"  {_quoted(heading):<{wide}}  ", " " * (wide + 4))
    held = [
        _quoted(heading)
        for at, heading in enumerate(headings)
        if heading not in known
        and any(not is_blank(row.cell(at)) for row in grid.rows if row.number > mapping.heading_rows[-1])
    ]
    if held:
        lines += wrap(f"Not read: {', '.join(dict.fromkeys(held))}.", width, "  ", "  ")
    if settled := list(_settled(mapping)):
        lines += wrap(f"Read with {'; '.join(settled)}.", width, "  ", "  ")
    return lines


def read_lines(read: TableRead, protocol: Protocol, width: int) -> list[str]:
    """Return what each child gets, and the words of the table that were understood."""
    lines = []
    if read.used:
        said = [f'"{word}" is {meant}' for words in read.used.values() for word, meant in words.items()]
        lines += ["Words", *wrap(f"{'; '.join(said)}.", width, "  ", "  ")]
    if read.children:
        lines.append("Children")
        wide = max(len(one.child) for one in read.children)
        for one in read.children:
            lines += wrap(child_words(one, protocol), width, f"  {one.child:<{wide}}  ", " " * (wide + 4))
    for remark in read.remarks:
        lines += wrap(remark, width)
    for one in read.children:
        for question in one.questions:
            lines += wrap(f"{one.child}: {question}", width)
    if read.nothing:
        count = (
            f"{read.nothing} cells that say nothing (such as n/a) are"
            if read.nothing > 1
            else "One cell that says nothing (such as n/a) is"
        )
        lines.append(f"{count} left out.")
    return lines


def child_words(one: FromTable, protocol: Protocol) -> str:
    """Return what a child gets: that it is new and who it is, its new visits and values, what was known."""
    called = "" if one.written == one.child else f' (written "{one.written}")'
    if one.before is None:
        child = one.record.child
        who = f"{child.sex}, born {child.date_of_birth}, {_affected(child.affected_side)}"
        return f"new{called}: {who}, {protocol.diagnosis(child.diagnosis).label}; {_gets(one)}"
    if not one.new:
        return f"nothing new{called}; {_counted(one.same, 'value')} known already"
    same = f"; {_counted(one.same, 'value')} known already" if one.same else ""
    return f"{_gets(one)}{called}{same}"


def total_words(children: Sequence[FromTable], rows: int, *, held_back: bool = False) -> str:
    """Return in one sentence what all children together get; `held_back`: what they would get without the faults."""
    kinds = Counter("new" if one.before is None else "more" if one.new else "same" for one in children)
    visits = sum(len(one.visits) for one in children)
    values = sum(one.new for one in children)
    kept = "without a fault, not kept yet" if held_back else "to keep"
    parts = [
        _counted(kinds["new"], "new child", "new children") if kinds["new"] else "",
        f"{_counted(kinds['more'], 'known child', 'known children')} with something new" if kinds["more"] else "",
        f"{_counted(kinds['same'], 'child', 'children')} with nothing new" if kinds["same"] else "",
        f"{_counted(visits, 'visit')} with {_counted(values, 'value')} {kept}" if values else "",
    ]
    return f"{_counted(rows, 'row')}: {', '.join(part for part in parts if part) or 'nothing to keep'}."


def _gets(one: FromTable) -> str:
    held = () if one.before is None else tuple(visit.date for visit in one.before.visits)
    added = sum(visit.date in held for visit in one.visits)
    fresh = len(one.visits) - added
    parts = (
        [_counted(fresh, "visit") if one.before is None else _counted(fresh, "new visit")] if fresh or not added else []
    )
    parts += [f"{_counted(added, 'known visit')} with more"] if added else []
    return f"{' and '.join(parts)}, {_counted(one.new, 'value')}"


def _affected(side: str) -> str:
    return "both sides affected" if side == "both" else f"{side} side affected"


def _counted(number: int, one: str, several: str = "") -> str:
    return f"{number} {one if number == 1 else several or f'{one}s'}"


def _column_words(column: Column) -> str:
    if column.role != "measured":
        return _ROLE_WORDS.get(column.role, column.role)
    side = {"affected": "of the affected side", "other": "of the other side"}.get(column.side or "", column.side or "")
    unit = "" if column.unit is None else f"in {column.unit}"
    method = "" if column.method is None or column.finding == SKELETAL_AGE else f"by {column.method}"
    return ", ".join(part for part in (column.finding, side, unit, method) if part)


def _settled(mapping: TableMapping) -> Iterator[str]:
    if mapping.heading_rows != (1,):
        yield f"headings in row {' and '.join(map(str, mapping.heading_rows))}"
    if mapping.date_order is not None:
        yield f"dates as {mapping.date_order}"
    if mapping.decimal is not None:
        yield f"decimal {'comma' if mapping.decimal == ',' else 'point'}"
    if mapping.fill_down:
        yield f"empty cells mean the one above in {', '.join(map(_quoted, mapping.fill_down))}"
    if mapping.method is not None:
        yield f"measured by {mapping.method} where nothing else is said"


def _quoted(heading: str) -> str:
    return f'"{heading if len(heading) <= 34 else heading[:33] + "…"}"'
