"""From rows to children: what each gets that is not known of it yet, held to everything that a case file is held to.

Nothing is overwritten: a value that is known otherwise is a fault, for one of the two is wrong and no program can say
which. A value takes the place of "not measured" on its day, never the other way round.
"""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from pathway.casefile import read_child, read_events
from pathway.events import apply
from pathway.growth import growth_faults, growth_questions
from pathway.problems import Problem, Refused
from pathway.protocol.model import Protocol
from pathway.record import Child, Measurement, Missing, Record, Visit, in_order
from pathway.tables.faults import Place, TableFault, rows_words
from pathway.tables.grid import Grid
from pathway.tables.mapping import CARD, Role, TableMapping
from pathway.tables.rows import SKELETAL_AGE, ChildRows, Item, rows_of
from pathway.tables.vocabulary import Vocabulary

Known = Callable[[str], Record | None]
"""Gives what is known of a child, None of a new one; raises `Refused` for one that can have no more visits."""
_NEEDED: tuple[Role, ...] = ("birth_date", "sex", "affected_side", "diagnosis")
_FIELDS: Mapping[str, str] = {"birth_date": "date_of_birth"}
_WORDS: Mapping[str, str] = {
    "birth_date": "the date of birth",
    "sex": "the sex",
    "affected_side": "the affected side",
    "diagnosis": "the diagnosis",
    "growth_pattern": "the growth pattern",
}


@dataclass(frozen=True, slots=True)
class FromTable:
    """What one child gets: `visits` with what is new alone, the `record` with them, and `before` (None: a new child).

    `written` is the pseudonym as the table has it. `questions` ask back what is possible and odd.
    """

    child: str
    written: str
    before: Record | None
    record: Record
    visits: tuple[Visit, ...]
    new: int
    same: int
    questions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TableRead:
    """A table read: the children without a fault, every fault, the words that were understood, what says nothing.

    `remarks` say what is to know of single rows.
    """

    children: tuple[FromTable, ...]
    faults: tuple[TableFault, ...]
    rows: int
    nothing: int
    used: Mapping[str, Mapping[str, str]]
    remarks: tuple[str, ...] = ()


def read_table(grid: Grid, mapping: TableMapping, protocol: Protocol, on: datetime.date, known: Known) -> TableRead:
    """Return what a table says of each child beside what is `known`, as on a day, with every fault by row and cell."""
    words = Vocabulary(protocol, mapping.words)
    rows = rows_of(grid, mapping, protocol, words)
    faults, children = list(rows.faults), []
    spoilt = {fault.child for fault in rows.faults}
    for one in rows.children.values() if rows.whole else ():
        if one.child in spoilt:
            continue
        made = _OfChild(one, mapping, protocol, on).read(known)
        if isinstance(made, FromTable):
            children.append(made)
        else:
            faults += made
    return TableRead(tuple(children), tuple(faults), rows.rows, rows.nothing, words.used, tuple(rows.remarks))


