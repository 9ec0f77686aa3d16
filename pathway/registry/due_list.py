"""Who needs what by when, page by page from an index, and which stored plans cannot be relied on. An edge.

A plan that is missing, of other entries, of another day or damaged never hides a child: it is told by name.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from sqlalchemy import Row, Select, and_, func, literal, null, or_, select, tuple_

from pathway.days import add_months
from pathway.problems import refused
from pathway.questions.due import Due, Needed, due_on
from pathway.registry import stored_plans
from pathway.registry.db import due_tables
from pathway.registry.db.due_tables import due_item, planned
from pathway.registry.db.tables import entry, stored_plan
from pathway.registry.journal.chain import moment
from pathway.registry.journal.entry import ChildLine, Head, StoredPlan
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry

BATCH = 2000
"""How many children are read in one step: no step holds the registry for long, no list lies in memory."""
_MARKS = ("row_sha256", "true_until", "items_put", "days_put", "items_held", "days_held")
PLACE = re.compile(r"(\d{4}-\d{2}-\d{2})/([a-z0-9-]+)/(\d{1,6})")


@dataclass(frozen=True, slots=True)
class After:
    """Where a page ended: the next one begins behind it."""

    by: datetime.date
    child: str
    number: int

    def __str__(self) -> str:
        return f"{self.by}/{self.child}/{self.number}"


@dataclass(frozen=True, slots=True)
class Page:
    """What is due, in order; `left` is how many come after it, `after` where the next page begins where any do."""

    items: tuple[Due, ...]
    left: int = 0
    after: After | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """A child with its stored plan; `fault` says what is wrong with that where it was damaged or altered.

    `made_at` is the head it was made at and `true_from`, `changes_on` the days between which it is true; None where
    there is none that can be relied on.
    """

    line: ChildLine
    row: Row[Any]
    fault: str = ""
    made_at: Head | None = None
    true_from: datetime.date | None = None
    changes_on: datetime.date | None = None

    @property
    def plan(self) -> StoredPlan | None:
        """Return the stored plan, read now: most that ask for a standing need no more than its days."""
        return None if self.made_at is None else stored_plans.read(self.row)

    @property
    def digest(self) -> str:
        """Return the digest of the rules that the plan was made by, "" where there is none to rely on."""
        return "" if self.made_at is None else str(self.row.protocol_digest)

    def holds(self, on: datetime.date) -> bool:
        """Return whether the plan is sound, of the entries as they stand, and true on that day."""
        if self.made_at != self.line.head or self.true_from is None or self.changes_on is None:
            return False
        return self.true_from <= on < self.changes_on


def place_after(text: str) -> After:
    """Return where a page ended, as it was printed. Raises Refused for another text."""
    found = PLACE.fullmatch(text)
    try:
        if found is None:
            raise ValueError(text)
        return After(datetime.date.fromisoformat(found[1]), found[2], int(found[3]))
    except ValueError:
        expected = "the place where the page before ended, such as 2026-12-23/rowan-02/1"
        raise refused("--after", repr(text), expected, "copy it from the last line of that page") from None


def standings(registry: Registry, *, erased: bool = False) -> Iterator[Standing]:
    """Yield every child with its stored plan, by name, in steps that each see one state of the registry.

    Children that were erased come only where asked for, without a plan.
    """
    last = ""
    while True:
        with registry.reading() as connection:
            indexed = due_tables.are_there(connection)
            rows = connection.execute(_with_plans(last, indexed=indexed)).all()
        for row in rows:
            one = _standing(row, indexed=indexed)
            if erased or one.line.erased is None:
                yield one
        if len(rows) < BATCH:
            return
        last = rows[-1].name


def due_page(registry: Registry, on: datetime.date, months: int, most: int, after: After | None = None) -> Page:
    """Return what children need until so many months after a day, overdue first, at most so many.

    Where the index was never made it is filled first; where that cannot be written, the plans are read one by one.
    """
    until = add_months(on, months)
    try:
        fill_where_missing(registry)
    except RegistryProblem:
        return _page_of_plans(registry, on, until, most, after)
    # A day that is none was altered: the child is told among those to be planned again.
    wanted = and_(
        due_item.c.by_day.between(1, until.toordinal()),
        or_(due_item.c.kind != "opens", due_item.c.by_day >= on.toordinal()),
    )
    order = (due_item.c.by_day, due_item.c.child, due_item.c.number)
    if after is not None:
        begun = tuple_(literal(after.by.toordinal()), literal(after.child), literal(after.number))
        wanted = and_(wanted, due_item.c.by_day >= after.by.toordinal(), tuple_(*order) > begun)
    with registry.reading() as connection:
        rows = connection.execute(select(due_item).where(wanted).order_by(*order).limit(most)).all()
        more = len(rows) == most
        total = connection.scalar(select(func.count()).select_from(due_item).where(wanted)) if more else len(rows)
    return _page([(row.number, row.child, _needed(row)) for row in rows], on, (total or 0) - len(rows))


def fill_where_missing(registry: Registry) -> None:
    """Fill the index from the stored plans where it was never made. Raises `RegistryProblem` where it cannot be."""
    with registry.reading() as connection:
        if due_tables.are_there(connection):
            return
    with registry.writing() as connection:
        stored_plans.index(connection)


def _with_plans(last: str, *, indexed: bool) -> Select[Any]:
    """Return the query for the children after one, by name: where the chain ends, the stored plan, what it asks for."""
    each = (
        select(
            entry.c.child.label("name"),
            func.max(entry.c.sequence).label("last"),
            func.min(entry.c.at).label("first_at"),
            func.max(entry.c.at).filter(entry.c.kind == "erasure").label("erased"),
        )
        .where(entry.c.child > last)
        .group_by(entry.c.child)
        .order_by(entry.c.child)
        .limit(BATCH)
        .subquery()
    )
    found = each.join(entry, (entry.c.child == each.c.name) & (entry.c.sequence == each.c.last))
    found = found.outerjoin(stored_plan, stored_plan.c.child == each.c.name)
    marks: list[Any] = [null().label(name) for name in _MARKS]
    if indexed:
        found = found.outerjoin(planned, planned.c.child == each.c.name)
        of_child = select(func.count()).where(due_item.c.child == each.c.name)
        summed = select(func.coalesce(func.sum(due_item.c.by_day), 0)).where(due_item.c.child == each.c.name)
        counted = (
            planned.c.changes_on,
            planned.c.item_count,
            planned.c.day_sum,
            of_child.scalar_subquery(),
            summed.scalar_subquery(),
        )
        named = zip(_MARKS[1:], counted, strict=True)
        marks = [planned.c.row_sha256, *(column.label(name) for name, column in named)]
    kept = [column for column in stored_plan.c if column.name != "plan"]
    head = (each, entry.c.sha256, entry.c.at, entry.c.who)
    return select(*head, *kept, *marks).select_from(found).order_by(each.c.name)


def _standing(row: Row[Any], *, indexed: bool) -> Standing:
    line = ChildLine(
        child=row.name,
        head=Head(row.last, row.sha256),
        first=moment(row.first_at),
        last=moment(row.at),
        last_by=row.who,
        erased=None if row.erased is None else moment(row.erased),
    )
    if row.child is None:
        lost = row.items_put is not None or bool(row.items_held)
        return Standing(line, row, "it is missing, though it was stored" if lost else "")
    if indexed and row.row_sha256 != stored_plans.row_digest(row._mapping):
        return Standing(line, row, "it is not what was stored")
    if indexed and (row.items_put, row.days_put) != (row.items_held, row.days_held):
        return Standing(line, row, "what it asks for is not what was stored")
    days = stored_plans.days_of(row, indexed=indexed)
    if days is None:
        return Standing(line, row, "it cannot be read")
    return Standing(line, row, "", Head(row.head_count, row.head_sha256), *days)


def _needed(row: Row[Any]) -> Needed:
    return Needed(datetime.date.fromordinal(int(row.by_day)), row.kind, row.what)


def _page(found: list[tuple[int, str, Needed]], on: datetime.date, left: int) -> Page:
    items = tuple(told for _, child, one in found if (told := due_on(child, one, on)) is not None)
    if left <= 0 or not found:
        return Page(items)
    number, child, one = found[-1]
    return Page(items, left, After(one.by, child, number))


def _page_of_plans(registry: Registry, on: datetime.date, until: datetime.date, most: int, after: After | None) -> Page:
    """Return the page as the index would, read off the plans themselves."""
    columns = [column for column in stored_plan.c if column.name != "plan"]
    with registry.reading() as connection:
        values = connection.execute(select(*columns).order_by(stored_plan.c.child)).mappings().all()
    rows = [row for value in values for row in stored_plans.due_rows(value) or ()]
    found = sorted(
        (row["by_day"], row["child"], row["number"], row["kind"], row["what"])
        for row in rows
        if row["by_day"] <= until.toordinal() and (row["kind"] != "opens" or row["by_day"] >= on.toordinal())
    )
    if after is not None:
        found = [row for row in found if row[:3] > (after.by.toordinal(), after.child, after.number)]
    shown = [
        (number, child, Needed(datetime.date.fromordinal(by), kind, what))
        for by, child, number, kind, what in islice(found, most)
    ]
    return _page(shown, on, len(found) - len(shown))