class _OfChild:
    def __init__(self, rows: ChildRows, mapping: TableMapping, protocol: Protocol, on: datetime.date) -> None:
        self.rows, self.mapping, self.protocol, self.on = rows, mapping, protocol, on
        self.faults: list[TableFault] = []
        self.places: dict[str, Place] = {}
        self.measured: dict[tuple[datetime.date, str, str | None], Place] = {}

    def read(self, known: Known) -> FromTable | list[TableFault]:
        """Return what the child gets, or every fault."""
        try:
            before = known(self.rows.child)
        except Refused as error:
            first = error.problems[0]
            return [TableFault(self.rows.rows[0], "", first.found, first.expected, first.remedy, self.rows.child)]
        child = self._new_child() if before is None else self._same_child(before.child)
        if child is None:
            return self.faults
        so_far = Record(child=child) if before is None else before
        fresh, same = self._fresh(self._sided(child), so_far)
        visits = self._visits(fresh, child)
        record = apply(so_far, visits)
        self._hold_to_growth(so_far, record)
        if self.faults:
            return self.faults
        asked = growth_questions(so_far, self.protocol)
        questions = tuple(
            f"{self._rows_asked(one)}{one}" for one in growth_questions(record, self.protocol) if one not in asked
        )
        new = sum(map(len, fresh.values()))
        return FromTable(self.rows.child, self.rows.written, before, in_order(record), visits, new, same, questions)

    def _card(self) -> dict[Role, tuple[str | datetime.date, Place]]:
        """Return what the rows say of the child itself, each once; a second saying otherwise is a fault."""
        made: dict[Role, tuple[str | datetime.date, Place]] = {}
        for role, said in self.rows.card.items():
            first, place = said[0]
            made[role] = said[0]
            for other, where in said[1:]:
                if other != first:
                    self._wrong(
                        where, f'"{where.text}"', f'"{place.text}", which stands in row {place.row}', "correct one"
                    )
        return made

    def _new_child(self) -> Child | None:
        card = self._card()
        for role in _NEEDED:
            if role not in card:
                heading = next(iter(self.mapping.of(role)), "")
                found = f"nothing of {self.rows.child}, who is not in the registry"
                needs = "a new child needs birth date, sex, affected side and diagnosis"
                do = "fill it in" if heading else f"add a column of it: {needs}"
                self._wrong(Place(self.rows.rows[0], heading), found, _WORDS[role], do)
        if self.faults:
            return None
        fields: dict[str, object] = {"id": self.rows.child}
        for role, (said, place) in card.items():
            fields[_FIELDS.get(role, role)] = said
            self.places[f"child.{_FIELDS.get(role, role)}"] = place
        child = read_child(fields, "", self.protocol, self.on)
        if isinstance(child, Child):
            return child
        for fault in child:
            self._told(fault)
        return None

    def _same_child(self, known: Child) -> Child | None:
        card = self._card()
        for role in CARD:
            field = _FIELDS.get(role, role)
            if role in card and card[role][0] != getattr(known, field):
                place = card[role][1]
                expected = f"{getattr(known, field) or 'nothing'}, which is known of {known.id}"
                do = "find out which is right; is it the same child?"
                self._wrong(place, f'"{place.text}" for {_WORDS[role]}', expected, do)
        return None if self.faults else known

    def _sided(self, child: Child) -> Iterator[Item]:
        """Yield the findings with the affected and the other side as left and right."""
        record = Record(child=child)
        for item in self.rows.items:
            side = item.side
            if side in ("affected", "other"):
                if child.affected_side == "both":
                    expected = f"left or right: both sides of {child.id} are affected"
                    self._wrong(item.place, f"the {side} side", expected, "name the side")
                    continue
                side = record.affected_side if side == "affected" else record.other_side
            yield Item(item.day, item.finding, side, item.value, item.missing, item.method, item.place)

    def _fresh(self, items: Iterator[Item], before: Record) -> tuple[dict[datetime.date, list[Item]], int]:
        """Return by day what is not known yet, and how many are known or stand twice in the table."""
        held: dict[tuple[datetime.date, str, str | None], Measurement | Missing] = {
            (visit.date, one.finding, one.side): one for visit in before.visits for one in _findings(visit)
        }
        ages = {visit.date: visit for visit in before.visits if visit.skeletal_age_years is not None}
        fresh: dict[datetime.date, list[Item]] = {}
        first: dict[tuple[datetime.date, str, str | None], Item] = {}
        same = 0
        for item in items:
            at = (item.day, item.finding, item.side)
            if at in first:
                other = first[at]
                if _said(item) != _said(other):
                    where = (
                        f"row {other.place.row}" if other.place.row != item.place.row else f'"{other.place.heading}"'
                    )
                    expected = f"{_words(other)}, which stands in {where}"
                    self._wrong(item.place, _words(item), expected, "correct one of the two, or its day or side")
                continue
            first[at] = item
            self.measured[at] = item.place
            kept = held.get(at)
            if item.finding == SKELETAL_AGE and item.day in ages:
                visit = ages[item.day]
                kept = Measurement(
                    finding=SKELETAL_AGE,
                    side=None,
                    value=float(visit.skeletal_age_years or 0),
                    method=visit.skeletal_age_method or "",
                )
            if kept is None or (isinstance(kept, Missing) and item.missing is None):
                fresh.setdefault(item.day, []).append(item)
            elif item.missing is not None or _agrees(kept, item):
                same += 1
            else:
                do = "find out which is right, and correct it in the table or by `limb-pathway followup`"
                self._wrong(item.place, _words(item), f"{_kept_words(kept)}, which is known", do)
        return dict(sorted(fresh.items())), same

    def _visits(self, fresh: Mapping[datetime.date, list[Item]], child: Child) -> tuple[Visit, ...]:
        tables = [self._table(number, day, items) for number, (day, items) in enumerate(fresh.items(), start=1)]
        told = read_events({"visit": tables}, child, "", self.protocol, self.on)
        if isinstance(told, tuple):
            for fault in told:
                self._told(fault)
            return ()
        return tuple(visit for visit in told.events if isinstance(visit, Visit))

    def _table(self, number: int, day: datetime.date, items: list[Item]) -> dict[str, object]:
        """Return one visit as the table of a case file, and keep where each field of it stands."""
        usual = Counter(item.method for item in items if item.method and item.finding != SKELETAL_AGE).most_common(1)
        method = self.rows.visit_methods.get(day) or (usual[0][0] if usual else None)
        table: dict[str, object] = {"date": day, **({} if method is None else {"method": method})}
        dates = self.mapping.of("date")
        self.places[f"visit[{number}].date"] = self.rows.days.get(day, Place(items[0].place.row, dates[0]))
        for item in items:
            if item.finding == SKELETAL_AGE:
                key = "skeletal_age_years"
                table[key] = item.value
                if item.method:
                    table["skeletal_age_method"] = item.method
                    self.places[f"visit[{number}].skeletal_age_method"] = item.place
                self.places[f"visit[{number}].{key}"] = item.place
                continue
            where = item.side or "child"
            inside = table.setdefault(where, {})
            assert isinstance(inside, dict)
            given = {"value": item.value, "method": item.method}
            inside[item.finding] = {"not_measured": item.missing} if item.missing is not None else given
            self.places[f"visit[{number}].{where}.{item.finding}"] = item.place
        return table

    def _hold_to_growth(self, before: Record, after: Record) -> None:
        """Add what a case file with these visits would be refused for: lengths that cannot be."""
        known = growth_faults(before, self.protocol)
        for fault in growth_faults(after, self.protocol):
            if fault not in known:
                finding, _, side = fault.key.partition(" ")
                day = datetime.date.fromisoformat(fault.place.rpartition(" ")[2])
                place = self.measured.get((day, finding, side or None), Place(self.rows.rows[0], ""))
                self._wrong(place, fault.found, fault.expected, fault.remedy)

    def _rows_asked(self, question: str) -> str:
        """Return which rows hold what is asked back, in words before the question; "" where none does."""
        days = {day for day, _, _ in self.measured if day.isoformat() in question}
        at = {key: place.row for key, place in self.measured.items() if key[0] in days}
        named = {row for (_, finding, _), row in at.items() if finding.partition("_")[0] in question}
        words = rows_words(sorted(named or set(at.values())))
        return f"{words}: " if words else ""

    def _told(self, fault: Problem) -> None:
        """Add a fault of the case file at the cell that its field came from."""
        key = fault.key
        while key and key not in self.places:
            key = key.rpartition(".")[0]
        place = self.places.get(key, Place(self.rows.rows[0], ""))
        read = fault.found.strip('"').removesuffix(".0")
        found = f'"{place.text}"' if place.text else fault.found
        if place.text and read not in (place.text, place.text.replace(",", ".")):
            found = f'"{place.text}", which is {read}'
        self._wrong(place, found, fault.expected, fault.remedy)

    def _wrong(self, place: Place, found: str, expected: str, do: str) -> None:
        self.faults.append(TableFault(place.row, place.heading, found, expected, do, self.rows.child))


def _findings(visit: Visit) -> Iterator[Measurement | Missing]:
    yield from visit.missing
    yield from visit.measurements


def _said(item: Item) -> tuple[object, ...]:
    return item.value, item.missing, item.method


def _agrees(kept: Measurement | Missing, item: Item) -> bool:
    return isinstance(kept, Measurement) and (kept.value, kept.method) == (item.value, item.method or "")


def _words(item: Item) -> str:
    return _value_words(item.value, item.method or "") if item.missing is None else "no value"


def _kept_words(kept: Measurement | Missing) -> str:
    return "no value" if isinstance(kept, Missing) else _value_words(kept.value, kept.method)


def _value_words(value: object, method: str) -> str:
    if isinstance(value, bool):
        said = "yes" if value else "no"
    else:
        said = f"{value:.10g}" if isinstance(value, float) else f"{value}"
    return f"{said} ({method.replace('_', ' ')})" if method else said
